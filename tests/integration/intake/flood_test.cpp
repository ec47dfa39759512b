// One topic goes mad while the others keep on.
#include <gtest/gtest.h>

#include <map>
#include <string>
#include <thread>

#include "broker_peer.h"
#include "harness.h"
#include "stream_publisher.h"

namespace baskwell::intake {
namespace {

using std::chrono::seconds;

constexpr int junk_count = 200'000;
constexpr int channels = 10;
constexpr int good_each = 20;
constexpr std::size_t good_count = 200;  // of all channels together

// The consumer does not run at all while 200,000 junk messages come: the queue is full of them, and all of
// the good ones find room.
TEST(Flood, GoodChannelsGetThroughThoughNobodyDrainsTheQueue) {
  const BrokerPeer broker;
  Settings settings;
  settings.broker = broker.settings();
  add_source(settings, "junk");
  for (int i = 0; i < channels; ++i) add_source(settings, "good/" + std::to_string(i));
  Harness harness(settings, {.messages = 8192, .bytes = 1U << 20U, .payload_bytes = 4096});
  ASSERT_TRUE(harness.connected()) << harness.story();
  StreamPublisher junk(broker.settings().port);
  StreamPublisher good(broker.settings().port, "good");
  for (int round = 0; round < good_each; ++round) {
    junk.publish("junk", junk_count / good_each, [](int) { return "junk"; });
    for (int i = 0; i < channels; ++i) {
      good.publish("good/" + std::to_string(i), 1, [&](int) { return std::to_string(round); });
    }
  }
  const auto all_counted = [&] {
    const PayloadReport report = harness.intake->report();
    return report.live.accepted + report.live.dropped() >= junk_count + good_count;
  };
  // tick() takes over the queue's counts and drains nothing.
  Heard aside;
  ASSERT_TRUE(peers::eventually(seconds(60),
                                [&] {
                                  harness.intake->tick(real_now(), sink_into(aside));
                                  return all_counted();
                                }))
      << harness.intake->report().live.accepted << " accepted, " << harness.intake->report().live.dropped()
      << " dropped";
  ASSERT_TRUE(harness.until([&] { return harness.heard.readings.size() >= good_count; }));
  std::map<Index, int> got;
  for (const ReadingEvent& reading : harness.heard.readings) {
    EXPECT_EQ(reading.value.digits, got[reading.channel]++);  // none missing, in order
  }
  for (Index channel = 1; channel <= channels; ++channel) EXPECT_EQ(got[channel], good_each);
  const PayloadReport report = harness.intake->report();
  EXPECT_EQ(report.live.accepted + report.live.dropped(), junk_count + good_count);
  EXPECT_EQ(report.live.dropped() + report.sources[0].unreadable, static_cast<unsigned>(junk_count));
  EXPECT_GT(report.live.dropped_share, 0U);
  EXPECT_EQ(report.live.dropped_full, 0U);
  EXPECT_EQ(report.bad.size(), 20U);
  ASSERT_FALSE(aside.all<IntakeTroubleEvent>().empty());
  EXPECT_TRUE(aside.all<IntakeTroubleEvent>()[0].bad);
  EXPECT_NE(aside.all<IntakeTroubleEvent>()[0].detail.find("dropped"), std::string::npos);
}

TEST(Flood, WhatIsDrainedMeanwhileIsAccountedForToTheLastMessage) {
  const BrokerPeer broker;
  Settings settings;
  settings.broker = broker.settings();
  add_source(settings, "junk");
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  std::thread stream([&] {
    StreamPublisher(broker.settings().port).publish("junk", junk_count, [](int) { return "junk"; });
  });
  const auto taken = [&] { return harness.intake->report().sources[0].unreadable; };
  const bool all = harness.until(
      [&] { return taken() + harness.intake->report().live.dropped() >= junk_count; }, seconds(120));
  stream.join();
  EXPECT_TRUE(all) << taken() << " taken, " << harness.intake->report().live.dropped() << " dropped";
  EXPECT_EQ(taken(), harness.intake->report().live.accepted);
  EXPECT_EQ(taken() + harness.intake->report().live.dropped(), static_cast<unsigned>(junk_count));
}

}  // namespace
}  // namespace baskwell::intake
