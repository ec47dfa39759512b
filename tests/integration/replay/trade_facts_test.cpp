// Facts of the trade, with the care sheets that are shipped (config/care): common practice, no source.

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>
#include <string>

#include "core/moment.h"
#include "program.h"

namespace baskwell::replay_test {
namespace {

std::string settings(const std::string& species) {
  return room_head("Europe/London") + "[enclosures.shelf]\nlights = { on = \"08:00\", off = \"20:00\" }\n" +
         "[animals]\nsomebody = { species = \"" + species + "\", enclosure = \"shelf\" }\n";
}

// Two days from midnight, a reading a minute and place, in steps of 0.1 so that no probe looks frozen.
std::string two_days(double hot, double middle, double cool_day, double cool_night) {
  std::ostringstream csv;
  csv << "time,enclosure,zone,quantity,value\n";
  const UtcMs midnight = *utc_from_rfc3339("2026-01-14T00:00:00Z");
  for (int minute = 0; minute < 2 * 24 * 60; ++minute) {
    const std::string at = rfc3339(midnight + minute * minute_ms);
    const double step = (minute % 3) * 0.1;
    const int of_day = minute % (24 * 60);
    const bool day = of_day >= 8 * 60 && of_day < 20 * 60;
    csv << at << ",shelf,hot,temperature," << hot + step << "\n";
    csv << at << ",shelf,middle,temperature," << middle + step << "\n";
    csv << at << ",shelf,cool,temperature," << (day ? cool_day : cool_night) + step << "\n";
  }
  return csv.str();
}

bool has(const Output& output, const std::string& zone, const std::string& kind) {
  return std::any_of(output.alarms.begin(), output.alarms.end(), [&](const AlarmRow& row) {
    return row.enclosure == "shelf" && row.zone == zone && row.kind == kind && row.state == "unacknowledged";
  });
}

TEST(TradeFacts, ARoyalPythonWith32And27And24To25WantsNothing) {
  const Output output = replay(settings("royal-python"), two_days(32, 27, 24.6, 24));
  EXPECT_TRUE(output.alarms.empty()) << output.alarms_text;
}

TEST(TradeFacts, TwentyNineAtTheCoolEndOfACornSnakeIsNoRefuge) {
  const Output output = replay(settings("corn-snake"), two_days(30, 26, 29, 29));
  EXPECT_TRUE(has(output, "cool", "no-refuge")) << output.alarms_text;
  EXPECT_FALSE(has(output, "cool", "too-hot")) << output.alarms_text;
}

TEST(TradeFacts, TwentyTwoAtTheHotSpotOfARoyalPythonIsTooColdByDay) {
  const Output output = replay(settings("royal-python"), two_days(22, 27, 24.6, 24));
  ASSERT_TRUE(has(output, "hot", "too-cold")) << output.alarms_text;
  for (const AlarmRow& row : output.alarms) {
    if (row.kind != "too-cold" || row.state != "unacknowledged") continue;
    const std::string hour = row.time.substr(11, 2);
    EXPECT_TRUE(hour >= "08" && hour < "21") << row.time;
  }
}

// Same input, same bytes, wherever and in whatever language the program runs.
TEST(Replay, GivesTheSameBytesUnderAnotherZoneAndLanguage) {
  const std::string readings = two_days(22, 27, 34, 24);
  const Output one =
      replay(settings("royal-python"), readings, {"TZ=Pacific/Auckland", "LC_ALL=C", "LANG=C"});
  const Output other = replay(settings("royal-python"), readings,
                              {"TZ=America/St_Johns", "LC_ALL=de_DE.UTF-8", "LANG=de_DE.UTF-8"});
  ASSERT_FALSE(one.alarms.empty());
  EXPECT_EQ(one.alarms_text, other.alarms_text);
}

}  // namespace
}  // namespace baskwell::replay_test
