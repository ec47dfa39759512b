#include "core/climate/zone_rules.h"

#include <algorithm>
#include <chrono>
#include <iterator>

namespace baskwell {
namespace {

std::int64_t floor_div(std::int64_t a, std::int64_t b) {
  return a / b - (a % b < 0 ? 1 : 0);
}

}  // namespace

std::int32_t ZoneRules::offset_s(UtcMs at) const {
  if (changes.empty()) return 0;
  const auto after = std::upper_bound(changes.begin(), changes.end(), at,
                                      [](UtcMs t, const Change& change) { return t < change.from; });
  return after == changes.begin() ? changes.front().offset_s : std::prev(after)->offset_s;
}

std::int64_t local_day(const ZoneRules& zone, UtcMs at) {
  return floor_div(at.ms + zone.offset_s(at) * second_ms, day_ms);
}

int local_minute(const ZoneRules& zone, UtcMs at) {
  const std::int64_t local_ms = at.ms + zone.offset_s(at) * second_ms;
  return static_cast<int>((local_ms - floor_div(local_ms, day_ms) * day_ms) / minute_ms);
}

UtcMs instant_of(const ZoneRules& zone, std::int64_t day, int minute) {
  const std::int64_t local_ms = day * day_ms + minute * minute_ms;
  // The offset before any change near that day and the one after it; between the two lies every candidate.
  const std::int32_t before_s = zone.offset_s(UtcMs{local_ms - day_ms});
  const std::int32_t after_s = zone.offset_s(UtcMs{local_ms + day_ms});
  const UtcMs by_before{local_ms - before_s * second_ms};
  if (zone.offset_s(by_before) == before_s) return by_before;  // the only one, or the first of two
  const UtcMs by_after{local_ms - after_s * second_ms};
  if (zone.offset_s(by_after) == after_s) return by_after;
  // Skipped by the clock: the instant of the jump itself.
  for (const ZoneRules::Change& change : zone.changes) {
    if (change.from > by_after && change.from <= by_before) return change.from;
  }
  return by_before;
}

CivilDate civil_from_days(std::int64_t days_since_1970) {
  const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{days_since_1970}}};
  return {static_cast<int>(date.year()), static_cast<int>(static_cast<unsigned>(date.month())),
          static_cast<int>(static_cast<unsigned>(date.day()))};
}

std::int64_t days_from_civil(CivilDate date) {
  const std::chrono::year_month_day civil{std::chrono::year{date.year},
                                          std::chrono::month{static_cast<unsigned>(date.month)},
                                          std::chrono::day{static_cast<unsigned>(date.day)}};
  return std::chrono::sys_days{civil}.time_since_epoch().count();
}

}  // namespace baskwell
