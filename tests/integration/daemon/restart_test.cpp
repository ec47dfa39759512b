// What a start finds and must not stumble over: a state that cannot be read, a clock that was wrong before.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "broker_peer.h"
#include "harness.h"
#include "receivers.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::SizeIs;

class Restart : public testing::Test {
 protected:
  [[nodiscard]] std::string settings(const std::string& more) const {
    return room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "300 ms") +
           quick_alarm("store-trouble", "300 ms") + more +
           "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" + std::to_string(hook_.port()) +
           "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"});
  }
  template <class Done>
  bool publish_until(const std::string& value, Done done) {
    return eventually(patience, [&] {
      publisher_.publish("room/north/hot", 1, [&](int) { return value; });
      return done();
    });
  }
  // While no daemon runs.
  void change_store(const std::string& sql) const {
    const Ended ended = run({"sqlite3", daemon_.store_file(), sql});
    ASSERT_EQ(ended.status, 0) << ended.output;
  }
  [[nodiscard]] std::vector<Told> told_of(const std::string& kind, const std::string& reason) const {
    std::vector<Told> found;
    for (const Told& told : hook_.told()) {
      if (told.kind == kind && told.reason == reason) found.push_back(told);
    }
    return found;
  }
  [[nodiscard]] std::string state_of(const std::string& kind) const {
    const json::array alarms = of_kind(daemon_.alarms(), kind);
    return alarms.empty() ? "normal" : text(alarms[0], "state");
  }

  BrokerPeer broker_;
  WebReceiver hook_;
  Daemon daemon_{""};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(Restart, AStateThatCannotBeReadIsSetAsideAndAlarmsBeginAnew) {
  daemon_.write_settings(settings(""));
  daemon_.start();
  ASSERT_TRUE(publish_until("24", [&] { return told_of("too-cold", "raised").size() == 1; }))
      << daemon_.log();
  ASSERT_EQ(daemon_.command({"acknowledge", "A1"}).status, 0);
  ASSERT_EQ(daemon_.stop(), 0);
  change_store("UPDATE snapshots SET text = 'moths were here'");

  daemon_.start();
  // It watches: the cold is told again, as an alarm of its own. What is wrong is told as well.
  ASSERT_TRUE(publish_until("24", [&] {
    return told_of("too-cold", "raised").size() == 2 && !told_of("store-trouble", "over").empty();
  })) << daemon_.log();
  const auto cold = told_of("too-cold", "raised");
  EXPECT_NE(cold[0].occurrence, cold[1].occurrence);
  EXPECT_NE(cold[0].id, cold[1].id);
  ASSERT_THAT(told_of("store-trouble", "raised"), SizeIs(1));
  EXPECT_THAT(told_of("store-trouble", "raised")[0].body, HasSubstr("begin anew"));
  EXPECT_THAT(daemon_.log(), HasSubstr("begin anew"));
  // The old alarm ended on record.
  EXPECT_THAT(daemon_.rows("SELECT from_state, to_state, who, why FROM transitions WHERE occurrence = 'A1' "
                           "ORDER BY id DESC LIMIT 1"),
              ElementsAre("acknowledged|normal|baskwell|the state was lost: alarms begin anew"));
  // The text is kept, for its owner alone.
  std::vector<std::filesystem::path> kept;
  for (const auto& entry : std::filesystem::directory_iterator(daemon_.folder().path() / "store")) {
    if (entry.path().filename().string().find("-unreadable-state-2") != std::string::npos)
      kept.push_back(entry.path());
  }
  ASSERT_THAT(kept, SizeIs(1));
  std::ifstream file(kept[0]);
  EXPECT_EQ(std::string(std::istreambuf_iterator<char>(file), {}), "moths were here");
  struct stat about {};
  ASSERT_EQ(::stat(kept[0].c_str(), &about), 0);
  EXPECT_EQ(about.st_mode & 07777U, 0600U);

  // Once: the next start finds a state that it can read.
  const auto before = short_lines(daemon_.alarms());
  daemon_.kill_at_once();
  daemon_.start();
  EXPECT_EQ(short_lines(daemon_.alarms()), before);
  ASSERT_TRUE(publish_until(
      "24", [&] { return daemon_.ask("status").at("store").at("readings_stored").to_number<int>() > 0; }));
  EXPECT_EQ(daemon_.stop(), 0);
  EXPECT_THAT(told_of("store-trouble", "raised"), SizeIs(1));
  EXPECT_THAT(told_of("too-cold", "raised"), SizeIs(2));
}

// A reading that seems to come from the year 2100 shows that the clock is wrong; without it, it is not.
TEST_F(Restart, AWrongClockIsToldAfterAStartAndAReloadAndForgottenOnceItIsRight) {
  const std::string quick = quick_alarm("clock-unsure", "300 ms");
  daemon_.write_settings(settings("[alarms.clock-unsure]\nenabled = false\n"));
  daemon_.start();
  ASSERT_TRUE(publish_until("31", [&] {
    return daemon_.ask("status").at("store").at("readings_stored").to_number<int>() > 0;
  })) << daemon_.log();
  ASSERT_EQ(daemon_.stop(), 0);
  change_store("UPDATE readings SET received_ms = received_ms + 4102444800000");
  daemon_.start();
  EXPECT_EQ(state_of("clock-unsure"), "normal");
  daemon_.write_settings(settings(quick));
  daemon_.process().signal(SIGHUP);
  ASSERT_TRUE(eventually(patience, [&] { return state_of("clock-unsure") == "unacknowledged"; }))
      << daemon_.log();
  EXPECT_THAT(text(of_kind(daemon_.alarms(), "clock-unsure")[0], "detail"), HasSubstr("has been already"));
  daemon_.kill_at_once();

  change_store(
      "UPDATE readings SET received_ms = received_ms - 4102444800000 WHERE received_ms > 4102444800000");
  daemon_.start();
  // Over; or, where nothing keeps this machine's clock, on for that cause alone.
  EXPECT_TRUE(eventually(patience, [&] {
    const json::array alarms = of_kind(daemon_.alarms(), "clock-unsure");
    return alarms.empty() || text(alarms[0], "state") == "returned-unacknowledged" ||
           text(alarms[0], "detail") == "no time service keeps the clock of this machine";
  })) << daemon_.log();
}

}  // namespace
}  // namespace baskwell::daemon_test
