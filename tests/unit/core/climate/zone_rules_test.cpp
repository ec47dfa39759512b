// The wall clock of a place: known changes of 2026, and random zones against a search minute by minute.

#include "core/climate/zone_rules.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <random>
#include <utility>

#include "seed.h"
#include "zones.h"

namespace baskwell {
namespace {

using test::day;
using test::utc;

TEST(ZoneRules, WithoutRulesIsUtc) {
  const ZoneRules zone;
  EXPECT_EQ(zone.offset_s(UtcMs{0}), 0);
  EXPECT_EQ(local_day(zone, UtcMs{-1}), -1);
  EXPECT_EQ(local_minute(zone, UtcMs{-1}), 1439);
  EXPECT_EQ(instant_of(zone, 1, 61), UtcMs{day_ms + 61 * minute_ms});
}

TEST(ZoneRules, TheFirstRuleHoldsBeforeItself) {
  const ZoneRules zone = test::new_york_2026();
  EXPECT_EQ(zone.offset_s(utc("1999-07-01T00:00:00Z")), -5 * 3600);
}

TEST(ZoneRules, LondonSpring) {
  const ZoneRules zone = test::london_2026();
  const std::int64_t spring = day(2026, 3, 29);
  EXPECT_EQ(instant_of(zone, spring, 59), utc("2026-03-29T00:59:00Z"));
  for (const int skipped : {60, 61, 90, 119})
    EXPECT_EQ(instant_of(zone, spring, skipped), utc("2026-03-29T01:00:00Z")) << skipped;
  EXPECT_EQ(instant_of(zone, spring, 120), utc("2026-03-29T01:00:00Z"));
  EXPECT_EQ(instant_of(zone, spring, 8 * 60), utc("2026-03-29T07:00:00Z"));
  EXPECT_EQ(instant_of(zone, spring + 1, 0) - instant_of(zone, spring, 0), 23 * hour_ms);
}

TEST(ZoneRules, LondonAutumn) {
  const ZoneRules zone = test::london_2026();
  const std::int64_t autumn = day(2026, 10, 25);
  EXPECT_EQ(instant_of(zone, autumn, 60), utc("2026-10-25T00:00:00Z"));  // shown twice: the first
  EXPECT_EQ(instant_of(zone, autumn, 119), utc("2026-10-25T00:59:00Z"));
  EXPECT_EQ(instant_of(zone, autumn, 120), utc("2026-10-25T02:00:00Z"));
  EXPECT_EQ(local_minute(zone, utc("2026-10-25T00:30:00Z")), 90);
  EXPECT_EQ(local_minute(zone, utc("2026-10-25T01:30:00Z")), 90);
  EXPECT_EQ(instant_of(zone, autumn + 1, 0) - instant_of(zone, autumn, 0), 25 * hour_ms);
}

TEST(ZoneRules, NewYorkBothWays) {
  const ZoneRules zone = test::new_york_2026();
  EXPECT_EQ(instant_of(zone, day(2026, 3, 8), 119), utc("2026-03-08T06:59:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 3, 8), 150), utc("2026-03-08T07:00:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 3, 8), 180), utc("2026-03-08T07:00:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 11, 1), 90), utc("2026-11-01T05:30:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 11, 1), 120), utc("2026-11-01T07:00:00Z"));
  EXPECT_EQ(local_day(zone, utc("2026-07-01T03:59:59Z")), day(2026, 6, 30));
}

TEST(ZoneRules, LordHoweMovesByHalfAnHour) {
  const ZoneRules zone = test::lord_howe_2026();
  // Autumn: 02:00 becomes 01:30, so 01:30 to 02:00 is shown twice.
  EXPECT_EQ(instant_of(zone, day(2026, 4, 5), 90), utc("2026-04-04T14:30:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 4, 5), 120), utc("2026-04-04T15:30:00Z"));
  // Spring: 02:00 becomes 02:30.
  EXPECT_EQ(instant_of(zone, day(2026, 10, 4), 135), utc("2026-10-03T15:30:00Z"));
  EXPECT_EQ(instant_of(zone, day(2026, 10, 4), 150), utc("2026-10-03T15:30:00Z"));
  EXPECT_EQ(local_minute(zone, utc("2026-10-03T15:30:00Z")), 150);
}

TEST(ZoneRules, ADayThatNeverWas) {
  const ZoneRules zone = test::apia_2011();
  EXPECT_EQ(instant_of(zone, day(2011, 12, 29), 8 * 60), utc("2011-12-29T18:00:00Z"));
  EXPECT_EQ(instant_of(zone, day(2011, 12, 30), 8 * 60), utc("2011-12-30T10:00:00Z"));
  EXPECT_EQ(instant_of(zone, day(2011, 12, 31), 8 * 60), utc("2011-12-30T18:00:00Z"));
}

// A zone that changes often and oddly; changes lie on whole minutes and three days apart at least.
ZoneRules random_zone(std::mt19937_64& random) {
  ZoneRules zone;
  std::int64_t minute = test::between(random, -500'000, 500'000);
  std::int64_t offset_min = test::between(random, -48, 56) * 15;
  for (std::int64_t n = test::between(random, 1, 6); n > 0; --n) {
    zone.changes.push_back({UtcMs{minute * minute_ms}, static_cast<std::int32_t>(offset_min * 60)});
    minute += test::between(random, 3 * day_ms, 20 * day_ms) / minute_ms;
    offset_min = std::clamp<std::int64_t>(offset_min + test::between(random, -8, 8) * 15, -720, 840);
  }
  return zone;
}

// By the words of the header: the first moment at which the clock shows it; skipped: the moment of the jump.
UtcMs search(const ZoneRules& zone, std::int64_t wanted_day, int wanted_minute) {
  const std::pair wanted{wanted_day, wanted_minute};
  UtcMs at{(wanted_day - 1) * day_ms};
  std::pair<std::int64_t, int> before;
  for (std::int64_t i = 0; i < 4320; ++i, at = at + minute_ms) {
    const std::pair shown{local_day(zone, at), local_minute(zone, at)};
    if (shown == wanted) return at;
    if (i > 0 && before < wanted && shown > wanted) return at;
    before = shown;
  }
  ADD_FAILURE() << "not found";
  return {};
}

TEST(ZoneRules, InstantsMatchASearchMinuteByMinute) {
  std::mt19937_64 random(test::announced_seed());
  for (int i = 0; i < 60; ++i) {
    const ZoneRules zone = random_zone(random);
    for (const ZoneRules::Change& change : zone.changes) {
      for (int n = 0; n < 25; ++n) {
        const std::int64_t wanted_day = local_day(zone, change.from) + test::between(random, -2, 2);
        const auto minute = static_cast<int>(test::between(random, 0, 1439));
        ASSERT_EQ(instant_of(zone, wanted_day, minute), search(zone, wanted_day, minute))
            << "day " << wanted_day << " minute " << minute << " around a change at " << rfc3339(change.from);
      }
    }
  }
}

TEST(ZoneRules, DaysAndMinutesMatchTheCalendarOfTheStandardLibrary) {
  using namespace std::chrono;
  std::mt19937_64 random(test::announced_seed());
  for (int i = 0; i < 50000; ++i) {
    const UtcMs at{test::between(random, earliest_utc.ms, latest_utc.ms)};
    const auto offset_s = static_cast<std::int32_t>(test::between(random, -50'400, 50'400));
    const ZoneRules zone{{{UtcMs{0}, offset_s}}};
    const sys_time<milliseconds> local{milliseconds{at.ms} + seconds{offset_s}};
    const auto midnight = floor<days>(local);
    ASSERT_EQ(local_day(zone, at), midnight.time_since_epoch().count());
    ASSERT_EQ(local_minute(zone, at), floor<minutes>(local - midnight).count());
    const year_month_day wanted{midnight};
    const CivilDate date = civil_from_days(midnight.time_since_epoch().count());
    ASSERT_EQ(date.year, static_cast<int>(wanted.year()));
    ASSERT_EQ(date.month, static_cast<int>(static_cast<unsigned>(wanted.month())));
    ASSERT_EQ(date.day, static_cast<int>(static_cast<unsigned>(wanted.day())));
    ASSERT_EQ(days_from_civil(date), midnight.time_since_epoch().count());
  }
}

// Independent of any library: counted day by day over the leap years of the Gregorian rule.
TEST(ZoneRules, DatesCountedDayByDay) {
  CivilDate date{1970, 1, 1};
  for (std::int64_t i = 0; i < 73'200; ++i) {
    const CivilDate found = civil_from_days(i);
    ASSERT_TRUE(found.year == date.year && found.month == date.month && found.day == date.day) << i;
    const bool leap = (date.year % 4 == 0 && date.year % 100 != 0) || date.year % 400 == 0;
    constexpr int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    const int last = days[date.month - 1] + (date.month == 2 && leap ? 1 : 0);
    if (++date.day <= last) continue;
    date.day = 1;
    if (++date.month <= 12) continue;
    date.month = 1;
    ++date.year;
  }
}

}  // namespace
}  // namespace baskwell
