// What the broker kept for us: retained messages, last wills, the queue of a persistent session.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "broker_peer.h"
#include "harness.h"
#include "stream_publisher.h"

namespace baskwell::intake {
namespace {

using std::chrono::seconds;

class SessionsOfBothVersions : public testing::TestWithParam<MqttVersion> {};
INSTANTIATE_TEST_SUITE_P(Mqtt, SessionsOfBothVersions, testing::Values(MqttVersion::v3_1_1, MqttVersion::v5),
                         [](const auto& version) {
                           return version.param == MqttVersion::v5 ? "Version5" : "Version311";
                         });

TEST_P(SessionsOfBothVersions, ARetainedMessageIsNotTakenForAFreshReading) {
  const BrokerPeer broker;
  broker.publish("room/a", "30", {"-r"});
  Settings settings;
  settings.broker = broker.settings(GetParam());
  add_source(settings, "room/a");
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  ASSERT_TRUE(harness.until([&] { return harness.heard.readings.size() == 1; }));
  broker.publish("room/a", "31", {"-r"});  // fresh for us, who listen; retained for whoever comes later
  ASSERT_TRUE(harness.until([&] { return harness.heard.readings.size() == 2; }));
  EXPECT_TRUE(harness.heard.readings[0].retained);
  EXPECT_EQ(harness.heard.readings[0].value, (Decimal{30, 0}));
  EXPECT_FALSE(harness.heard.readings[1].retained);
}

ProbeSource& add_kept(Settings& settings) {
  ProbeSource& source = add_source(settings, "room/kept", "json", {"/t"});
  source.time_pointer = "/time";
  source.keep_queued = true;
  return source;
}

std::string kept_payload(const std::string& time, int value) {
  return R"({"time":")" + time + R"(","t":)" + std::to_string(value) + "}";
}

TEST_P(SessionsOfBothVersions, WhatWasPublishedWhileWeWereAwayArrivesMarkedWithItsOwnTime) {
  const BrokerPeer broker;
  Settings settings;
  settings.broker = broker.settings(GetParam());
  add_source(settings, "room/live");
  add_kept(settings);
  {
    Harness first(settings);
    ASSERT_TRUE(first.connected()) << first.story();
    first.intake->stop();
  }
  const std::string away_at = own_time_now();
  const std::int64_t away_ms = real_now().utc.ms;
  for (int value = 1; value <= 5; ++value) broker.publish("room/kept", kept_payload(away_at, value));
  broker.publish("room/kept", R"({"t":6})");  // says no time of its own
  broker.publish("room/live", "99");          // nobody keeps this one
  Harness second(settings);
  ASSERT_TRUE(second.connected()) << second.story();
  broker.publish("room/live", "100");
  ASSERT_TRUE(second.until([&] { return second.heard.readings.size() >= 7; }))
      << second.heard.readings.size() << " readings\n"
      << second.story();
  int kept = 0;
  int live = 0;
  for (const ReadingEvent& reading : second.heard.readings) {
    if (reading.channel == 0) {
      ++live;
      EXPECT_EQ(reading.value, (Decimal{100, 0}));
      EXPECT_FALSE(reading.queued);
      continue;
    }
    ++kept;
    EXPECT_EQ(reading.value, (Decimal{kept, 0}));
    EXPECT_TRUE(reading.queued);
    EXPECT_FALSE(reading.retained);
    EXPECT_EQ(reading.has_own_time, kept != 6);
    if (kept == 6) continue;
    EXPECT_LE(reading.measured.ms, away_ms);
    EXPECT_GE(reading.measured.ms, away_ms - 1000);
    EXPECT_GE(reading.at.utc.ms, away_ms);
  }
  EXPECT_EQ(kept, 6);
  EXPECT_EQ(live, 1);
}

TEST(Sessions, NothingOfTheKeptSessionIsLostWhileWeComeAndGo) {
  constexpr int count = 30'000;
  const BrokerPeer broker;
  Settings settings;
  settings.broker = broker.settings();
  add_kept(settings);
  {
    Harness first(settings);  // from here on the broker queues for us
    ASSERT_TRUE(first.connected()) << first.story();
    first.intake->stop();
  }
  std::thread stream([&] {
    StreamPublisher(broker.settings().port).publish("room/kept", count, [](int number) {
      return R"({"t":)" + std::to_string(number) + "}";
    });
  });
  std::set<std::int64_t> seen;
  int rounds = 0;
  for (; rounds < 100 && seen.size() < count; ++rounds) {
    Harness harness(settings);
    const std::size_t enough = std::min<std::size_t>(4000, count - seen.size());
    EXPECT_TRUE(harness.until([&] { return harness.heard.readings.size() >= enough; })) << harness.story();
    if (HasFailure()) break;
    harness.intake->stop();  // in the middle of the stream
    harness.pump();
    for (const ReadingEvent& reading : harness.heard.readings) seen.insert(reading.value.digits);
    EXPECT_EQ(harness.intake->report().kept.dropped(), 0U);
  }
  stream.join();
  EXPECT_EQ(seen.size(), static_cast<std::size_t>(count)) << "after " << rounds << " rounds";
  EXPECT_GT(rounds, 3);
}

TEST_P(SessionsOfBothVersions, ALastWillSaysThatAnInstrumentIsGone) {
  const BrokerPeer broker;
  broker.publish("room/presence", "online", {"-r"});
  Settings settings;
  settings.broker = broker.settings(GetParam());
  add_source(settings, "room/a");
  settings.presences.push_back({.topic = "room/presence", .instruments = {0}});
  // A publisher that stays connected (it waits for a second line that never comes) and has left its will with
  // the broker.
  std::vector<std::string> argv = broker.publisher("room/other");
  argv.insert(argv.end(), {"-l", "--will-topic", "room/presence", "--will-payload", "offline", "--will-qos",
                           "1", "--will-retain"});
  std::vector<std::string> held = {"sh", "-c", "(echo 1; sleep 600) | exec \"$@\"", "sh"};
  held.insert(held.end(), argv.begin(), argv.end());
  add_source(settings, "room/other");
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  auto instrument = peers::Process::start(command(held));
  ASSERT_TRUE(instrument.ok()) << instrument.error().text;
  ASSERT_TRUE(harness.until([&] { return !harness.heard.readings.empty(); }));  // it is connected
  const auto presences = [&] { return harness.heard.all<PresenceEvent>(); };
  ASSERT_TRUE(harness.until([&] { return presences().size() == 1; }));
  EXPECT_TRUE(presences()[0].present);  // retained, and good for all that
  instrument.value().kill();
  ASSERT_TRUE(harness.until([&] { return presences().size() == 2; }));
  EXPECT_FALSE(presences()[1].present);
  EXPECT_EQ(presences()[1].instrument, 0U);
}

}  // namespace
}  // namespace baskwell::intake
