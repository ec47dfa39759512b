// The command line against a running daemon, as a person and as a program uses it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <string>
#include <vector>

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
using testing::ElementsAre;
using testing::HasSubstr;
using testing::SizeIs;

std::string state_of(const Daemon& daemon, const std::string& kind) {
  const json::array alarms = of_kind(daemon.alarms(), kind);
  return alarms.empty() ? "normal" : text(alarms[0], "state");
}

class CommandLine : public testing::Test {
 protected:
  void SetUp() override {
    daemon_.start();
    ASSERT_TRUE(publish_until("room/north/hot", "24.3125", [&] {
      return state_of(daemon_, "too-cold") != "normal";
    })) << daemon_.log();
  }
  template <class Done>
  bool publish_until(const std::string& topic, const std::string& value, Done done) {
    return eventually(patience, [&] {
      publisher_.publish(topic, 1, [&](int) { return value; });
      return done();
    });
  }
  void refuses(const std::vector<std::string>& arguments, const std::string& words) {
    const Ended ended = daemon_.command(arguments);
    EXPECT_EQ(ended.status, 1) << arguments[0];
    EXPECT_THAT(ended.output, HasSubstr(words));
  }

  BrokerPeer broker_;
  Daemon daemon_{room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "300 ms") +
                 quick_alarm("too-hot", "300 ms")};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(CommandLine, AcknowledgeShelveAndTheirEnds) {
  EXPECT_EQ(state_of(daemon_, "too-cold"), "unacknowledged");
  const Ended done = daemon_.command({"acknowledge", "A1", "--by", "Ines", "--why", "on my way"});
  EXPECT_EQ(done.status, 0);
  EXPECT_THAT(done.output, HasSubstr("A1"));
  EXPECT_EQ(state_of(daemon_, "too-cold"), "acknowledged");
  refuses({"acknowledge", "A1"}, "nothing to do");

  refuses({"shelve", "A1", "--for", "2 h", "--why", "new lamp"}, "60 min at most");
  EXPECT_EQ(daemon_.command({"shelve", "A1", "--for", "30 min", "--why", "new lamp", "--by", "Ines"}).status,
            0);
  EXPECT_EQ(state_of(daemon_, "too-cold"), "shelved");
  refuses({"shelve", "A1", "--for", "40 min", "--why", "longer"}, "nothing to do: 'A1' is shelved already");
  EXPECT_EQ(daemon_.command({"unshelve", "A1"}).status, 0);
  EXPECT_EQ(state_of(daemon_, "too-cold"), "unacknowledged");
  // By itself, when the time is over.
  EXPECT_EQ(daemon_.command({"shelve", "north", "--for", "1 s", "--why", "a moment"}).status, 0);
  EXPECT_EQ(state_of(daemon_, "too-cold"), "shelved");
  EXPECT_TRUE(eventually(patience, [&] { return state_of(daemon_, "too-cold") == "unacknowledged"; }));
  // For ever on record, with who and why.
  EXPECT_THAT(daemon_.rows("SELECT input, who, why FROM transitions WHERE who = 'Ines' ORDER BY id"),
              ElementsAre("acknowledge|Ines|on my way", "shelve|Ines|new lamp"));
  // Who did not say who he is was asked for by the system.
  const auto others = daemon_.rows("SELECT who FROM transitions WHERE input = 'unshelve' AND why = ''");
  ASSERT_THAT(others, SizeIs(1));
  EXPECT_FALSE(others[0].empty());
}

TEST_F(CommandLine, OutOfServiceAndBack) {
  refuses({"out-of-service", "attic", "--why", "being cleaned"}, "nothing is called 'attic'");
  refuses({"return-to-service", "north"}, "not out of service");
  EXPECT_EQ(daemon_.command({"out-of-service", "north", "--why", "being cleaned"}).status, 0);
  EXPECT_EQ(state_of(daemon_, "too-cold"), "out-of-service");
  refuses({"out-of-service", "north", "--why", "once more"}, "out of service already");
  // Nothing of it is judged in front of people meanwhile.
  for (int i = 0; i < 5; ++i) publisher_.publish("room/north/hot", 1, [](int) { return std::string("12"); });
  EXPECT_EQ(state_of(daemon_, "too-cold"), "out-of-service");
  EXPECT_EQ(daemon_.command({"return-to-service", "north"}).status, 0);
  EXPECT_TRUE(publish_until("room/north/hot", "24",
                            [&] { return state_of(daemon_, "too-cold") == "unacknowledged"; }));
}

TEST_F(CommandLine, RefusalsAreWordsAndExitStatusOne) {
  refuses({"acknowledge", "A99"}, "no open alarm 'A99'");
  refuses({"unshelve", "A1"}, "nothing to do");
  refuses({"shelve", "A1", "--for", "0 s", "--why", "so"}, "more than 0");
  refuses({"shelve", "A1", "--for", "5 min", "--why", ""}, "a reason is missing");
  refuses({"acknowledge", std::string(600, 'x')}, "500 bytes");
  // Beyond a harm limit nothing is shelved.
  ASSERT_TRUE(publish_until("room/north/hot", "47", [&] { return state_of(daemon_, "too-hot") != "normal"; }))
      << daemon_.log();
  const std::string hot = text(of_kind(daemon_.alarms(), "too-hot")[0], "alarm");
  refuses({"shelve", hot, "--for", "5 min", "--why", "so"}, "beyond a harm limit");
}

TEST_F(CommandLine, TablesForPeopleAndJsonForPrograms) {
  ASSERT_TRUE(publish_until("room/north/cool", "24.5",
                            [&] { return daemon_.spot("north-cool/temperature").at("fresh").as_bool(); }));
  const Ended room = daemon_.command({"room"});
  EXPECT_EQ(room.status, 0);
  EXPECT_THAT(room.output,
              AllOf(HasSubstr("Fern room"), HasSubstr("North vivarium"), HasSubstr("Juniper"),
                    HasSubstr("24.3 °C"), HasSubstr("30 to 33"), HasSubstr("low"), HasSubstr("[too-cold]")));
  EXPECT_THAT(room.output, AllOf(HasSubstr("24.5 °C"), HasSubstr("good"), HasSubstr("broker connected")));
  const Ended alarms = daemon_.command({"alarms"});
  EXPECT_THAT(alarms.output, AllOf(HasSubstr("1 alarm\n"), HasSubstr("A1"), HasSubstr("too-cold"),
                                   HasSubstr("unacknowledged"), HasSubstr("since ")));
  const json::object alarm = daemon_.alarms().at(0).as_object();
  EXPECT_EQ(text(alarm, "enclosure"), "north");
  EXPECT_EQ(text(alarm, "animal"), "Juniper, royal python");
  EXPECT_EQ(text(alarm, "subject"), "north/hot/air/temperature");
  EXPECT_EQ(text(alarm, "priority"), "high");
  EXPECT_DOUBLE_EQ(alarm.at("value").to_number<double>(), 24.3125);
  EXPECT_DOUBLE_EQ(alarm.at("target_limit").to_number<double>(), 30);
  EXPECT_DOUBLE_EQ(alarm.at("harm_limit").to_number<double>(), 15);
  const json::value status = daemon_.ask("status");
  EXPECT_TRUE(status.at("store").at("working").as_bool());
  EXPECT_EQ(status.at("channels").to_number<int>(), 2);
  EXPECT_THAT(daemon_.command({"status"}).output,
              AllOf(HasSubstr("1 enclosure with 2 channels"), HasSubstr("store      works"),
                    HasSubstr("messages   0 delivered"), HasSubstr(daemon_.store_file())));
  // Plain decimals, as people and simple programs read them.
  EXPECT_THAT(daemon_.command({"alarms", "--json"}).output,
              AllOf(HasSubstr("\"target_limit\":30,"), HasSubstr("\"value\":24.3125,")));
}

TEST_F(CommandLine, OnlyOwnerAndGroupMayAskAndOnlyOneDaemonWatches) {
  struct stat about {};
  ASSERT_EQ(::stat(daemon_.socket().c_str(), &about), 0);
  EXPECT_TRUE(S_ISSOCK(about.st_mode));
  EXPECT_EQ(about.st_mode & 07777U, 0660U);
  ASSERT_EQ(::stat(daemon_.store_file().c_str(), &about), 0);
  EXPECT_EQ(about.st_mode & 07777U, 0600U);
  const Ended second =
      run({BASKWELL_BUILD_DIR "/bin/baskwell", "run", "--settings", daemon_.folder().file("room.toml")});
  EXPECT_EQ(second.status, 1) << second.output;
  // The first goes on.
  EXPECT_EQ(daemon_.command({"room"}).status, 0);
}

TEST(Usage, MistakesInTheCommandLineItselfAreTwo) {
  const std::string program = BASKWELL_BUILD_DIR "/bin/baskwell";
  const std::vector<std::vector<std::string>> wrong{{},
                                                    {"dance"},
                                                    {"room", "--loudly"},
                                                    {"acknowledge"},
                                                    {"shelve", "A1", "--why", "no time given"},
                                                    {"shelve", "A1", "--for", "5 min"},
                                                    {"shelve", "A1", "--for", "soon", "--why", "so"},
                                                    {"out-of-service", "north"},
                                                    {"replay", "--readings", "x.csv"},
                                                    {"run", "--pace", "0"},
                                                    {"run", "--pace", "fast"},
                                                    {"run", "--start", "yesterday"},
                                                    {"room", "--follow", "never"}};
  for (std::vector<std::string> arguments : wrong) {
    const std::string what = arguments.empty() ? "nothing" : testing::PrintToString(arguments);
    arguments.insert(arguments.begin(), program);
    const Ended ended = run(arguments);
    EXPECT_EQ(ended.status, 2) << what << ": " << ended.output;
    EXPECT_FALSE(ended.output.empty());
  }
  const Ended mistyped = run({program, "chek", "room.toml"});
  EXPECT_EQ(mistyped.status, 2);
  EXPECT_THAT(mistyped.output, HasSubstr("there is no command 'chek', nearest: check"));
  EXPECT_EQ(run({program, "--help"}).status, 0);
  EXPECT_EQ(run({program, "room", "--help"}).status, 0);
  EXPECT_EQ(run({program, "--version"}).status, 0);
}

TEST(Usage, WithoutADaemonItSaysWhereItLooked) {
  const peers::TempFolder empty;
  const Ended ended =
      run({BASKWELL_BUILD_DIR "/bin/baskwell", "alarms", "--socket", empty.file("nobody.sock")});
  EXPECT_EQ(ended.status, 1);
  EXPECT_THAT(ended.output, AllOf(HasSubstr("nobody.sock"), HasSubstr("no daemon answers here")));
}

}  // namespace
}  // namespace baskwell::daemon_test
