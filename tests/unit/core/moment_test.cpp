// Moments as RFC 3339 and by the wall clock of the room.

#include "core/moment.h"

#include <gtest/gtest.h>

#include <string>

#include "seed.h"
#include "zones.h"

namespace baskwell {
namespace {

// The four examples of RFC 3339, section 5.8.
TEST(Rfc3339, ExamplesOfTheStandard) {
  EXPECT_EQ(utc_from_rfc3339("1985-04-12T23:20:50.52Z"), UtcMs{482196050520});
  EXPECT_EQ(utc_from_rfc3339("1996-12-19T16:39:57-08:00"), utc_from_rfc3339("1996-12-20T00:39:57Z"));
  EXPECT_EQ(utc_from_rfc3339("1996-12-20T00:39:57Z"), UtcMs{851042397000});
  // A leap second; UtcMs counts none, so it falls on the next minute's first.
  EXPECT_EQ(utc_from_rfc3339("1990-12-31T23:59:60Z"), utc_from_rfc3339("1991-01-01T00:00:00Z"));
  EXPECT_EQ(utc_from_rfc3339("1990-12-31T15:59:60-08:00"), utc_from_rfc3339("1991-01-01T00:00:00Z"));
  EXPECT_EQ(utc_from_rfc3339("1937-01-01T12:00:27.87+00:20"), utc_from_rfc3339("1937-01-01T11:40:27.870Z"));
}

TEST(Rfc3339, ReadsSmallLettersAndLongFractions) {
  EXPECT_EQ(utc_from_rfc3339("2026-11-24t02:10:00z"), test::utc("2026-11-24T02:10:00Z"));
  EXPECT_EQ(utc_from_rfc3339("2026-11-24T02:10:00.123456789Z"), test::utc("2026-11-24T02:10:00.123Z"));
  EXPECT_EQ(utc_from_rfc3339("2026-11-24T02:10:00.9Z"), test::utc("2026-11-24T02:10:00.900Z"));
  EXPECT_EQ(utc_from_rfc3339("2024-02-29T00:00:00Z"), UtcMs{1709164800000});
  EXPECT_EQ(utc_from_rfc3339("2026-11-24T02:10:00." + std::string(5000, '1') + "Z"),
            test::utc("2026-11-24T02:10:00.111Z"));
}

TEST(Rfc3339, RefusesEverythingElse) {
  for (const char* text : {"",
                           "2026",
                           "2026-11-24",
                           "2026-11-24T02:10Z",
                           "2026-11-24T02:10:00",
                           "2026-11-24T02:10:00.Z",
                           "2026-11-24T02:10:00+1:00",
                           "2026-11-24T02:10:00+0100",
                           "2026-11-24T02:10:00+24:00",
                           "2026-11-24T02:10:00+01:60",
                           "2026-13-01T00:00:00Z",
                           "2026-00-01T00:00:00Z",
                           "2026-02-29T00:00:00Z",
                           "2100-02-29T00:00:00Z",
                           "2026-04-31T00:00:00Z",
                           "2026-11-24T24:00:00Z",
                           "2026-11-24T02:60:00Z",
                           "2026-11-24T02:10:61Z",
                           "2026-11-24X02:10:00Z",
                           "2026/11/24T02:10:00Z",
                           "2026-11-24T02.10.00Z",
                           "-026-11-24T02:10:00Z",
                           "2026-11-24T02:10:00ZZ",
                           " 2026-11-24T02:10:00Z",
                           "2026-11-24T02:10:0aZ",
                           "1764000000000"}) {
    EXPECT_FALSE(utc_from_rfc3339(text)) << text;
  }
}

TEST(Rfc3339, GoesRoundOverAllItsYears) {
  EXPECT_EQ(rfc3339(UtcMs{0}), "1970-01-01T00:00:00Z");
  EXPECT_EQ(rfc3339(UtcMs{-1}), "1969-12-31T23:59:59.999Z");
  EXPECT_EQ(rfc3339(earliest_utc), "0000-01-01T00:00:00Z");
  EXPECT_EQ(rfc3339(latest_utc), "9999-12-31T23:59:59.999Z");
  std::mt19937_64 random(test::announced_seed());
  for (int i = 0; i < 20000; ++i) {
    const UtcMs at{test::between(random, earliest_utc.ms, latest_utc.ms)};
    ASSERT_EQ(utc_from_rfc3339(rfc3339(at)), at) << rfc3339(at);
  }
}

TEST(Rfc3339, AnyMomentCanBeWritten) {
  for (const std::int64_t ms :
       {INT64_MIN, INT64_MIN + 1, INT64_MAX - 1, INT64_MAX, earliest_utc.ms - 1, latest_utc.ms + 1}) {
    const auto again = utc_from_rfc3339(rfc3339(UtcMs{ms}));
    ASSERT_TRUE(again) << ms;
    EXPECT_EQ(*again, ms < 0 ? earliest_utc : latest_utc) << ms;
  }
}

TEST(LocalTime, IsWhatTheWallClockShows) {
  const ZoneRules london = test::london_2026();
  EXPECT_EQ(local_hour_minute(london, test::utc("2026-03-29T00:59:59Z")), "00:59");
  EXPECT_EQ(local_hour_minute(london, test::utc("2026-03-29T01:00:00Z")), "02:00");
  EXPECT_EQ(local_day_hour_minute(london, test::utc("2026-06-30T23:30:00Z")), "1 Jul 00:30");
  EXPECT_EQ(local_day_hour_minute(test::new_york_2026(), test::utc("2026-01-01T04:59:59Z")), "31 Dec 23:59");
}

}  // namespace
}  // namespace baskwell
