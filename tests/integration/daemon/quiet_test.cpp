// A quiet room: readings wait for the moment of their commit before they are looked at. Nobody who asks sees
// that, nothing is judged late, and nothing waits for longer than the commit interval.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "broker_peer.h"
#include "harness.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;

class QuietRoom : public testing::Test {
 protected:
  [[nodiscard]] double value_of(const std::string& channel) const {
    const json::value value = daemon_.spot(channel).at("value");
    return value.is_null() ? -1000 : value.to_number<double>();
  }
  [[nodiscard]] int stored() const {
    return daemon_.ask("status").at("store").at("readings_stored").to_number<int>();
  }
  void publish(const std::string& topic, const std::string& value) {
    publisher_.publish(topic, 1, [&](int) { return value; });
  }

  BrokerPeer broker_;
  // No alarm is quicker than the commit interval: so long a reading would wait by itself.
  Daemon daemon_{room_of_one(broker_at(broker_.settings().port)) +
                 "[store]\npath = \"store/room.db\"\ncommit_interval = \"10 s\"\n[service]\nsocket = "
                 "\"baskwell.sock\"\n" +
                 quick_alarm("too-cold", "10 s")};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(QuietRoom, WhoAsksSeesWhatHasArrivedAndTheRestIsStoredInTime) {
  daemon_.start();
  ASSERT_TRUE(eventually(patience, [&] {  // subscribed; the first look after that finds the room quiet
    publish("room/north/hot", "31");
    return value_of("north-hot/temperature") == 31;
  })) << daemon_.log();
  publish("room/north/cool", "24.5");
  // Long before any commit.
  EXPECT_TRUE(eventually(std::chrono::seconds(5 * slowness),
                         [&] { return value_of("north-cool/temperature") == 24.5; }));
  const int before = stored();
  publish("room/north/cool", "24.75");
  EXPECT_TRUE(eventually(patience, [&] {
    return !daemon_.rows("SELECT id FROM readings WHERE digits = 2475 AND places = 2").empty();
  })) << daemon_.log();
  EXPECT_GT(stored(), before);
  EXPECT_EQ(daemon_.stop(), 0);
}

// A cold reading, then a warm one that still waits in the queue when the delay ends: no alarm.
TEST_F(QuietRoom, WhatWaitsIsHeardBeforeADelayEnds) {
  daemon_.start();
  ASSERT_TRUE(eventually(patience, [&] {
    publish("room/north/hot", "24");
    return value_of("north-hot/temperature") == 24;
  })) << daemon_.log();
  publish("room/north/hot", "24.25");
  publish("room/north/hot", "31");
  ASSERT_TRUE(eventually(patience, [&] {
    return !daemon_.rows("SELECT id FROM readings WHERE digits = 31").empty();
  })) << daemon_.log();
  EXPECT_TRUE(daemon_.rows("SELECT id FROM transitions WHERE kind = 'too-cold'").empty());
  EXPECT_EQ(daemon_.stop(), 0);
}

}  // namespace
}  // namespace baskwell::daemon_test
