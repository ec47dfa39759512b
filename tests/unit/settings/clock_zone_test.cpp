// Time zones against instants of the tz database (IANA; files europe, northamerica, australasia), from memory
// and, for 2050, computed by its rules with another implementation (Python's zoneinfo).

#include "settings/clock_zone.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "settings/zone_tail.h"

namespace baskwell::settings {
namespace {

struct Instant {
  const char* zone;
  std::int64_t at_s;  // the change; UTC
  std::int32_t before_s;
  std::int32_t after_s;
};

TEST(ClockZone, ChangesAtTheInstantsOfTheTzDatabase) {
  const Instant instants[] = {
      {"Europe/London", 1774746000, 0, 3600},            // 2026-03-29T01:00Z
      {"Europe/London", 1792890000, 3600, 0},            // 2026-10-25T01:00Z
      {"Europe/London", 2531955600, 0, 3600},            // 2050-03-27T01:00Z
      {"Europe/London", 2550704400, 3600, 0},            // 2050-10-30T01:00Z
      {"America/New_York", 1772953200, -18000, -14400},  // 2026-03-08T07:00Z
      {"America/New_York", 1793512800, -14400, -18000},  // 2026-11-01T06:00Z
      {"America/New_York", 2530767600, -18000, -14400},  // 2050-03-13T07:00Z
      {"Australia/Sydney", 1775318400, 39600, 36000},    // 2026-04-04T16:00Z
      {"Australia/Sydney", 1791043200, 36000, 39600},    // 2026-10-03T16:00Z
      {"Australia/Sydney", 2548252800, 36000, 39600},    // 2050-10-01T16:00Z
  };
  for (const Instant& one : instants) {
    const auto rules = zone_rules_for(one.zone);
    ASSERT_TRUE(rules) << one.zone;
    EXPECT_EQ(rules->offset_s(UtcMs{one.at_s * 1000 - 1}), one.before_s) << one.zone << ' ' << one.at_s;
    EXPECT_EQ(rules->offset_s(UtcMs{one.at_s * 1000}), one.after_s) << one.zone << ' ' << one.at_s;
  }
}

TEST(ClockZone, AscendsAndNeverRepeatsAnOffset) {
  for (const char* zone : {"Europe/London", "America/New_York", "Australia/Sydney", "Europe/Dublin", "UTC",
                           "Asia/Kolkata", "Africa/Casablanca", "America/Nuuk"}) {
    const auto rules = zone_rules_for(zone);
    ASSERT_TRUE(rules) << zone;
    ASSERT_FALSE(rules->changes.empty()) << zone;
    for (std::size_t i = 1; i < rules->changes.size(); ++i) {
      EXPECT_LT(rules->changes[i - 1].from, rules->changes[i].from) << zone;
      EXPECT_NE(rules->changes[i - 1].offset_s, rules->changes[i].offset_s) << zone;
    }
  }
  EXPECT_EQ(zone_rules_for("Asia/Kolkata")->offset_s(UtcMs{0}), 19800);
}

TEST(ClockZone, SaysNothingOfWhatIsNoZone) {
  for (const char* name : {"Europe/Londno", "", "/etc/passwd", "../../../etc/passwd", "Europe", "tzdata.zi"})
    EXPECT_FALSE(zone_rules_for(name)) << name;
  const std::vector<std::string> names = zone_names();
  EXPECT_NE(std::find(names.begin(), names.end(), "Europe/London"), names.end());
}

// The rule of the file's last line, against the changes that the same file lists one by one.
TEST(ZoneTail, AgreesWithTheListedChanges) {
  const struct {
    const char* zone;
    const char* rule;
  } rules[] = {{"Europe/London", "GMT0BST,M3.5.0/1,M10.5.0"},
               {"America/New_York", "EST5EDT,M3.2.0,M11.1.0"},
               {"Australia/Sydney", "AEST-10AEDT,M10.1.0,M4.1.0/3"},
               {"Australia/Lord_Howe", "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0"}};
  for (const auto& one : rules) {
    const auto listed = zone_rules_for(one.zone);
    const auto computed = changes_by_rule(one.rule, 2026, 2036);
    ASSERT_TRUE(listed && computed) << one.zone;
    ASSERT_EQ(computed->size(), 22U);
    for (const ZoneRules::Change& change : *computed) {
      const auto same =
          std::find_if(listed->changes.begin(), listed->changes.end(),
                       [&](const ZoneRules::Change& other) { return other.from == change.from; });
      ASSERT_NE(same, listed->changes.end()) << one.zone << ' ' << change.from.ms;
      EXPECT_EQ(same->offset_s, change.offset_s);
    }
  }
}

TEST(ZoneTail, ReadsEveryFormOfARuleAndRefusesTheRest) {
  // POSIX.1-2017 section 8.3: Jn never counts the 29th of February, n from 0 does.
  const auto julian = changes_by_rule("AAA0BBB,J60/0,J300/0", 2028, 2028);
  ASSERT_TRUE(julian);
  EXPECT_EQ(julian->front().from.ms, days_from_civil({2028, 3, 1}) * day_ms);
  const auto counted = changes_by_rule("AAA0BBB,59/0,300/0", 2028, 2028);
  ASSERT_TRUE(counted);
  EXPECT_EQ(counted->front().from.ms, days_from_civil({2028, 2, 29}) * day_ms);
  EXPECT_TRUE(changes_by_rule("IST-5:30", 2026, 2027)->empty());
  for (const char* rule : {"", "GMT", "GM0", "GMT0BST", "GMT0BST,M13.1.0,M10.5.0", "GMT0BST,M3.5.0", "<GMT0",
                           "GMT0BST,M3.5.0/1,M10.5.0x", "GMT0BST,M3.6.0,M10.5.0", "GMT0BST,M3.5.7,M10.5.0"})
    EXPECT_FALSE(changes_by_rule(rule, 2026, 2026)) << rule;
}

}  // namespace
}  // namespace baskwell::settings
