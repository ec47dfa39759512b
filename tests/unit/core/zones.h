#pragma once
// Zones for tests. Source of the changes: IANA time zone database, 2026 (and 2011 for Apia).

#include <string_view>

#include "core/check.h"
#include "core/climate/zone_rules.h"
#include "core/moment.h"

namespace baskwell::test {

// A moment in RFC 3339; a broken test where it is none.
inline UtcMs utc(std::string_view text) {
  const auto at = utc_from_rfc3339(text);
  CHECK(at.has_value());
  return *at;
}

inline ZoneRules london_2026() {
  return {{{utc("2025-10-26T01:00:00Z"), 0},
           {utc("2026-03-29T01:00:00Z"), 3600},
           {utc("2026-10-25T01:00:00Z"), 0}}};
}
inline ZoneRules new_york_2026() {
  return {{{utc("2025-11-02T06:00:00Z"), -5 * 3600},
           {utc("2026-03-08T07:00:00Z"), -4 * 3600},
           {utc("2026-11-01T06:00:00Z"), -5 * 3600}}};
}
inline ZoneRules lord_howe_2026() {  // its summer time is half an hour
  return {{{utc("2025-10-04T15:30:00Z"), 11 * 3600},
           {utc("2026-04-04T15:00:00Z"), 10 * 3600 + 1800},
           {utc("2026-10-03T15:30:00Z"), 11 * 3600}}};
}
inline ZoneRules apia_2011() {  // went over the date line: there was no 30 December 2011
  return {{{utc("2011-09-24T14:00:00Z"), -10 * 3600}, {utc("2011-12-30T10:00:00Z"), 14 * 3600}}};
}

inline std::int64_t day(int year, int month, int day_of_month) {
  return days_from_civil({year, month, day_of_month});
}

}  // namespace baskwell::test
