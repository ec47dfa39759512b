#pragma once
// A time zone as a value: the offsets of one place over the years, so that core needs no zone database and no
// clock. The shell fills it from the system's tzdata (settings/), tests fill it by hand. Pure; safe from any
// thread.

#include <cstdint>
#include <vector>

#include "core/time.h"

namespace baskwell {

struct ZoneRules {
  struct Change {
    UtcMs from;             // this offset holds from here on
    std::int32_t offset_s;  // local time = UTC + offset_s
  };
  std::vector<Change> changes;  // ascending; the first also holds before itself. Empty: UTC.

  [[nodiscard]] std::int32_t offset_s(UtcMs at) const;
};

// Civil date of a local day: days since 1970-01-01 in local time.
[[nodiscard]] std::int64_t local_day(const ZoneRules& zone, UtcMs at);
// Minutes since local midnight, 0..1439, as the wall clock shows them.
[[nodiscard]] int local_minute(const ZoneRules& zone, UtcMs at);
// The instant at which the wall clock of that local day shows this minute. A minute that the clock skips
// (spring) is taken as the instant of the jump; one that it shows twice (autumn) as the first.
[[nodiscard]] UtcMs instant_of(const ZoneRules& zone, std::int64_t day, int minute);

struct CivilDate {
  int year;
  int month;  // 1..12
  int day;    // 1..31
};
[[nodiscard]] CivilDate civil_from_days(std::int64_t days_since_1970);
[[nodiscard]] std::int64_t days_from_civil(CivilDate date);

}  // namespace baskwell
