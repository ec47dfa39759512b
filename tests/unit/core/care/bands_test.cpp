// Light schedule and bands: what is wanted of a spot at a moment.

#include "core/care/bands.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <random>

#include "room_builder.h"
#include "seed.h"

namespace baskwell {
namespace {

using test::band;
using test::no_limit;
using test::RoomBuilder;
using test::utc;

constexpr double infinity = std::numeric_limits<double>::infinity();

bool same(const Wanted& a, const Wanted& b) {
  return a.low == b.low && a.high == b.high && a.harm_low == b.harm_low && a.harm_high == b.harm_high;
}

// ---- Lights

TEST(Lights, FollowTheWallClockOverTheShortDay) {
  const ZoneRules london = test::london_2026();
  const LightPlan lights{8 * 60, 20 * 60, 60};
  const LightPhase before = light_phase(lights, london, utc("2026-03-29T06:59:59.999Z"));
  EXPECT_FALSE(before.day);
  EXPECT_EQ(before.since, utc("2026-03-28T20:00:00Z"));
  EXPECT_EQ(before.until, utc("2026-03-29T07:00:00Z"));  // 08:00 BST; that night was 11 h long
  const LightPhase after = light_phase(lights, london, utc("2026-03-29T07:00:00Z"));
  EXPECT_TRUE(after.day);
  EXPECT_EQ(after.since, utc("2026-03-29T07:00:00Z"));
  EXPECT_EQ(after.until, utc("2026-03-29T19:00:00Z"));
}

TEST(Lights, FollowTheWallClockOverTheLongDay) {
  const ZoneRules london = test::london_2026();
  const LightPlan lights{8 * 60, 20 * 60, 60};
  const LightPhase night = light_phase(lights, london, utc("2026-10-25T01:30:00Z"));
  EXPECT_FALSE(night.day);
  EXPECT_EQ(night.until - night.since, 13 * hour_ms);
  EXPECT_EQ(night.until, utc("2026-10-25T08:00:00Z"));
}

TEST(Lights, EdgesInTheHourThatIsSkippedOrDoubled) {
  const ZoneRules london = test::london_2026();
  const LightPlan lights{90, 12 * 60, 60};  // on at 01:30
  EXPECT_EQ(light_phase(lights, london, utc("2026-03-29T01:00:00Z")).since, utc("2026-03-29T01:00:00Z"));
  EXPECT_TRUE(light_phase(lights, london, utc("2026-03-29T01:00:00Z")).day);
  EXPECT_FALSE(light_phase(lights, london, utc("2026-03-29T00:59:59Z")).day);
  // Shown twice: on at the first, and not switched again at the second.
  EXPECT_EQ(light_phase(lights, london, utc("2026-10-25T01:31:00Z")).since, utc("2026-10-25T00:30:00Z"));
  // Both edges skipped: off at 01:10, on again at 01:50. The later one of the day counts.
  const LightPlan short_night{110, 70, 0};
  EXPECT_TRUE(light_phase(short_night, london, utc("2026-03-29T12:00:00Z")).day);
  const LightPlan short_day{70, 110, 0};
  EXPECT_FALSE(light_phase(short_day, london, utc("2026-03-29T12:00:00Z")).day);
}

TEST(Lights, OverMidnightAndNone) {
  const ZoneRules london = test::london_2026();
  const LightPlan late{18 * 60, 6 * 60, 0};
  EXPECT_TRUE(light_phase(late, london, utc("2026-01-10T23:00:00Z")).day);
  EXPECT_TRUE(light_phase(late, london, utc("2026-01-11T05:59:00Z")).day);
  EXPECT_EQ(light_phase(late, london, utc("2026-01-11T01:00:00Z")).since, utc("2026-01-10T18:00:00Z"));
  EXPECT_FALSE(light_phase(late, london, utc("2026-01-11T06:00:00Z")).day);
  const LightPlan none{600, 600, 60};
  EXPECT_FALSE(light_phase(none, london, utc("2026-01-11T12:00:00Z")).day);
  EXPECT_EQ(light_phase(none, london, utc("2026-01-11T12:00:00Z")).until.ms, INT64_MAX);
}

// Against a lamp that is walked through the year minute by minute and switched when the clock shows the edge.
TEST(Lights, MatchALampSwitchedByTheClock) {
  std::mt19937_64 random(test::announced_seed());
  for (const ZoneRules& zone : {test::london_2026(), test::new_york_2026(), test::lord_howe_2026()}) {
    for (int i = 0; i < 8; ++i) {
      LightPlan lights;
      lights.on_minute = static_cast<int>(test::between(random, 0, 1439));
      lights.off_minute = static_cast<int>(test::between(random, 0, 1439));
      if (lights.on_minute == lights.off_minute) continue;
      for (const ZoneRules::Change& change : zone.changes) {
        bool lit = light_phase(lights, zone, change.from - 30 * hour_ms).day;
        std::array<std::int64_t, 2> done{INT64_MIN, INT64_MIN};  // the local day each edge was last passed on
        for (UtcMs at = change.from - 30 * hour_ms; at < change.from + 30 * hour_ms; at = at + minute_ms) {
          const std::int64_t day = local_day(zone, at);
          const int minute = local_minute(zone, at);
          const bool on_first = lights.on_minute < lights.off_minute;
          for (const bool on : {on_first, !on_first}) {
            const auto index = static_cast<std::size_t>(on);
            const bool first_minute = at == change.from - 30 * hour_ms;
            if (minute < (on ? lights.on_minute : lights.off_minute) || done[index] == day) continue;
            done[index] = day;
            if (!first_minute) lit = on;
          }
          ASSERT_EQ(light_phase(lights, zone, at).day, lit)
              << rfc3339(at) << " on " << lights.on_minute << " off " << lights.off_minute;
        }
      }
    }
  }
}

// ---- Bands

struct OneEnclosure {
  RoomBuilder builder;
  Index enclosure = builder.enclosure("shelf-1");
  [[nodiscard]] SpotKey spot(Zone zone, Medium medium = Medium::air,
                             Quantity quantity = Quantity::temperature) const {
    return {enclosure, zone, medium, quantity};
  }
  [[nodiscard]] Wanted wanted(const SpotKey& key, std::string_view at) const {
    return segment_at(builder.room, key, utc(at)).at(utc(at));
  }
};

TEST(Bands, DayAndNight) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  EXPECT_TRUE(same(one.wanted(one.spot(Zone::hot), "2026-06-10T12:00:00Z"), {30, 33, 20, 36}));
  EXPECT_TRUE(same(one.wanted(one.spot(Zone::hot), "2026-06-10T23:00:00Z"), {22, 33, 20, 36}));
  EXPECT_TRUE(segment_at(one.builder.room, one.spot(Zone::hot), utc("2026-06-10T12:00:00Z")).day);
}

TEST(Bands, RampIsALineAndEndsExactly) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  const SpotKey hot = one.spot(Zone::hot);
  // Lights on at 08:00 BST = 07:00Z; from 22 to 30 over 60 min.
  EXPECT_EQ(one.wanted(hot, "2026-06-10T06:59:59.999Z").low, 22.0);
  EXPECT_EQ(one.wanted(hot, "2026-06-10T07:00:00Z").low, 22.0);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-06-10T07:15:00Z").low, 24.0);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-06-10T07:30:00Z").low, 26.0);
  EXPECT_LT(one.wanted(hot, "2026-06-10T07:59:59.999Z").low, 30.0);
  EXPECT_EQ(one.wanted(hot, "2026-06-10T08:00:00Z").low, 30.0);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-06-10T19:30:00Z").low, 26.0);
  EXPECT_EQ(one.wanted(hot, "2026-06-10T20:00:00Z").low, 22.0);
  // What is the same by day and night does not move.
  EXPECT_EQ(one.wanted(hot, "2026-06-10T07:30:00Z").high, 33.0);
  EXPECT_EQ(one.wanted(hot, "2026-06-10T07:30:00Z").harm_high, 36.0);
}

TEST(Bands, RampCutByTheNextEdgeGoesOnFromThere) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  one.builder.room.enclosures[0].lights = {8 * 60, 8 * 60 + 30, 60};  // on for half of the ramp
  const SpotKey hot = one.spot(Zone::hot);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-01-10T08:29:59.999Z").low, 26.0 - 8.0 / 3'600'000);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-01-10T08:30:00Z").low, 26.0);
  EXPECT_DOUBLE_EQ(one.wanted(hot, "2026-01-10T09:00:00Z").low, 24.0);
  EXPECT_EQ(one.wanted(hot, "2026-01-10T09:30:00Z").low, 22.0);
}

TEST(Bands, NoRampAndNoLights) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  one.builder.room.enclosures[0].lights.ramp_min = 0;
  EXPECT_EQ(one.wanted(one.spot(Zone::hot), "2026-01-10T08:00:00Z").low, 30.0);
  one.builder.room.enclosures[0].lights = {0, 0, 60};
  EXPECT_EQ(one.wanted(one.spot(Zone::hot), "2026-01-10T12:00:00Z").low, 22.0);
}

TEST(Bands, ALimitThatAppearsDoesSoAtTheEdge) {
  OneEnclosure one;
  one.builder.animal("asha", {band(Zone::hot, {30, 33}, {no_limit, 28}, {20, no_limit})}, one.enclosure);
  const Wanted early = one.wanted(one.spot(Zone::hot), "2026-01-10T08:00:00Z");
  EXPECT_EQ(early.low, 30.0);
  EXPECT_EQ(early.high, 28.0);
  EXPECT_EQ(one.wanted(one.spot(Zone::hot), "2026-01-10T07:59:59Z").low, -infinity);
  EXPECT_EQ(early.harm_high, infinity);
}

TEST(Bands, SpecificMediumGoesBeforeGeneral) {
  OneEnclosure one;
  one.builder.animal("rex",
                     {band(Zone::hot, {28, 34}, {16, 34}, {10, 40}),
                      band(Zone::hot, {38, 42}, {16, 42}, {10, 46}, Medium::surface),
                      band(Zone::cool, {22, 26}, {16, 26}, {10, 36}, Medium::substrate)},
                     one.enclosure);
  EXPECT_EQ(one.wanted(one.spot(Zone::hot, Medium::surface), "2026-01-10T12:00:00Z").high, 42.0);
  EXPECT_EQ(one.wanted(one.spot(Zone::hot, Medium::air), "2026-01-10T12:00:00Z").high, 34.0);
  // A figure for another medium says nothing, nor does one for another quantity.
  EXPECT_FALSE(segment_at(one.builder.room, one.spot(Zone::cool), utc("2026-01-10T12:00:00Z")).any);
  EXPECT_FALSE(segment_at(one.builder.room, one.spot(Zone::hot, Medium::air, Quantity::humidity),
                          utc("2026-01-10T12:00:00Z"))
                   .any);
}

TEST(Bands, OverridesReplaceTheAnimalsBand) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  one.builder.room.enclosures[0].overrides = {band(Zone::hot, {28, 30}, {24, 30}, {18, 35})};
  EXPECT_TRUE(same(one.wanted(one.spot(Zone::hot), "2026-01-10T12:00:00Z"), {28, 30, 18, 35}));
  EXPECT_TRUE(same(one.wanted(one.spot(Zone::cool), "2026-01-10T12:00:00Z"), {24, 27, 20, 33}));
}

TEST(Bands, SeveralAnimalsShareTheTightest) {
  OneEnclosure one;
  one.builder.animal("asha", test::royal_python(), one.enclosure);
  one.builder.animal("corin", test::corn_snake(), one.enclosure);
  EXPECT_TRUE(same(one.wanted(one.spot(Zone::cool), "2026-01-10T12:00:00Z"), {24, 26, 20, 32}));
}

TEST(Bands, OccupancyFromAndTo) {
  OneEnclosure one;
  const UtcMs in = utc("2026-01-10T12:00:00Z");
  const UtcMs out = utc("2026-01-12T12:00:00Z");
  one.builder.animal("asha", test::royal_python(), one.enclosure, {in, out});
  const Room& room = one.builder.room;
  const SpotKey hot = one.spot(Zone::hot);
  const BandSegment before = segment_at(room, hot, in - 1);
  EXPECT_FALSE(before.any);
  EXPECT_TRUE(same(before.at(in - 1), {-infinity, infinity, -infinity, infinity}));
  EXPECT_EQ(before.until, in);
  EXPECT_TRUE(segment_at(room, hot, in).any);
  EXPECT_TRUE(segment_at(room, hot, out - 1).any);
  EXPECT_EQ(segment_at(room, hot, out - 1).until, out);
  EXPECT_FALSE(segment_at(room, hot, out).any);
}

TEST(Bands, AnEmptyEnclosureWantsNothingNotEvenByOverride) {
  OneEnclosure one;
  one.builder.room.enclosures[0].overrides = {band(Zone::hot, {28, 30}, {24, 30}, {18, 35})};
  EXPECT_FALSE(segment_at(one.builder.room, one.spot(Zone::hot), utc("2026-01-10T12:00:00Z")).any);
}

TEST(Bands, TheRoomsOwnAir) {
  OneEnclosure one;
  one.builder.room.room_air_bands = {band(Zone::room, {18, 26}, {16, 26}, {10, 32})};
  const SpotKey air{none, Zone::room, Medium::air, Quantity::temperature};
  EXPECT_TRUE(same(one.wanted(air, "2026-01-10T12:00:00Z"), {18, 26, 10, 32}));
}

// A segment promises its answers up to `until`, whenever it was asked for, to the last bit; and the answers
// are those of a plain reading of the rules.
TEST(Bands, SegmentsAgreeWithEachOtherAndWithTheRule) {
  std::mt19937_64 random(test::announced_seed());
  const UtcMs begin = utc("2026-03-25T00:00:00Z");
  for (int round = 0; round < 300; ++round) {
    OneEnclosure one;
    Room& room = one.builder.room;
    room.enclosures[0].lights = {static_cast<int>(test::between(random, 0, 1439)),
                                 static_cast<int>(test::between(random, 0, 1439)),
                                 static_cast<int>(test::between(random, 0, 180))};
    for (int i = 0; i < 2; ++i) {
      const UtcMs in = begin + test::between(random, 0, 6 * day_ms);
      one.builder.animal("a" + std::to_string(i), i == 0 ? test::royal_python() : test::corn_snake(),
                         one.enclosure, {in, in + test::between(random, 1, 4 * day_ms)});
    }
    const SpotKey hot = one.spot(Zone::hot);
    for (int i = 0; i < 40; ++i) {
      const UtcMs at = begin + test::between(random, 0, 9 * day_ms);
      const BandSegment segment = segment_at(room, hot, at);
      ASSERT_TRUE(segment.holds(at)) << rfc3339(at);
      for (int n = 0; n < 10; ++n) {
        const std::int64_t most = std::min<std::int64_t>(segment.until - at, 2 * day_ms) - 1;
        const UtcMs later = at + (n == 0 ? most : test::between(random, 0, most));
        const BandSegment own = segment_at(room, hot, later);
        ASSERT_TRUE(same(segment.at(later), own.at(later))) << rfc3339(at) << " " << rfc3339(later);
        ASSERT_EQ(segment.day, own.day);
        ASSERT_EQ(segment.any, own.any);
        ASSERT_EQ(segment.until, own.until);
      }
      // The low limit by the rule, from the lights alone (phases longer than their ramp).
      const LightPhase phase = light_phase(room.enclosures[0].lights, room.clock, at);
      if (phase.since.ms == INT64_MIN) continue;
      const std::int64_t ramp_ms = room.enclosures[0].lights.ramp_min * minute_ms;
      const LightPhase before = light_phase(room.enclosures[0].lights, room.clock, phase.since - 1);
      if (phase.since - before.since < ramp_ms) continue;
      double day = -infinity;
      double night = -infinity;
      for (const Occupancy& stay : room.occupancies) {
        if (!stay.span.holds(at)) continue;
        day = std::max(day, stay.animal == 0 ? 30.0 : 28.0);
        night = std::max(night, stay.animal == 0 ? 22.0 : 18.0);
      }
      const double now = phase.day ? day : night;
      const double from = phase.day ? night : day;
      const std::int64_t into_ms = at - phase.since;
      double wanted = now;
      if (std::isfinite(now) && into_ms < ramp_ms)
        wanted = from + (now - from) * static_cast<double>(into_ms) / static_cast<double>(ramp_ms);
      const double low = segment.at(at).low;
      ASSERT_TRUE(low == wanted || std::abs(low - wanted) < 1e-9)
          << rfc3339(at) << ": " << low << " " << wanted;
    }
  }
}

}  // namespace
}  // namespace baskwell
