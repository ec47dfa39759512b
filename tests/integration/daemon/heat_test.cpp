// `baskwell heat` against a running daemon: words, JSON, and a picture drawn from the store around an alarm.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
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
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

std::string content_of(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

class Heat : public testing::Test {
 protected:
  void SetUp() override {
    daemon_.start();
    ASSERT_TRUE(eventually(patience, [&] {
      publisher_.publish("room/north/hot", 1, [](int) { return std::string("24.3125"); });
      return !of_kind(daemon_.alarms(), "too-cold").empty();
    })) << daemon_.log();
    // The picture is of what the store holds.
    ASSERT_TRUE(eventually(patience, [&] {
      return !daemon_.rows("SELECT 1 FROM transitions").empty() &&
             !daemon_.rows("SELECT 1 FROM readings").empty();
    }));
  }

  BrokerPeer broker_;
  Daemon daemon_{room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "300 ms")};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(Heat, SaysWhatIsBelievedInWordsAndAsJson) {
  const Ended words = daemon_.command({"heat", "north"});
  EXPECT_EQ(words.status, 0) << words.output;
  EXPECT_THAT(words.output,
              AllOf(HasSubstr("North vivarium: what is believed of its heating"), HasSubstr("mat"),
                    HasSubstr("socket left"), HasSubstr("heating not judged yet, until about "),
                    HasSubstr("hot spot: 24.3 °C"), HasSubstr("A1 too-cold: unacknowledged, high")));
  const Ended by_name = daemon_.command({"heat", "North vivarium", "--json"});
  ASSERT_EQ(by_name.status, 0) << by_name.output;
  const json::value data = json::parse(by_name.output);
  EXPECT_EQ(text(data, "enclosure"), "north");
  EXPECT_EQ(text(data, "room"), "Fern room");
  EXPECT_FALSE(data.at("heating").at("judged").as_bool());
  EXPECT_EQ(data.at("heating").at("probes").at(0).at("channel").as_string(), "north-hot/temperature");
}

TEST_F(Heat, DrawsAPictureAroundItsNewestAlarm) {
  const std::string file = daemon_.folder().file("north.svg");
  const Ended drawn = daemon_.command({"heat", "north", "--svg", file, "--hours", "1"});
  ASSERT_EQ(drawn.status, 0) << drawn.output << daemon_.log();
  EXPECT_THAT(drawn.output, HasSubstr("Picture of "));
  const Ended parsed =
      run({"python3", "-c",
           "import sys, xml.etree.ElementTree as tree\n"
           "sys.stdout.reconfigure(encoding='utf-8')\n"
           "print('\\n'.join(''.join(e.itertext()) for e in tree.parse(sys.argv[1]).iter()))",
           file});
  ASSERT_EQ(parsed.status, 0) << parsed.output << content_of(file);
  EXPECT_THAT(
      parsed.output,
      AllOf(HasSubstr("North vivarium: temperature and heating"), HasSubstr("Fern room"),
            HasSubstr("hot spot, °C"), HasSubstr("lowest 24.3 °C"), HasSubstr("target 30 to 33 °C"),
            HasSubstr("A1 too-cold raised, high"), HasSubstr("Heating not judged yet, until about ")));
  EXPECT_THAT(parsed.output, HasSubstr("cool end, probe north-cool/temperature: no readings"));
  EXPECT_THAT(content_of(file), HasSubstr("<path class=\"read\""));
  // At another moment, before anything was read.
  const Ended before =
      daemon_.command({"heat", "north", "--svg", file, "--at", "2026-11-02T10:00:00Z", "--hours", "6"});
  ASSERT_EQ(before.status, 0) << before.output;
  EXPECT_THAT(content_of(file),
              AllOf(HasSubstr("2 Nov 07:00 to 2 Nov 13:00"), Not(HasSubstr("class=\"read\" d")),
                    HasSubstr("no readings in this time")));
}

TEST_F(Heat, RefusalsAreWordsAndExitStatusOne) {
  const auto refuses = [&](const std::vector<std::string>& arguments, const std::string& words) {
    const Ended ended = daemon_.command(arguments);
    EXPECT_EQ(ended.status, 1) << ended.output;
    EXPECT_THAT(ended.output, HasSubstr(words));
  };
  refuses({"heat", "attic"}, "no enclosure is called 'attic'");
  refuses({"heat", "north", "--svg", "/nowhere/at/all.svg"},
          "/nowhere/at/all.svg: No such file or directory");
  for (const std::vector<std::string>& wrong :
       std::vector<std::vector<std::string>>{{"heat"},
                                             {"heat", "north", "--hours", "5"},
                                             {"heat", "north", "--at", "2026-11-02T10:00:00Z"},
                                             {"heat", "north", "--svg", "x.svg", "--at", "yesterday"},
                                             {"heat", "north", "--svg", "x.svg", "--hours", "0"},
                                             {"heat", "north", "--svg", "x.svg", "--hours", "400"}}) {
    EXPECT_EQ(daemon_.command(wrong).status, 2) << testing::PrintToString(wrong);
  }
}

}  // namespace
}  // namespace baskwell::daemon_test
