#include "report/plot_scale.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <iterator>
#include <random>

#include "core/moment.h"

namespace baskwell::report {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

constexpr UtcMs start{1'795'521'600'000};  // 2026-11-24T12:00:00Z

std::vector<std::string> hours_of(const std::vector<TimeTick>& ticks) {
  std::vector<std::string> hours;
  std::transform(ticks.begin(), ticks.end(), std::back_inserter(hours),
                 [](const TimeTick& t) { return t.hour; });
  return hours;
}

TEST(Thinned, KeepsEveryColumnsFirstLowestHighestAndLast) {
  std::mt19937 chance(11);
  std::uniform_real_distribution<double> degc(20.0, 30.0);
  std::vector<PlotPoint> points;
  for (std::int64_t i = 0; i < 20'000; ++i) points.push_back({start + i * second_ms, degc(chance)});
  points[7'321].value = 41;  // a second of each
  points[15'002].value = -3;
  constexpr std::size_t columns = 100;
  const UtcMs end = start + 20'000 * second_ms;
  const auto kept = thinned(points, start, end, columns);
  EXPECT_LE(kept.size(), 4 * columns);
  EXPECT_TRUE(std::is_sorted(kept.begin(), kept.end(),
                             [](const PlotPoint& a, const PlotPoint& b) { return a.at < b.at; }));
  EXPECT_EQ(kept.front(), points.front());
  EXPECT_EQ(kept.back(), points.back());
  const auto value_in = [](const std::vector<PlotPoint>& among, UtcMs from, UtcMs to, bool highest) {
    double found = highest ? -1e9 : 1e9;
    for (const PlotPoint& point : among) {
      if (from <= point.at && point.at < to)
        found = highest ? std::max(found, point.value) : std::min(found, point.value);
    }
    return found;
  };
  for (std::int64_t column = 0; column < 100; ++column) {
    const UtcMs from = start + column * 200 * second_ms;
    const UtcMs to = from + 200 * second_ms;
    for (const bool highest : {false, true})
      EXPECT_EQ(value_in(kept, from, to, highest), value_in(points, from, to, highest)) << column;
  }
}

TEST(Thinned, LeavesFewPointsAsTheyAreAndDropsWhatIsOutside) {
  const std::vector<PlotPoint> points{
      {start - 1, 1}, {start, 2}, {start + 10, 3}, {start + 1000, 4}, {start + 1001, 5}};
  EXPECT_THAT(thinned(points, start, start + 1000, 10), ElementsAre(points[1], points[2], points[3]));
  EXPECT_THAT(thinned({}, start, start + 1000, 10), IsEmpty());
}

TEST(Gap, IsThreeUsualIntervalsButNeverUnderTwelveMinutes) {
  std::vector<PlotPoint> points;
  EXPECT_EQ(gap_ms_of(points), 12 * minute_ms);
  for (std::int64_t i = 0; i < 9; ++i) points.push_back({start + i * 30 * second_ms, 0});
  EXPECT_EQ(gap_ms_of(points), 12 * minute_ms);
  points.clear();
  for (std::int64_t i = 0; i < 9; ++i) points.push_back({start + i * 10 * minute_ms, 0});
  points.push_back({start + 5 * hour_ms, 0});
  EXPECT_EQ(gap_ms_of(points), 30 * minute_ms);
}

TEST(ValueAxis, CoversWhatItIsToldWithFewLabels) {
  for (const auto& [low, high] :
       {std::pair{30.9, 32.1}, {21.0, 21.0}, {-3.0, 41.0}, {0.0, 500.0}, {18.25, 36.0}}) {
    const ValueAxis axis = value_axis(low, high, 7);
    EXPECT_LT(axis.low, low);
    EXPECT_GT(axis.high, high);
    EXPECT_GE(axis.high - axis.low, 4.0);
    EXPECT_LE((axis.high - axis.low) / axis.step, 7.0);
    EXPECT_GE((axis.high - axis.low) / axis.step, 2.0);
  }
  EXPECT_EQ(value_axis(20, 30, 7).step, 2);
  EXPECT_EQ(value_axis(20, 30, 7).decimals, 0);
}

// Central European time: UTC+2 until 2026-10-25T01:00:00Z, then UTC+1; forward on 2026-03-29T01:00:00Z.
ZoneRules central_europe() {
  ZoneRules clock;
  clock.changes = {{*utc_from_rfc3339("2025-10-26T01:00:00Z"), 3600},
                   {*utc_from_rfc3339("2026-03-29T01:00:00Z"), 7200},
                   {*utc_from_rfc3339("2026-10-25T01:00:00Z"), 3600}};
  return clock;
}

TEST(TimeTicks, GoByTheRoomsClockAndNameEachDayOnce) {
  const ZoneRules clock = central_europe();
  const auto ticks = time_ticks(clock, start, start + day_ms, 12);
  EXPECT_THAT(hours_of(ticks), ElementsAre("14:00", "16:00", "18:00", "20:00", "22:00", "00:00", "02:00",
                                           "04:00", "06:00", "08:00", "10:00", "12:00"));
  EXPECT_EQ(ticks[0].day, "24 Nov");
  EXPECT_EQ(ticks[5].day, "25 Nov");
  EXPECT_EQ(std::count_if(ticks.begin(), ticks.end(), [](const TimeTick& t) { return !t.day.empty(); }), 2);
  EXPECT_EQ(rfc3339(ticks[0].at), "2026-11-24T13:00:00Z");
}

TEST(TimeTicks, SkipTheHourThatSpringLeavesOut) {
  const UtcMs from = *utc_from_rfc3339("2026-03-28T23:00:00Z");  // local midnight
  const auto ticks = time_ticks(central_europe(), from, from + 6 * hour_ms, 7);
  EXPECT_THAT(hours_of(ticks), ElementsAre("00:00", "01:00", "03:00", "04:00", "05:00", "06:00", "07:00"));
  EXPECT_EQ(ticks[2].at - ticks[1].at, hour_ms);
}

TEST(TimeTicks, StandTwoHoursApartWhereAutumnShowsAnHourTwice) {
  const UtcMs from = *utc_from_rfc3339("2026-10-24T22:00:00Z");  // local midnight
  const auto ticks = time_ticks(central_europe(), from, from + 6 * hour_ms, 7);
  EXPECT_THAT(hours_of(ticks), ElementsAre("00:00", "01:00", "02:00", "03:00", "04:00", "05:00"));
  EXPECT_EQ(ticks[3].at - ticks[2].at, 2 * hour_ms);
}

TEST(TimeTicks, OfLongTimesAreDaysAndOfShortOnesMinutes) {
  const auto days = time_ticks(central_europe(), start, start + 10 * day_ms, 12);
  EXPECT_THAT(days, SizeIs(10));
  EXPECT_EQ(days[0].hour, "");
  EXPECT_EQ(days[0].day, "25 Nov");
  const auto minutes = time_ticks(central_europe(), start, start + hour_ms, 12);
  EXPECT_EQ(hours_of(minutes)[1], "13:05");
  for (const int hours : {1, 5, 24, 100, 336, 5000})
    EXPECT_LE(time_ticks(central_europe(), start, start + hours * hour_ms, 12).size(),
              hours < 4000 ? 13U : 40U);
}

}  // namespace
}  // namespace baskwell::report
