// SIGHUP: a bad file changes nothing and says so; a good one keeps what did not change, ends on record what
// is gone, and takes new bands, probes and people.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <csignal>
#include <set>
#include <string>
#include <utility>
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

std::string enclosure(const std::string& id, const std::string& band) {
  return "[enclosures." + id + "]\nbands.hot.temperature = { day = " + band + ", night = " + band +
         ", harm = [15, 45] }\nprobes = [{ id = \"" + id + "-hot\", topic = \"room/" + id +
         "/hot\", unit = \"degC\", zone = \"hot\" }]\n[animals.of-" + id +
         "]\nspecies = \"royal-python\"\nenclosure = \"" + id + "\"\n";
}

class Reload : public testing::Test {
 protected:
  // North, south and west are watched; north and west are too cold, north's alarm is acknowledged.
  void SetUp() override {
    daemon_.write_settings(base() + enclosure("south", "[28, 33]") + enclosure("west", "[28, 33]"));
    daemon_.start();
    ASSERT_TRUE(publish_until({{"north", "24"}, {"west", "24"}, {"south", "29"}}, [&] {
      return of_kind(daemon_.alarms(), "too-cold").size() == 2;
    })) << daemon_.log();
    ASSERT_EQ(daemon_.command({"acknowledge", "north"}).status, 0);
    ASSERT_TRUE(eventually(patience, [&] { return hook_.told().size() == 2; }));
    before_ = short_lines(daemon_.alarms());
    version_ = daemon_.ask("status").at("settings_version").to_number<int>();
  }

  [[nodiscard]] std::string base() const {
    return room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "500 ms") +
           "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" + std::to_string(hook_.port()) +
           "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"});
  }
  template <class Done>
  bool publish_until(const std::vector<std::pair<std::string, std::string>>& values, Done done) {
    return eventually(patience, [&] {
      for (const auto& [where, value] : values)
        publisher_.publish("room/" + where + "/hot", 1, [&, said = value](int) { return said; });
      return done();
    });
  }
  void read_again(const std::string& settings, const std::string& until) {
    daemon_.write_settings(settings);
    daemon_.process().signal(SIGHUP);
    ASSERT_TRUE(daemon_.process().wait_for_line(until, patience).ok()) << daemon_.log();
  }

  BrokerPeer broker_;
  WebReceiver hook_;
  Daemon daemon_{""};
  StreamPublisher publisher_{broker_.settings().port};
  std::set<std::string> before_;
  int version_ = 0;
};

TEST_F(Reload, ABadFileChangesNothingAndSaysSo) {
  const std::vector<std::string> bad{
      base() + "[enclosures.south]\nsize = 3\n",         // an unknown key
      base() + "[enclosures.south\n",                    // no TOML
      base() + "[channels.horn]\nkind = \"foghorn\"\n",  // no such plugin
      base() +
          "[instruments.x]\ntopic = \"t\"\nunit = \"degC\"\nenclosure = \"north\"\nzone = \"hot\"\n"
          "decoder = \"tealeaves\"\n",  // no such decoder
      ""};
  for (const std::string& settings : bad) {
    read_again(settings, "nothing was changed");
    EXPECT_EQ(short_lines(daemon_.alarms()), before_) << settings;
    EXPECT_EQ(daemon_.ask("status").at("settings_version").to_number<int>(), version_);
  }
  // The cause stands in the log, with its place in the file.
  EXPECT_THAT(daemon_.log(), HasSubstr("room.toml:"));
  EXPECT_THAT(daemon_.log(), HasSubstr("foghorn"));
  // And it still watches: south, which the bad files did not have, gets its alarm.
  EXPECT_TRUE(publish_until({{"south", "24"}}, [&] {
    return of_kind(daemon_.alarms(), "too-cold").size() == 3;
  })) << daemon_.log();
}

TEST_F(Reload, AGoodFileKeepsEndsAndTakes) {
  // West is gone; south wants more; east is new.
  read_again(base() + enclosure("south", "[30, 33]") + enclosure("east", "[28, 33]"), "in force");
  ASSERT_TRUE(daemon_.process().wait_for_line("broker: connected", patience).ok()) << daemon_.log();
  EXPECT_GT(daemon_.ask("status").at("settings_version").to_number<int>(), version_);
  // North as it was; west is over, on record, by whom and why.
  std::set<std::string> left;
  for (const std::string& line : before_) {
    if (line.find("west") == std::string::npos) left.insert(line);
  }
  ASSERT_THAT(left, SizeIs(1));
  EXPECT_EQ(short_lines(daemon_.alarms()), left);
  ASSERT_TRUE(eventually(patience, [&] {
    return !daemon_.rows("SELECT id FROM transitions WHERE why = 'no longer in the settings'").empty();
  })) << daemon_.log();
  EXPECT_THAT(
      daemon_.rows("SELECT kind, subject, from_state, to_state, who FROM transitions WHERE why = 'no longer "
                   "in the settings'"),
      ElementsAre("too-cold|west/hot/air/temperature|unacknowledged|normal|baskwell"));
  // South's 29 was warm enough before and is not now; east is heard and judged.
  ASSERT_TRUE(publish_until({{"south", "29"}, {"east", "24"}, {"north", "24"}},
                            [&] { return of_kind(daemon_.alarms(), "too-cold").size() == 3; }))
      << json::serialize(daemon_.alarms()) << daemon_.log();
  // Nobody heard of north or west again.
  ASSERT_TRUE(eventually(patience, [&] { return hook_.told().size() == 4; }));
  EXPECT_EQ(daemon_.stop(), 0);
  ASSERT_THAT(hook_.told(), SizeIs(4));
  for (const Told& told : {hook_.told()[2], hook_.told()[3]}) {
    EXPECT_EQ(told.reason, "raised");
    EXPECT_TRUE(told.occurrence == "A3" || told.occurrence == "A4") << told.occurrence;
  }
  // Both texts are kept, so that a report of then uses the bands of then.
  EXPECT_THAT(daemon_.rows("SELECT version FROM settings_files WHERE text LIKE '%enclosures.west%'"),
              ElementsAre(std::to_string(version_)));
}

TEST_F(Reload, OtherPeopleAreToldFromThenOn) {
  const WebReceiver other;
  read_again(room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "500 ms") +
                 enclosure("south", "[28, 33]") + enclosure("west", "[28, 33]") +
                 "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" +
                 std::to_string(other.port()) + "/alarm\"\n" + person("tom", "Tom Weir", {"hook"}),
             "in force");
  EXPECT_EQ(short_lines(daemon_.alarms()), before_);
  ASSERT_TRUE(publish_until({{"south", "24"}}, [&] { return !other.told().empty(); })) << daemon_.log();
  EXPECT_EQ(other.told()[0].person, "Tom Weir");
  EXPECT_EQ(other.told()[0].reason, "raised");
  EXPECT_THAT(hook_.told(), SizeIs(2));
}

}  // namespace
}  // namespace baskwell::daemon_test
