// What a light probe sees: edges, dated within half an interval, and how late they are.
#include "core/heat/light_course.h"

#include <gtest/gtest.h>

#include <vector>

#include "core/moment.h"
#include "core/state_lines.h"
#include "zones.h"

namespace baskwell::heat {
namespace {

const UtcMs midnight = *utc_from_rfc3339("2026-11-10T00:00:00Z");
constexpr std::int64_t interval_ms = 30 * second_ms;

class Days {
 public:
  // Lights from `on_min` to `off_min` of that day; all edges of it.
  std::vector<LightEdge> run(double on_min, double off_min, bool learn) {
    std::vector<LightEdge> edges;
    for (std::int64_t passed_ms = 7 * second_ms; passed_ms < day_ms; passed_ms += interval_ms) {
      const double minute = static_cast<double>(passed_ms) / minute_ms;
      const bool lit = minute >= on_min && minute < off_min;
      const double flicker = passed_ms % (2 * interval_ms) < interval_ms ? 0 : 3;
      const auto edge =
          course.add((lit ? 900 : 4) + flicker, midnight + day * day_ms + passed_ms, plan, clock);
      if (!edge) continue;
      edges.push_back(*edge);
      if (learn) course.learn(*edge);
    }
    ++day;
    return edges;
  }
  LightPlan plan{8 * 60, 20 * 60, 60};
  ZoneRules clock = test::london_2026();
  LightCourse course;
  std::int64_t day = 0;
};

TEST(LightCourse, DatesEdgesWithinHalfAnInterval) {
  Days days;
  const auto edges = days.run(8 * 60, 20 * 60, true);
  ASSERT_EQ(edges.size(), 2U);
  EXPECT_TRUE(edges[0].on);
  EXPECT_FALSE(edges[1].on);
  for (const LightEdge& edge : edges) {
    EXPECT_NEAR(edge.late_min, 0, 0.25 + 1e-9);
    EXPECT_EQ(edge.before - edge.after, interval_ms);
  }
}

TEST(LightCourse, SaysHowLateATimerRunsAfterItStoodStill) {
  Days days;
  for (int i = 0; i < 3; ++i) days.run(8 * 60, 20 * 60, true);
  const auto edges = days.run(8 * 60 + 47, 20 * 60 + 47, false);
  ASSERT_EQ(edges.size(), 2U);
  for (const LightEdge& edge : edges) {
    EXPECT_NEAR(edge.late_min, 47, 0.5);
    EXPECT_FALSE(LightCourse::is_usual(edge));
  }
}

TEST(LightCourse, LearnsTheMinuteATimerKeepsThoughThePlanSaysAnother) {
  Days days;
  for (int i = 0; i < 5; ++i) days.run(8 * 60 + 20, 20 * 60 + 20, true);
  const auto edges = days.run(8 * 60 + 20, 20 * 60 + 20, false);
  ASSERT_EQ(edges.size(), 2U);
  EXPECT_NEAR(edges[0].late_min, 0, 0.5);
  const UtcMs today = midnight + days.day * day_ms;
  EXPECT_FALSE(days.course.should_be_lit(today + (8 * 60 + 10) * minute_ms, days.plan, days.clock));
  EXPECT_TRUE(days.course.should_be_lit(today + (8 * 60 + 25) * minute_ms, days.plan, days.clock));
}

TEST(LightCourse, DaylightAloneIsNotLit) {
  Days days;
  for (std::int64_t ms = 0; ms < day_ms; ms += interval_ms) {
    const double sun = ms > 9 * hour_ms && ms < 15 * hour_ms ? 30 : 0;
    EXPECT_FALSE(days.course.add(sun, midnight + ms, days.plan, days.clock).has_value());
  }
  EXPECT_FALSE(days.course.known());
}

TEST(LightCourse, OneOddReadingIsNoEdge) {
  Days days;
  days.run(8 * 60, 20 * 60, true);
  const UtcMs noon = midnight + days.day * day_ms + 12 * hour_ms;
  EXPECT_FALSE(days.course.add(900, noon - interval_ms, days.plan, days.clock).has_value());
  (void)days.course.add(900, noon, days.plan, days.clock);
  EXPECT_FALSE(days.course.add(4, noon + interval_ms, days.plan, days.clock).has_value());
  EXPECT_FALSE(days.course.add(900, noon + 2 * interval_ms, days.plan, days.clock).has_value());
}

TEST(LightCourse, ComesBackFromItsLine) {
  Days days;
  for (int i = 0; i < 3; ++i) days.run(8 * 60 + 5, 20 * 60 + 5, true);
  std::string text;
  LineWriter writer(text);
  days.course.save(writer);
  writer.end();
  LineReader reader(std::string_view(text).substr(0, text.size() - 1));
  LightCourse again;
  again.load(reader);
  EXPECT_TRUE(reader.good());
  std::string second;
  LineWriter other(second);
  again.save(other);
  other.end();
  EXPECT_EQ(second, text);
  EXPECT_TRUE(again.known());
}

}  // namespace
}  // namespace baskwell::heat
