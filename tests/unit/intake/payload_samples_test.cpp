#include "intake/payload_samples.h"

#include <gtest/gtest.h>

#include <string>

namespace baskwell::intake {
namespace {

TEST(PayloadSamples, KeepsTheLastTwentyOldestFirst) {
  PayloadSamples samples;
  EXPECT_TRUE(samples.all().empty());
  for (int i = 0; i < 50; ++i) samples.add(1, {i}, "t", std::to_string(i), "no number");
  const auto all = samples.all();
  ASSERT_EQ(all.size(), 20U);
  for (std::size_t i = 0; i < 20; ++i) {
    EXPECT_EQ(all[i].payload, std::to_string(30 + i));
    EXPECT_EQ(all[i].at.ms, static_cast<std::int64_t>(30 + i));
  }
}

TEST(PayloadSamples, OneWhoTalksNonsenseAllDayLeavesTheOthersTheirSamples) {
  PayloadSamples samples;
  samples.add(2, {1}, "quiet", "?", "no number");
  for (int i = 0; i < 10'000; ++i) samples.add(1, {i}, "loud", "!", "no number");
  samples.add(3, {1}, "quiet too", "?", "no number");
  const auto all = samples.all();
  ASSERT_EQ(all.size(), 20U);
  EXPECT_EQ(all.front().topic, "quiet");
  EXPECT_EQ(all.back().topic, "quiet too");
}

TEST(PayloadSamples, KeepsOnlyTheBeginningOfWhatIsLong) {
  PayloadSamples samples;
  samples.add(1, {1}, std::string(60'000, 't'), std::string(60'000, 'p'), std::string(60'000, 'c'));
  const PayloadSample sample = samples.all().front();
  EXPECT_EQ(sample.topic.size(), 256U);
  EXPECT_EQ(sample.payload.size(), 512U);
  EXPECT_EQ(sample.payload_size, 60'000U);
  EXPECT_EQ(sample.cause.size(), 512U);
}

}  // namespace
}  // namespace baskwell::intake
