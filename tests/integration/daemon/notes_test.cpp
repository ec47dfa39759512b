// Notes through the command line: kept before they are answered, a grace time that covers what cleaning
// disturbs and nothing beyond a harm limit, and an alarm when it is over.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <boost/json.hpp>
#include <filesystem>
#include <string>
#include <vector>

#include "broker_peer.h"
#include "core/moment.h"
#include "harness.h"
#include "receivers.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using testing::AllOf;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

std::string state_of(const Daemon& daemon, const std::string& kind) {
  const json::array alarms = of_kind(daemon.alarms(), kind);
  return alarms.empty() ? "normal" : text(alarms[0], "state");
}

std::vector<std::string> kinds_told(const WebReceiver& hook) {
  std::vector<std::string> kinds;
  for (const Told& told : hook.told()) kinds.push_back(told.kind + " " + told.reason);
  return kinds;
}

class Notes : public testing::Test {
 protected:
  template <class Done>
  bool publish_until(const std::string& value, Done done) {
    return eventually(patience, [&] {
      publisher_.publish("room/north/hot", 1, [&](int) { return value; });
      return done();
    });
  }
  // At the daemon's own pace; 100 makes a minute 0.6 s.
  void start_well(const std::string& delay, const std::string& pace = "1") {
    daemon_.write_settings(
        room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", delay) +
        quick_alarm("too-hot", delay) + "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" +
        std::to_string(hook_.port()) + "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"}));
    daemon_.start({"--pace", pace});
    ASSERT_TRUE(publish_until("31", [&] {
      return daemon_.spot("north-hot/temperature").at("fresh").as_bool();
    })) << daemon_.log();
  }

  BrokerPeer broker_;
  WebReceiver hook_;
  Daemon daemon_{""};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(Notes, CleaningCoversACoolReadingButNoHarmLimitAndEnds) {
  start_well("1 min", "100");
  const Ended noted = daemon_.command({"note", "north", "cleaned,", "both", "bowls", "--json"});
  ASSERT_EQ(noted.status, 0) << noted.output;
  const json::value answer = json::parse(noted.output);
  EXPECT_EQ(text(answer, "type"), "cleaned");
  EXPECT_EQ(text(answer, "text"), "cleaned, both bowls");
  const auto at = utc_from_rfc3339(text(answer, "at"));
  const auto until = utc_from_rfc3339(text(answer, "grace_until"));
  ASSERT_TRUE(at && until);
  EXPECT_EQ(*until - *at, 30 * minute_ms);

  // Cool with the doors open: nobody hears of it.
  ASSERT_TRUE(publish_until("24", [&] { return state_of(daemon_, "too-cold") == "suppressed"; }))
      << daemon_.log();
  EXPECT_THAT(hook_.told(), IsEmpty());
  EXPECT_THAT(daemon_.command({"room"}).output, HasSubstr("harm limits hold: North vivarium until "));
  EXPECT_EQ(text(daemon_.ask("room").at("graces").as_array().at(0), "enclosure"), "north");
  // Beyond the harm limit of 45: at once.
  ASSERT_TRUE(publish_until("47", [&] { return state_of(daemon_, "too-hot") == "unacknowledged"; }))
      << daemon_.log();
  ASSERT_TRUE(eventually(patience, [&] { return !hook_.told().empty(); }));
  EXPECT_THAT(kinds_told(hook_), Contains(testing::StartsWith("too-hot")));
  EXPECT_THAT(daemon_.rows("SELECT level FROM transitions WHERE kind = 'too-hot' AND "
                           "to_state = 'unacknowledged' AND at_ms < " +
                           std::to_string(until->ms)),
              Contains("harm"));
  // Still cool when the time is over: now it is told.
  ASSERT_TRUE(publish_until("24", [&] { return state_of(daemon_, "too-cold") == "unacknowledged"; }))
      << daemon_.log();
  ASSERT_TRUE(eventually(patience, [&] {
    const auto told = kinds_told(hook_);
    return std::find(told.begin(), told.end(), "too-cold raised") != told.end();
  }));
  const auto raised = daemon_.rows(
      "SELECT min(at_ms) FROM transitions WHERE kind = 'too-cold' AND to_state = 'unacknowledged'");
  ASSERT_THAT(raised, SizeIs(1));
  // To the millisecond, but for how the daemon's fast clock is rounded.
  EXPECT_NEAR(static_cast<double>(std::stoll(raised[0])), static_cast<double>(until->ms), 2000.0);
  EXPECT_EQ(daemon_.stop(), 0);
}

TEST_F(Notes, AreOnTheDiskBeforeTheyAreAnswered) {
  start_well("300 ms");
  for (int i = 0; i < 5; ++i) {
    const std::string words = "fed " + std::to_string(i) + ", größer";
    const Ended noted = daemon_.command({"note", "juniper", words, "--who", "Ines"});
    daemon_.kill_at_once();
    ASSERT_EQ(noted.status, 0) << noted.output;
    EXPECT_THAT(daemon_.rows("SELECT text FROM notes"), Contains(words));
    daemon_.start();
  }
  EXPECT_THAT(daemon_.rows("SELECT subject, type, text, who FROM notes ORDER BY id LIMIT 1"),
              ElementsAre("juniper|fed|fed 0, größer|Ines"));
}

TEST_F(Notes, AGraceTimeOutlivesKill) {
  start_well("300 ms");
  const Ended noted = daemon_.command({"note", "north", "cleaned"});
  daemon_.kill_at_once();
  ASSERT_EQ(noted.status, 0) << noted.output;
  EXPECT_THAT(noted.output, AllOf(HasSubstr("Noted of north: cleaned."), HasSubstr("Grace until "),
                                  HasSubstr("harm limits")));
  daemon_.start();
  ASSERT_TRUE(publish_until("24", [&] { return state_of(daemon_, "too-cold") != "normal"; }));
  EXPECT_EQ(state_of(daemon_, "too-cold"), "suppressed");
  EXPECT_THAT(hook_.told(), IsEmpty());
}

TEST_F(Notes, AreListedForPeopleAndPrograms) {
  start_well("300 ms");
  EXPECT_THAT(daemon_.command({"notes"}).output, HasSubstr("No notes."));
  EXPECT_EQ(daemon_.command({"note", "juniper", "shed in one piece", "--who", "Ines"}).status, 0);
  EXPECT_EQ(daemon_.command({"note", "mat", "the cable", "--type", "heater changed", "--by", "Tom"}).status,
            0);
  EXPECT_EQ(daemon_.command({"note", "room", "window open"}).status, 0);
  const Ended listed = daemon_.command({"notes"});
  EXPECT_EQ(listed.status, 0);
  EXPECT_THAT(listed.output, AllOf(HasSubstr("shed in one piece  (Ines)"),
                                   HasSubstr("heater-changed  the cable  (Tom)"), HasSubstr("window open")));
  EXPECT_THAT(daemon_.command({"notes", "mat"}).output, Not(HasSubstr("juniper")));
  const json::value data = json::parse(daemon_.command({"notes", "--last", "2", "--json"}).output);
  EXPECT_TRUE(data.at("more").as_bool());
  ASSERT_THAT(data.at("notes").as_array(), SizeIs(2));
  const json::value& mat = data.at("notes").as_array()[0];
  EXPECT_EQ(text(mat, "subject"), "mat");
  EXPECT_TRUE(text(mat, "at").ends_with("Z"));
  // Who did not say so was asked for by the system.
  EXPECT_FALSE(text(data.at("notes").as_array()[1], "who").empty());

  for (const auto& [arguments, words] :
       {std::pair<std::vector<std::string>, std::string>{{"note", "attic", "cleaned"}, "nothing is called"},
        {{"note", "north", "two\nlines"}, "one line"}}) {
    const Ended refused = daemon_.command(arguments);
    EXPECT_EQ(refused.status, 1);
    EXPECT_THAT(refused.output, HasSubstr(words));
  }
  for (const std::vector<std::string>& wrong :
       std::vector<std::vector<std::string>>{{"note"},
                                             {"note", "north"},
                                             {"note", "north", "x", "--type", "painted"},
                                             {"notes", "--last", "0"}}) {
    EXPECT_EQ(daemon_.command(wrong).status, 2) << testing::PrintToString(wrong);
  }
}

TEST_F(Notes, SayWhenTheDiskDoesNotTakeThemAndAreWrittenOnceItDoes) {
  start_well("300 ms");
  const auto folder = daemon_.folder().path() / "store";
  std::filesystem::rename(folder, daemon_.folder().path() / "elsewhere");
  static_cast<void>(daemon_.folder().write("store", "no folder"));
  const Ended noted = daemon_.command({"note", "north", "fed, one rat"});
  EXPECT_EQ(noted.status, 1);
  EXPECT_THAT(noted.output,
              AllOf(HasSubstr("not known to be on the disk"), HasSubstr("once the store works again")));
  std::filesystem::remove(folder);
  std::filesystem::rename(daemon_.folder().path() / "elsewhere", folder);
  EXPECT_TRUE(publish_until("31", [&] {
    return daemon_.rows("SELECT text FROM notes") == std::vector<std::string>{"fed, one rat"};
  })) << daemon_.log();
}

}  // namespace
}  // namespace baskwell::daemon_test
