// Times as text: RFC 3339, with the examples of its section 5.8, and Unix time by magnitude.
#include "value_text.h"

#include <gtest/gtest.h>

#include <array>
#include <ctime>
#include <iostream>
#include <random>
#include <string>

namespace baskwell::decoders {
namespace {

TEST(Rfc3339, ExamplesOfSection58) {
  // The instants computed by GNU date: date -u -d '...' +%s
  EXPECT_EQ(read_rfc3339_ms("1985-04-12T23:20:50.52Z"), 482196050520);
  EXPECT_EQ(read_rfc3339_ms("1996-12-19T16:39:57-08:00"), 851042397000);
  EXPECT_EQ(read_rfc3339_ms("1990-12-31T23:59:60Z"), 662688000000);  // the leap second, as the next second
  EXPECT_EQ(read_rfc3339_ms("1990-12-31T15:59:60-08:00"), 662688000000);     // the same one
  EXPECT_EQ(read_rfc3339_ms("1937-01-01T12:00:27.87+00:20"), std::nullopt);  // before 1970
}

TEST(Rfc3339, Forms) {
  EXPECT_EQ(read_rfc3339_ms("1970-01-01T00:00:00Z"), 0);
  EXPECT_EQ(read_rfc3339_ms("1970-01-01t00:00:01z"), 1000);
  EXPECT_EQ(read_rfc3339_ms("1970-01-01 00:00:01-00:00"), 1000);
  EXPECT_EQ(read_rfc3339_ms("2024-02-29T00:00:00.123456789+05:30"), 1709145000123);
  EXPECT_EQ(read_rfc3339_ms("9999-12-31T23:59:59.999Z"), 253402300799999);
  for (const char* bad :
       {"", "2024", "2024-02-29", "2024-02-29T00:00:00", "2023-02-29T00:00:00Z", "2024-13-01T00:00:00Z",
        "2024-00-01T00:00:00Z", "2024-01-32T00:00:00Z", "2024-01-01T24:00:00Z", "2024-01-01T00:60:00Z",
        "2024-01-01T00:00:61Z", "2024-01-01T00:00:00.Z", "2024-01-01T00:00:00+0100",
        "2024-01-01T00:00:00+24:00", "2024-01-01T00:00:00Zx", "1970-01-01T00:00:00+00:01",
        "24-01-01T00:00:00Z", "2024-01-01T00:00:00,5Z", "9999-12-31T23:59:60Z"}) {
    EXPECT_EQ(read_rfc3339_ms(bad), std::nullopt) << bad;
  }
}

// Against the C library's calendar, an independent implementation.
TEST(Rfc3339, RandomInstantsAgainstTheCLibrary) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  for (int round = 0; round < 20'000; ++round) {
    const auto seconds = static_cast<std::time_t>(random() % 253'402'300'800);
    std::tm parts{};
    ASSERT_NE(gmtime_r(&seconds, &parts), nullptr);
    std::array<char, 40> text{};
    ASSERT_GT(std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &parts), 0U);
    ASSERT_EQ(read_rfc3339_ms(text.data()), static_cast<std::int64_t>(seconds) * 1000) << text.data();
    ASSERT_EQ(read_time_ms(text.data()), static_cast<std::int64_t>(seconds) * 1000);
  }
}

TEST(UnixTime, ByMagnitude) {
  EXPECT_EQ(unix_time_ms({0, 0}), 0);
  EXPECT_EQ(unix_time_ms({1, 0}), 1000);
  EXPECT_EQ(unix_time_ms({15, 1}), 1500);
  EXPECT_EQ(unix_time_ms({1795518000123456, 6}), 1795518000123);
  EXPECT_EQ(unix_time_ms({1795518000250, 0}), 1795518000250);
  EXPECT_EQ(unix_time_ms({17955180002509, 1}), 1795518000250);
  EXPECT_EQ(unix_time_ms({-1, 0}), std::nullopt);
  EXPECT_EQ(unix_time_ms({253402300800000, 0}), std::nullopt);
}

TEST(DecimalText, StopsWhereTheNumberEnds) {
  const DecimalText read = read_decimal("-12.50e1xyz");
  EXPECT_EQ(read.problem, nullptr);
  EXPECT_EQ(read.end, 8U);
  EXPECT_EQ(read.value.digits, -1250);
  EXPECT_EQ(read.value.places, 1);
}

}  // namespace
}  // namespace baskwell::decoders
