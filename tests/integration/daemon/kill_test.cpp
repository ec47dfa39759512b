// kill -9 at random moments: the same alarms in the same states with the same ids come back, nobody is told
// twice, what was said goes on being said.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <map>
#include <random>
#include <set>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "broker_peer.h"
#include "harness.h"
#include "receivers.h"
#include "stream_publisher.h"
#include "unit/core/seed.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using std::chrono::milliseconds;

const std::vector<std::string> enclosures{"north", "east", "south", "west"};

std::string more_enclosures() {
  std::string tables;
  for (std::size_t i = 1; i < enclosures.size(); ++i) {
    const std::string& id = enclosures[i];
    tables += "[enclosures." + id +
              "]\nbands.hot.temperature = { day = [30, 33], night = [30, 33], harm = [15, 45] }\n" +
              "probes = [{ id = \"" + id + "-hot\", topic = \"room/" + id +
              "/hot\", unit = \"degC\", zone = \"hot\" }]\n" + "[animals.of-" + id +
              "]\nspecies = \"royal-python\"\nenclosure = \"" + id + "\"\n";
  }
  return tables;
}

std::string settings_for(const BrokerPeer& broker, const WebReceiver& hook, const std::string& alarm) {
  return room_of_one(broker_at(broker.settings().port)) + more_enclosures() + alarm +
         "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" + std::to_string(hook.port()) +
         "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"});
}

// Probes that send on their own account, every 20 ms or so, what they are set to.
class Probes {
 public:
  explicit Probes(std::uint16_t port) : publisher_(port), thread_([this] { send(); }) {}
  ~Probes() {
    ended_ = true;
    thread_.join();
  }
  Probes(const Probes&) = delete;
  Probes& operator=(const Probes&) = delete;
  void set(std::size_t enclosure, int degc) { degc_[enclosure] = degc; }
  void set_all(int degc) {
    for (auto& one : degc_) one = degc;
  }

 private:
  void send() {
    while (!ended_) {
      for (std::size_t i = 0; i < enclosures.size(); ++i) {
        publisher_.publish("room/" + enclosures[i] + "/hot", 1,
                           [&](int) { return std::to_string(degc_[i].load()); });
      }
      std::this_thread::sleep_for(milliseconds(20));  // their interval
    }
  }
  StreamPublisher publisher_;
  std::atomic<bool> ended_ = false;
  std::array<std::atomic<int>, 4> degc_{31, 31, 31, 31};
  std::thread thread_;
};

// Random, by a seed that is printed.
class Chance {
 public:
  int up_to(int most) { return static_cast<int>(test::between(random_, 0, most)); }
  void wait_up_to(int ms) {
    std::this_thread::sleep_for(milliseconds(up_to(ms)));
  }  // the random moment itself

 private:
  std::mt19937_64 random_{test::announced_seed()};
};

std::size_t told_of(const WebReceiver& hook, const std::string& occurrence) {
  const auto all = hook.told();
  return static_cast<std::size_t>(
      std::count_if(all.begin(), all.end(), [&](const Told& one) { return one.occurrence == occurrence; }));
}

void expect_nobody_was_told_twice(const WebReceiver& hook) {
  std::map<std::string, int> times;
  for (const Told& told : hook.told()) ++times[told.id + " " + told.headline];
  for (const auto& [message, count] : times) EXPECT_EQ(count, 1) << message;
}

std::vector<std::string> columns(const std::string& row) {
  std::vector<std::string> all;
  std::istringstream in(row);
  for (std::string one; std::getline(in, one, '|');) all.push_back(one);
  return all;
}

std::string occurrence_at(const Daemon& daemon, const std::string& enclosure) {
  for (const json::value& alarm : of_kind(daemon.alarms(), "too-cold")) {
    if (text(alarm, "enclosure") == enclosure) return text(alarm, "alarm");
  }
  return "none";
}

TEST(Kill, OpenAlarmsComeBackAsTheyWereAndRepeatsGoOn) {
  Chance chance;
  const BrokerPeer broker;
  const WebReceiver hook;
  Daemon daemon(settings_for(broker, hook, quick_alarm("too-cold", "500 ms", "1 s")));
  daemon.start();
  Probes probes(broker.settings().port);
  probes.set_all(24);
  ASSERT_TRUE(eventually(patience, [&] { return of_kind(daemon.alarms(), "too-cold").size() == 4; }))
      << daemon.log();
  const std::string acknowledged = occurrence_at(daemon, "north");
  const std::string shelved = occurrence_at(daemon, "east");
  const std::string out = occurrence_at(daemon, "south");
  const std::string open = occurrence_at(daemon, "west");
  ASSERT_EQ(daemon.command({"acknowledge", acknowledged, "--by", "Ines"}).status, 0);
  ASSERT_EQ(
      daemon.command({"shelve", shelved, "--for", "30 min", "--why", "new lamp", "--by", "Ines"}).status, 0);
  ASSERT_EQ(daemon.command({"out-of-service", "south", "--why", "being cleaned", "--by", "Ines"}).status, 0);
  const auto before = short_lines(daemon.alarms());
  // What was on its way when they were quietened may still arrive.
  ASSERT_TRUE(eventually(patience, [&] {
    return daemon.rows("SELECT id FROM outbox WHERE state = 'attempted' OR state = 'waiting'").empty();
  }));
  const std::map<std::string, std::size_t> quiet{{acknowledged, told_of(hook, acknowledged)},
                                                 {shelved, told_of(hook, shelved)},
                                                 {out, told_of(hook, out)}};
  for (int round = 0; round < 8; ++round) {
    chance.wait_up_to(1200);
    daemon.kill_at_once();
    daemon.start();
    EXPECT_EQ(short_lines(daemon.alarms()), before) << "round " << round;
    const std::size_t heard = told_of(hook, open);
    ASSERT_TRUE(eventually(patience, [&] { return told_of(hook, open) > heard; }))
        << "round " << round << daemon.log();
  }
  for (const auto& [occurrence, count] : quiet) EXPECT_EQ(told_of(hook, occurrence), count) << occurrence;
  expect_nobody_was_told_twice(hook);
}

// "done" is said when it is on record, not before.
TEST(Kill, WhatAPersonAskedForIsKeptOnceItWasAnswered) {
  const BrokerPeer broker;
  const WebReceiver hook;
  Daemon daemon(settings_for(broker, hook, quick_alarm("too-cold", "200 ms")));
  daemon.start();
  Probes probes(broker.settings().port);
  probes.set_all(24);
  ASSERT_TRUE(eventually(patience, [&] { return of_kind(daemon.alarms(), "too-cold").size() == 4; }))
      << daemon.log();
  const std::string name = occurrence_at(daemon, "east");
  const auto state = [&] {
    for (const json::value& alarm : daemon.alarms()) {
      if (text(alarm, "alarm") == name) return text(alarm, "state");
    }
    return std::string("none");
  };
  for (int round = 0; round < 6; ++round) {
    const bool shelve = round % 2 == 0;
    const Ended asked =
        shelve
            ? daemon.command({"shelve", name, "--for", "30 min", "--why", "round " + std::to_string(round)})
            : daemon.command({"unshelve", name});
    daemon.kill_at_once();
    ASSERT_EQ(asked.status, 0) << asked.output;
    daemon.start();
    EXPECT_EQ(state(), shelve ? "shelved" : "unacknowledged") << "round " << round;
  }
}

TEST(Kill, WhileAlarmsComeAndGoTheRecordStaysWholeAndNobodyIsToldTwice) {
  Chance chance;
  const BrokerPeer broker;
  const WebReceiver hook;
  Daemon daemon(settings_for(broker, hook, quick_alarm("too-cold", "200 ms", "1 s")));
  daemon.start();
  {
    Probes probes(broker.settings().port);
    for (int round = 0; round < 12; ++round) {
      for (int i = 0; i < 6; ++i) {
        probes.set(static_cast<std::size_t>(chance.up_to(3)), chance.up_to(1) == 0 ? 24 : 31);
        chance.wait_up_to(250);
      }
      if (chance.up_to(2) == 0) static_cast<void>(daemon.command({"acknowledge", "all"}));
      chance.wait_up_to(100);
      daemon.kill_at_once();
      const auto known = daemon.rows("SELECT id, occurrence, to_state FROM transitions ORDER BY id");
      daemon.start();
      // Nothing that was committed is gone or changed.
      const auto after = daemon.rows("SELECT id, occurrence, to_state FROM transitions ORDER BY id");
      ASSERT_GE(after.size(), known.size());
      EXPECT_TRUE(std::equal(known.begin(), known.end(), after.begin())) << "round " << round;
    }
    probes.set_all(31);
    ASSERT_TRUE(eventually(patience, [&] {
      const auto alarms = daemon.alarms();
      return std::all_of(alarms.begin(), alarms.end(), [](const json::value& alarm) {
        return text(alarm, "state") == "returned-unacknowledged";
      });
    })) << daemon.log();
    ASSERT_EQ(daemon.command({"acknowledge", "all"}).status, 0);
    EXPECT_TRUE(daemon.alarms().empty()) << json::serialize(daemon.alarms());
  }
  ASSERT_TRUE(eventually(patience, [&] {
    return daemon.rows("SELECT id FROM outbox WHERE state = 'waiting'").empty();
  })) << daemon.log();
  EXPECT_EQ(daemon.stop(), 0);

  // Each transition begins in the state in which the one before it ended.
  std::map<std::string, std::string> state;  // by kind and subject
  std::map<std::string, std::string> whose;  // occurrence -> kind and subject
  std::map<std::string, int> raised;         // by occurrence: how often people had to hear of it anew
  int count = 0;
  for (const std::string& row : daemon.rows(
           "SELECT kind || ' ' || subject, from_state, to_state, occurrence FROM transitions ORDER BY id")) {
    const auto column = columns(row);
    ASSERT_GE(column.size(), 4U) << row;
    const auto known = state.try_emplace(column[0], "normal").first;
    EXPECT_EQ(column[1], known->second) << row;
    known->second = column[2];
    EXPECT_EQ(whose.try_emplace(column[3], column[0]).first->second, column[0]) << row;
    if (column[2] == "unacknowledged" && column[1] != "unacknowledged") ++raised[column[3]];
    ++count;
  }
  EXPECT_GT(count, 12);
  for (const auto& [subject, last] : state) EXPECT_EQ(last, "normal") << subject;

  expect_nobody_was_told_twice(hook);
  std::map<std::string, int> heard;
  std::set<std::string> ids;
  for (const Told& told : hook.told()) {
    ids.insert(told.id);
    if (told.reason == "raised") ++heard[told.occurrence];
  }
  for (const auto& [occurrence, times] : heard) EXPECT_LE(times, raised[occurrence]) << occurrence;
  // What is on record as delivered came, and nothing came that is not on record.
  std::set<std::string> recorded;
  for (const std::string& row : daemon.rows("SELECT id, state FROM outbox")) {
    const auto column = columns(row);
    recorded.insert(column[0]);
    EXPECT_TRUE(column[1] != "delivered" || ids.contains(column[0])) << row;
  }
  for (const std::string& id : ids) EXPECT_TRUE(recorded.contains(id)) << id;
  EXPECT_GT(ids.size(), 4U);
}

}  // namespace
}  // namespace baskwell::daemon_test
