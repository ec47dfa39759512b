#include "app/replay.h"

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <memory>
#include <sstream>
#include <string>

#include "core/moment.h"
#include "core/probe/quality.h"
#include "peers/peers.h"
#include "test_room.h"

namespace baskwell {
namespace {

constexpr UtcMs noon{1'795'521'600'000};  // 2026-11-24T12:00:00Z; the lights are on, no ramp

std::string text_of_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

struct Replayed {
  ReplayReport report;
  std::string alarms;
};

Replayed replayed(const std::string& readings, const Room& room = test::python_room()) {
  const peers::TempFolder folder;
  const std::string out = folder.file("alarms.csv");
  auto report = replay(room, folder.write("readings.csv", readings), out);
  EXPECT_TRUE(report.ok()) << (report.ok() ? "" : report.error().text);
  if (!report) return {};
  return {std::move(report).value(), text_of_file(out)};
}

std::string steady(const std::string& place, double value, int minutes, UtcMs from = noon) {
  std::ostringstream text;
  for (int i = 0; i < minutes; ++i)
    text << rfc3339(from + i * minute_ms) << ',' << place << ",temperature," << value + (i % 2) * 0.1 << '\n';
  return text.str();
}

constexpr const char* header = "time,enclosure,zone,quantity,value\n";

TEST(Replay, RaisesAColdHotSpotAtTheEndOfItsOnDelayAndEndsIt) {
  const Replayed result =
      replayed(header + steady("shelf-1,hot", 27, 60) + steady("shelf-1,hot", 31, 30, noon + hour_ms));
  const std::int64_t on_delay_ms =
      default_alarm_settings()[static_cast<std::size_t>(AlarmKind::too_cold)].on_delay_ms;
  const std::int64_t off_delay_ms =
      default_alarm_settings()[static_cast<std::size_t>(AlarmKind::too_cold)].off_delay_ms;
  const std::string raised =
      rfc3339(noon + on_delay_ms) + ",A1,shelf-1,hot,too-cold,unacknowledged,medium,27.";
  const std::string over =
      rfc3339(noon + hour_ms + off_delay_ms) + ",A1,shelf-1,hot,too-cold,returned-unacknowledged,medium,31";
  EXPECT_NE(result.alarms.find(raised), std::string::npos) << result.alarms;
  EXPECT_NE(result.alarms.find(over), std::string::npos) << result.alarms;
  EXPECT_EQ(result.report.transitions, 2U);
  EXPECT_EQ(result.report.readings, 90U);
}

TEST(Replay, GivesTheSameBytesForTheSameInput) {
  const std::string readings = header + steady("shelf-1,hot", 27, 200) + steady("shelf-1,cool", 34, 100);
  EXPECT_EQ(replayed(readings).alarms, replayed(readings).alarms);
}

TEST(Replay, TellsEveryBadLineAndJudgesTheRest) {
  const std::string readings =
      std::string(header) + "2026-11-24T12:00:00Z,shelf-9,hot,temperature,30\n" +
      "2026-11-24T12:00:00Z,shelf-1,loft,temperature,30\n" + "2026-11-24T12:00:00Z,shelf-1,hot,smell,30\n" +
      "yesterday,shelf-1,hot,temperature,30\n" + "2026-11-24T12:00:01Z,shelf-1,hot,temperature,warm\n" +
      "2026-11-24T12:00:02Z,shelf-1,hot,temperature,31.4\n";
  const Replayed result = replayed(readings);
  EXPECT_EQ(result.report.readings, 1U);
  EXPECT_EQ(result.report.bad_lines, 5U);
  std::string told;
  for (const std::string& line : result.report.bad) told += line + "\n";
  for (const char* part :
       {":2: enclosure: the settings have no 'shelf-9'", ":3: zone: 'loft' is none, allowed: hot",
        ":4: quantity: 'smell' is none", ":5: time: ", ":6: value: 'warm' is not a decimal"}) {
    EXPECT_NE(told.find(part), std::string::npos) << part << "\n" << told;
  }
}

TEST(Replay, JudgesPlacesWithoutAProbeInTheSettings) {
  Room room = test::python_room();
  room.channels.clear();
  room.instruments.clear();
  const Replayed result = replayed(header + steady("shelf-1,cool", 30, 60), room);
  EXPECT_NE(result.alarms.find(",shelf-1,cool,no-refuge,unacknowledged,"), std::string::npos)
      << result.alarms;
}

TEST(Replay, TakesALateLineForWhatItIs) {
  // One line stands an hour after its time: it is stored out of order and judged by nobody.
  std::string readings = header + steady("shelf-1,hot", 31, 30);
  readings += rfc3339(noon + 10 * minute_ms) + ",shelf-1,hot,temperature,10\n";
  const Replayed result = replayed(readings);
  EXPECT_EQ(result.report.by_quality[static_cast<std::size_t>(Quality::out_of_order)], 1U);
  EXPECT_EQ(result.report.transitions, 0U);
}

TEST(Replay, SumsUpEachSeries) {
  const Replayed result =
      replayed(std::string(header) + "2026-11-24T12:00:00Z,shelf-1,hot,temperature,30.5\n" +
               "2026-11-24T12:01:00Z,shelf-1,hot,temperature,31.0\n" +
               "2026-11-24T12:02:00Z,shelf-1,hot,temperature,nan\n" +
               "2026-11-24T12:03:00Z,shelf-1,hot,temperature,32.1\n");
  ASSERT_EQ(result.report.series.size(), 1U);
  const SeriesSummary& series = result.report.series[0];
  EXPECT_EQ(series.channel, "hot/value");
  EXPECT_EQ(series.good, 3U);
  EXPECT_DOUBLE_EQ(series.min, 30.5);
  EXPECT_DOUBLE_EQ(series.max, 32.1);
  EXPECT_DOUBLE_EQ(series.sum, 93.6);
}

}  // namespace
}  // namespace baskwell
