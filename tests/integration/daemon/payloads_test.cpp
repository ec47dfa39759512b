// Payloads that nobody can read, and a flood of them on one topic: the others go on, and one command shows
// the last bad ones.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <string>
#include <thread>

#include "broker_peer.h"
#include "harness.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using testing::AllOf;
using testing::HasSubstr;

std::uint64_t count_of(const Daemon& daemon, const std::string& topic, const std::string& what) {
  const json::value report = daemon.ask("payloads");
  for (const json::value& source : report.at("sources").as_array()) {
    if (text(source, "topic") == topic) return source.at(what).to_number<std::uint64_t>();
  }
  return 0;
}

bool reads(const Daemon& daemon, const std::string& zone, double degc) {
  const json::object spot = daemon.spot("north-" + zone + "/temperature");
  return !spot.at("value").is_null() && spot.at("value").to_number<double>() == degc;
}

TEST(Payloads, TheLastBadOnesAreShownByOneCommand) {
  const BrokerPeer broker;
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("intake-trouble", "200 ms"));
  daemon.start();
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  StreamPublisher publisher(broker.settings().port);
  publisher.publish("room/north/hot", 30,
                    [](int number) { return "gurgle " + std::to_string(number) + "\x1b[2J"; });
  publisher.publish("room/north/cool", 1, [](int) { return std::string("24.5"); });
  ASSERT_TRUE(eventually(patience, [&] { return reads(daemon, "cool", 24.5); })) << daemon.log();
  EXPECT_EQ(count_of(daemon, "room/north/hot", "unreadable"), 30U);
  EXPECT_EQ(count_of(daemon, "room/north/cool", "readings"), 1U);
  const json::value report = daemon.ask("payloads");
  const json::array bad = report.at("bad").as_array();
  ASSERT_EQ(bad.size(), 20U);
  EXPECT_EQ(text(bad.back(), "topic"), "room/north/hot");
  EXPECT_EQ(text(bad.back(), "payload"), "gurgle 30\\x1b[2J");
  EXPECT_EQ(text(bad.front(), "payload"), "gurgle 11\\x1b[2J");
  EXPECT_FALSE(text(bad.back(), "cause").empty());
  const Ended table = daemon.command({"payloads"});
  EXPECT_EQ(table.status, 0);
  EXPECT_THAT(table.output, AllOf(HasSubstr("room/north/hot"), HasSubstr("gurgle 30\\x1b[2J")));
  EXPECT_EQ(table.output.find('\x1b'), std::string::npos) << "a payload may not command the terminal";
  // Somebody can do something about it, so it is an alarm, which names the topic.
  ASSERT_TRUE(eventually(patience, [&] { return !of_kind(daemon.alarms(), "intake-trouble").empty(); }))
      << daemon.log();
  EXPECT_THAT(text(of_kind(daemon.alarms(), "intake-trouble")[0], "detail"), HasSubstr("room/north/hot"));
}

TEST(Payloads, AFloodOfJunkOnOneTopicStopsNoOther) {
  const BrokerPeer broker;
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold", "1 s"));
  daemon.start();
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  std::atomic<bool> enough = false;
  std::atomic<std::uint64_t> sent = 0;
  std::thread flood([&] {
    StreamPublisher publisher(broker.settings().port, "flood");
    while (!enough) {
      publisher.publish("room/north/hot", 1000, [](int number) { return "junk " + std::to_string(number); });
      sent += 1000;
    }
  });
  ASSERT_TRUE(eventually(patience, [&] { return sent > 20'000; }));
  // In the middle of it the cool end is heard, judged and gets its alarm.
  StreamPublisher probe(broker.settings().port, "probe");
  int next = 0;
  EXPECT_TRUE(eventually(patience, [&] {
    probe.publish("room/north/cool", 1, [&](int) { return std::to_string(18 + 0.25 * (next++ % 4)); });
    return !of_kind(daemon.alarms(), "too-cold").empty();
  })) << daemon.log();
  enough = true;
  flood.join();
  const json::array cold = of_kind(daemon.alarms(), "too-cold");
  ASSERT_FALSE(cold.empty());
  EXPECT_EQ(text(cold[0], "zone"), "cool");
  // All of the flood was counted: read and found bad, or dropped.
  EXPECT_TRUE(eventually(patience, [&] {
    const json::value report = daemon.ask("payloads");
    return count_of(daemon, "room/north/hot", "unreadable") +
               report.at("dropped").to_number<std::uint64_t>() >=
           sent;
  })) << daemon.command({"payloads"}).output;
  EXPECT_EQ(count_of(daemon, "room/north/cool", "readings"), static_cast<std::uint64_t>(next));
  EXPECT_EQ(daemon.stop(), 0);
}

}  // namespace
}  // namespace baskwell::daemon_test
