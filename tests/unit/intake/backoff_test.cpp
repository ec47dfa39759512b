#include "intake/backoff.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>

namespace baskwell::intake {
namespace {

TEST(Backoff, WaitsAreBelowACeilingThatDoublesFromOneSecondToSixty) {
  Backoff backoff(7);
  for (const std::int64_t ceiling_ms : std::array{1000, 2000, 4000, 8000, 16'000, 32'000, 60'000, 60'000}) {
    EXPECT_EQ(backoff.ceiling_ms(), ceiling_ms);
    const std::int64_t wait_ms = backoff.next_ms();
    EXPECT_GE(wait_ms, 0);
    EXPECT_LE(wait_ms, ceiling_ms);
  }
}

TEST(Backoff, IsSpreadOverTheWholeRange) {
  int low = 0;
  int high = 0;
  for (std::uint64_t seed = 0; seed < 1000; ++seed) {
    const std::int64_t wait_ms = Backoff(seed).next_ms();
    low += wait_ms < 250 ? 1 : 0;
    high += wait_ms > 750 ? 1 : 0;
  }
  // A quarter each; 150 is more than seven standard deviations off.
  EXPECT_GT(low, 150);
  EXPECT_GT(high, 150);
}

TEST(Backoff, TheSameSeedGivesTheSameWaits) {
  Backoff one(99);
  Backoff other(99);
  for (int i = 0; i < 20; ++i) EXPECT_EQ(one.next_ms(), other.next_ms());
}

TEST(Backoff, OnlyAConnectionThatStoodStartsItAnew) {
  Backoff backoff(1);
  for (int i = 0; i < 3; ++i) static_cast<void>(backoff.next_ms());
  backoff.stood(100);
  EXPECT_EQ(backoff.ceiling_ms(), 8000);
  backoff.stood(8000);
  EXPECT_EQ(backoff.ceiling_ms(), 1000);
}

}  // namespace
}  // namespace baskwell::intake
