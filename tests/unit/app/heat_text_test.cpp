#include "app/heat_text.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <sstream>
#include <string>

#include "core/alarm/message_text.h"
#include "test_room.h"

namespace baskwell {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

heat::Belief believed() {
  heat::Belief belief;
  belief.unit = "cable/heating";
  belief.heaters = {"cable"};
  belief.judged = true;
  belief.day = {31.5, 1.4, -0.8, 0.9};
  belief.night = {26.04, nan, nan, nan};
  belief.fast_minutes = 18.26;
  belief.slow_minutes = nan;
  belief.falls_seen = 1;
  belief.cycle_minutes = 14;
  belief.duty = 0.43;
  belief.probes = {{"hot/value", "hot", 29.3, 31.4, 0.31, 12.4, {}, {}, {}}};
  return belief;
}

TEST(HeatText, ShowsWhatIsKnownAndSaysWhatIsNot) {
  const Room room = test::python_room();
  const std::string text = heat_text({room, 0, UtcMs{1'795'521'600'000}, believed(), {}});
  EXPECT_THAT(text, AllOf(HasSubstr("judged           yes. Learned from 12.4 days and 1 fall\n"),
                          HasSubstr("kept at          31.5 °C             26.0 °C\n"),
                          HasSubstr("usual swing      1.4 °C              not known yet\n"),
                          HasSubstr("usual range      -0.8 to +0.9 °C     not known yet\n"),
                          HasSubstr("18.3 min in the first ten minutes, not seen yet from 20 to 80"),
                          HasSubstr("every 14.0 min, warming 43.0 % of the time")));
  EXPECT_THAT(
      text,
      AllOf(HasSubstr("hot spot, surface: 29.3 °C, expected 31.4 °C; 12.4 days learned; +0.3 °C for each"),
            HasSubstr("thermostat       none in the settings"), HasSubstr("Latest changes\n  none\n"),
            Not(HasSubstr("nan"))));
}

TEST(HeatText, FitsAScreenAndBreaksNoName) {
  Room room = test::python_room();
  heat::Belief belief = believed();
  for (int i = 1; i <= 24; ++i) {
    Enclosure tub;
    tub.id = "tub-" + std::to_string(i);
    tub.name = "Rack North tub " + std::to_string(i);
    room.enclosures.push_back(tub);
    belief.feeds.push_back(tub.id);
    if (i > 2) belief.unprobed.push_back(tub.id);
  }
  std::string evidence = "not-heating:";
  for (int i = 0; i < 60; ++i) evidence += " falling";
  belief.evidence = {evidence};
  const std::string text = heat_text({room, 0, UtcMs{1'795'521'600'000}, belief, {}});
  std::istringstream lines(text);
  int count = 0;
  for (std::string line; std::getline(lines, line); ++count) EXPECT_LE(characters_in(line), 101U) << line;
  EXPECT_GT(count, 20);
  for (int i = 1; i <= 24; ++i)
    EXPECT_THAT(text, HasSubstr("Rack North tub " + std::to_string(i) + (i < 24 ? "," : ":")));
}

TEST(HeatText, NamesFromOutsideDoNotSpeakToTheTerminal) {
  Room room = test::python_room();
  room.enclosures[0].name = "Shelf\x1b[2J 1\n";
  heat::Belief belief = believed();
  belief.feeds = {"shelf-1", "x\x1b[31m"};
  belief.heaters = {"mat\x07"};
  belief.thermostat = "stat\x1b";
  belief.evidence = {"not-heating: \x1b[2Jfalls"};
  belief.changes = {{UtcMs{1'795'521'600'000}, "note: \x1b[2J"}};
  const std::string text = heat_text({room, 0, UtcMs{1'795'521'600'000}, belief, {}});
  for (const char c : text)
    EXPECT_TRUE(c == '\n' || static_cast<unsigned char>(c) >= 0x20) << static_cast<int>(c);
}

}  // namespace
}  // namespace baskwell
