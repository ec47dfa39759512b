// What is learned of one probe, against courses and falls with a closed form.

#include "core/heat/track.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "core/climate/zone_rules.h"
#include "core/heat/inside.h"
#include "zones.h"

namespace baskwell::heat {
namespace {

const UtcMs start = test::utc("2026-03-20T00:00:00Z");

int minute_of(UtcMs at) {
  return static_cast<int>((at.ms % day_ms) / minute_ms);
}

// 27 degC by night, 32 from 08:00 to 20:00, half an hour to get from one to the other.
double made_day(double minute) {
  const double up = std::clamp((minute - 480.0) / 30.0, 0.0, 1.0);
  const double down = std::clamp((minute - 1200.0) / 30.0, 0.0, 1.0);
  return 27.0 + 5.0 * (up - down);
}

struct Fed {
  Track track;
  UtcMs at = start;
  double step_degc = 0.0;
  void read(double degc, std::int64_t after_ms = minute_ms, double around_degc = not_known) {
    at = at + after_ms;
    if (step_degc > 0) degc = std::round(degc / step_degc) * step_degc;
    if (track.add(at, degc, minute_of(at), 0.0)) track.learn(true, 0.0, around_degc);
  }
  void days(double count, double off_k = 0.0) {
    const UtcMs end = at + static_cast<std::int64_t>(count * day_ms);
    while (at < end) read(made_day(static_cast<double>(minute_of(at)) + 1.0) + off_k);
  }
};

TEST(Track, LearnsTheCourseOfTheDay) {
  Fed one;
  EXPECT_FALSE(one.track.judged());
  one.days(2.5);
  EXPECT_FALSE(one.track.judged());
  one.days(5.5);
  ASSERT_TRUE(one.track.judged());
  EXPECT_EQ(one.track.course.share_known(), 1.0);
  for (const int minute : {60, 400, 600, 1100, 1380})
    EXPECT_NEAR(one.track.course.at(minute), made_day(minute), 0.05) << minute;
  EXPECT_NEAR(one.track.course.low(), 27.0, 0.05);
  EXPECT_NEAR(one.track.course.high(), 32.0, 0.05);
  EXPECT_EQ(one.track.phase_of(12 * 60), Phase::day);
  EXPECT_EQ(one.track.phase_of(3 * 60), Phase::night);
  EXPECT_EQ(one.track.phase_of(8 * 60 + 15), Phase::moving);
  EXPECT_EQ(one.track.phase_of(20 * 60 + 15), Phase::moving);
}

TEST(Track, OneOddDayDoesNotMoveIt) {
  for (const int odd_day : {0, 2, 8}) {
    SCOPED_TRACE(odd_day);
    Fed one;
    one.days(odd_day);
    one.days(1, -6.0);
    one.days(10 - odd_day);
    for (const int minute : {120, 720, 1380})
      EXPECT_NEAR(one.track.course.at(minute), made_day(minute), 0.15) << minute;
  }
}

TEST(Track, AGapIsNoSampleOfTheTimeBetween) {
  Fed one;
  one.days(4);
  const std::size_t before = one.track.recent.count();
  ASSERT_GT(before, 100U);
  one.read(27.0, 3 * hour_ms);
  EXPECT_EQ(one.track.sample.minutes, 0.0);
  EXPECT_EQ(one.track.recent.count(), 1U);
  EXPECT_TRUE(std::isnan(one.track.recent.slope_k_per_h(60)));
  EXPECT_TRUE(one.track.judged());
  one.read(27.0);
  EXPECT_NEAR(one.track.sample.minutes, 1.0, 0.01);
  // An older reading and the same one again are no news.
  EXPECT_FALSE(one.track.add(one.at, 27.0, minute_of(one.at), 0.0));
  EXPECT_FALSE(one.track.add(one.at - minute_ms, 27.0, minute_of(one.at), 0.0));
}

TEST(Track, StepsOfTheProbeStayWithinThem) {
  for (const double step_degc : {0.1, 0.0625, 0.5}) {
    SCOPED_TRACE(step_degc);
    Fed one;
    one.step_degc = step_degc;
    one.days(8);
    for (const int minute : {60, 600, 1380})
      EXPECT_NEAR(one.track.course.at(minute), made_day(minute), 0.5 * step_degc + 0.02) << minute;
    EXPECT_LE(one.track.low_k(Phase::day), 0.0);
    EXPECT_GE(one.track.low_k(Phase::day), -0.5 * step_degc - 0.2);
    EXPECT_LE(one.track.high_k(Phase::day), 0.5 * step_degc + 0.2);
  }
}

TEST(Track, ReadingsOfAnyIntervalBecomeSamplesOfAMinuteOrMore) {
  Fed one;
  const std::vector<std::int64_t> intervals_s{10, 17, 300, 61, 45, 120, 30, 240, 55, 90};
  std::size_t i = 0;
  const UtcMs end = start + 8 * day_ms;
  UtcMs sample_before{INT64_MIN};
  while (one.at < end) {
    const std::int64_t after_ms = intervals_s[i++ % intervals_s.size()] * second_ms;
    one.read(made_day(static_cast<double>(minute_of(one.at + after_ms))), after_ms);
    if (one.track.sample.at == sample_before) continue;
    if (sample_before.ms != INT64_MIN) {
      EXPECT_GE(one.track.sample.at - sample_before, 55 * second_ms);
      EXPECT_LE(one.track.sample.minutes, 7.0);
    }
    sample_before = one.track.sample.at;
  }
  ASSERT_TRUE(one.track.judged());
  for (const int minute : {60, 600, 1380})
    EXPECT_NEAR(one.track.course.at(minute), made_day(minute), 0.05) << minute;
}

// The plan of the day goes by the wall clock, so after the change of clocks the same local minute expects the
// same as before. 29 March 2026, 01:00 UTC (IANA time zone database).
TEST(Track, GoesByTheWallClockOverTheChangeOfClocks) {
  const ZoneRules london = test::london_2026();
  Track track;
  double worst_k = 0;
  for (UtcMs at = start; at < start + 14 * day_ms; at = at + minute_ms) {
    const int minute = local_minute(london, at);
    if (!track.add(at, made_day(minute), minute, 0.0)) continue;
    track.learn(true, 0.0, not_known);
    if (at > start + 7 * day_ms && track.residual.phase != Phase::moving)
      worst_k = std::max(worst_k, std::fabs(track.residual.k));
  }
  ASSERT_TRUE(track.judged());
  EXPECT_LT(worst_k, 0.3);
}

TEST(Track, RelevelMovesTheCourseAsAWholeAndForgetClearsIt) {
  Fed one;
  one.days(8 + 9.0 / 24);  // 09:00
  ASSERT_TRUE(one.track.judged());
  one.track.relevel(one.at);
  EXPECT_FALSE(one.track.judged());
  one.days(6.0 / 24, -2.0);
  EXPECT_TRUE(one.track.judged());
  EXPECT_NEAR(one.track.course.at(12 * 60), 30.0, 0.2);
  EXPECT_NEAR(one.track.course.at(3 * 60), 25.0, 0.2);
  // What was heard before it moved is measured from the new course too.
  EXPECT_NEAR(one.track.recent.mean_residual_k(180, 0), 0.0, 0.2);
  one.track.forget();
  EXPECT_FALSE(one.track.judged());
  EXPECT_EQ(one.track.days_learned(), 0.0);
  EXPECT_TRUE(std::isnan(one.track.course.at(12 * 60)));
  EXPECT_TRUE(std::isnan(one.track.free_fall_share(20)));
  EXPECT_EQ(one.track.recent.count(), 0U);
}

// ---- falls: 1 - exp(-t/tau), reference values section 8

double closed_share(double minutes, double tau_min) {
  return 1.0 - std::exp(-minutes / tau_min);
}

// Held at 32 by day; from 20:00 it falls freely to a room of 20 until the night's setting is reached, which
// is held.
double free_day(double minute, double tau_min, double night_degc) {
  if (minute < 480) return night_degc;
  if (minute < 1200) return night_degc + (32.0 - night_degc) * std::min(1.0, (minute - 480.0) / 20.0);
  return std::max(night_degc, 20.0 + 12.0 * std::exp(-(minute - 1200.0) / tau_min));
}

void learn_falls(double tau_min, double night_degc) {
  SCOPED_TRACE(tau_min);
  Fed one;
  while (one.at < start + 10 * day_ms)
    one.read(free_day(minute_of(one.at + minute_ms), tau_min, night_degc), minute_ms, 20.0);
  ASSERT_GT(one.track.falls_seen(), 5);
  for (const int minutes : {10, 20, 40, 60})
    EXPECT_NEAR(one.track.free_fall_share(minutes), closed_share(minutes, tau_min),
                0.03 + 0.1 * closed_share(minutes, tau_min))
        << minutes;
}

TEST(Track, LearnsItsFreeFallFromTheEvenings) {
  EXPECT_NEAR(closed_share(30, 30), 0.6321205588285577, 1e-15);
  EXPECT_NEAR(closed_share(150, 50), 0.950212931632136, 1e-15);
  learn_falls(30, 21.0);
  learn_falls(60, 25.0);
  learn_falls(150, 25.0);
}

TEST(Track, WhatIsHeldAgainIsNoFreeFall) {
  learn_falls(30, 27.0);
}

TEST(Track, FollowsAFallWhileItLasts) {
  Fed one;
  for (int i = 0; i < 30; ++i) one.read(30.0);
  const UtcMs top = one.at;
  for (int i = 1; i <= 25; ++i) one.read(20.0 + 10.0 * std::exp(-i / 40.0));
  EXPECT_LE(std::abs(one.track.fall().since - top), 2 * minute_ms);
  EXPECT_NEAR(one.track.fall().from_degc, 30.0, 0.3);
  EXPECT_NEAR(one.track.fall().lowest_degc, 20.0 + 10.0 * std::exp(-25 / 40.0), 0.01);
  EXPECT_NEAR(one.track.recent.slope_k_per_h(8), -10.0 / 40.0 * std::exp(-21 / 40.0) * 60.0, 0.2);
  one.read(29.0);
  EXPECT_EQ(one.track.fall().since, one.at);
}

// ---- what is usual

TEST(Track, TheUsualJumpIsKnownAfterAThousandSamples) {
  Fed one;
  for (int i = 0; i < 900; ++i) one.read(30.0 + 0.1 * (i % 2));
  EXPECT_TRUE(std::isnan(one.track.usual_jump_k()));
  for (int i = 0; i < 4000; ++i) one.read(30.0 + (i % 400 == 0 ? 2.0 : 0.0));
  EXPECT_NEAR(one.track.usual_jump_k(), 2.0, 0.3);
}

TEST(Spread, QuantilesAreThoseOfAnEvenSpread) {
  Spread spread;
  EXPECT_TRUE(std::isnan(spread.quantile(0.5)));
  for (int i = 0; i < 10'000; ++i) spread.add(-2.0 + 4.0 * (i + 0.5) / 10'000);
  for (const double share : {0.01, 0.25, 0.5, 0.75, 0.99})
    EXPECT_NEAR(spread.quantile(share), -2.0 + 4.0 * share, Spread::cell_k) << share;
  // What lies beyond its last cells is held in them, and old samples fade so that it never overflows.
  for (int i = 0; i < 200'000; ++i) spread.add(1e6);
  EXPECT_LT(spread.count(), 20'000U);
  EXPECT_NEAR(spread.quantile(0.5), 0.5 * Spread::cells * Spread::cell_k, Spread::cell_k);
}

// ---- bounds: at most 16 KB of state an enclosure (the figure)

static_assert(sizeof(Probe) + sizeof(UnitState) <= std::size_t{16} * 1024);

TEST(Track, TwoProbesStayWithinTheMemoryOfAnEnclosure) {
  std::cout << "Track " << sizeof(Track) << " B, Probe " << sizeof(Probe) << " B, UnitState "
            << sizeof(UnitState) << " B\n";
  EXPECT_LE(2 * sizeof(Probe) + sizeof(UnitState), 16U * 1024U);
}

}  // namespace
}  // namespace baskwell::heat
