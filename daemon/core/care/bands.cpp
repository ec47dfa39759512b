#include "core/care/bands.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace baskwell {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr Wanted nothing{-infinity, infinity, -infinity, infinity};

double or_below(double limit) {
  return std::isnan(limit) ? -infinity : limit;
}
double or_above(double limit) {
  return std::isnan(limit) ? infinity : limit;
}

// By day and by night what one spot must be.
struct DayAndNight {
  Wanted day = nothing;
  Wanted night = nothing;
  bool any = false;
};

// A figure for this very medium goes before one for any medium; one for another medium does not count.
const Band* find_band(const std::vector<Band>& bands, const SpotKey& spot) {
  const Band* general = nullptr;
  for (const Band& band : bands) {
    if (band.zone != spot.zone || band.quantity != spot.quantity) continue;
    if (band.medium == spot.medium) return &band;
    if (!band.medium && general == nullptr) general = &band;
  }
  return general;
}

// Several animals share the tightest of their bands.
void tighten(Wanted& wanted, const Range& target, const Range& harm) {
  wanted.low = std::max(wanted.low, or_below(target.low));
  wanted.high = std::min(wanted.high, or_above(target.high));
  wanted.harm_low = std::max(wanted.harm_low, or_below(harm.low));
  wanted.harm_high = std::min(wanted.harm_high, or_above(harm.high));
}

void tighten(DayAndNight& bands, const Band& band) {
  tighten(bands.day, band.day, band.harm);
  tighten(bands.night, band.night, band.harm);
  bands.any = true;
}

DayAndNight bands_of(const Room& room, const SpotKey& spot, UtcMs at) {
  DayAndNight bands;
  if (spot.enclosure == none) {
    if (const Band* band = find_band(room.room_air_bands, spot)) tighten(bands, *band);
    return bands;
  }
  const bool occupied = std::any_of(
      room.occupancies.begin(), room.occupancies.end(),
      [&](const Occupancy& stay) { return stay.enclosure == spot.enclosure && stay.span.holds(at); });
  if (!occupied) return bands;  // an empty enclosure wants nothing
  if (const Band* band = find_band(room.enclosures[spot.enclosure].overrides, spot)) {
    tighten(bands, *band);
    return bands;
  }
  for (const Occupancy& stay : room.occupancies) {
    if (stay.enclosure != spot.enclosure || !stay.span.holds(at)) continue;
    if (const Band* band = find_band(room.animals[stay.animal].bands, spot)) tighten(bands, *band);
  }
  return bands;
}

// Between the old limit and the new one; a limit that appears or goes does so at once.
double between(double from, double to, double share) {
  if (!std::isfinite(from) || !std::isfinite(to)) return to;
  return from + (to - from) * share;
}

Wanted between(const Wanted& from, const Wanted& to, double share) {
  return {between(from.low, to.low, share), between(from.high, to.high, share),
          between(from.harm_low, to.harm_low, share), between(from.harm_high, to.harm_high, share)};
}

// The next moment after `at` at which somebody moves in or out.
UtcMs next_move(const Room& room, Index enclosure, UtcMs at) {
  UtcMs next{INT64_MAX};
  for (const Occupancy& stay : room.occupancies) {
    if (stay.enclosure != enclosure) continue;
    if (stay.span.from > at) next = std::min(next, stay.span.from);
    if (stay.span.to > at) next = std::min(next, stay.span.to);
  }
  return next;
}

}  // namespace

Wanted BandSegment::at(UtcMs moment) const {
  if (!ramp) return begin;
  return between(begin, end,
                 static_cast<double>(moment - ramp_from) / static_cast<double>(ramp_until - ramp_from));
}

LightPhase light_phase(const LightPlan& lights, const ZoneRules& clock, UtcMs at) {
  if (lights.on_minute == lights.off_minute) return {false, UtcMs{INT64_MIN}, UtcMs{INT64_MAX}};
  LightPhase phase{false, UtcMs{INT64_MIN}, UtcMs{INT64_MAX}};
  const std::int64_t today = local_day(clock, at);
  // The last edge at or before `at` and the first after it lie within a day either way.
  for (std::int64_t day = today - 1; day <= today + 1; ++day) {
    // In the order of the wall clock: where it skips both, they fall on one instant and the later one counts.
    const bool on_first = lights.on_minute < lights.off_minute;
    for (const bool is_on : {on_first, !on_first}) {
      const UtcMs edge = instant_of(clock, day, is_on ? lights.on_minute : lights.off_minute);
      if (edge <= at && edge >= phase.since) {
        phase.since = edge;
        phase.day = is_on;
      }
      if (edge > at) phase.until = std::min(phase.until, edge);
    }
  }
  return phase;
}

BandSegment segment_at(const Room& room, const SpotKey& spot, UtcMs at) {
  const DayAndNight bands = bands_of(room, spot, at);
  const LightPlan lights = spot.enclosure == none ? LightPlan{} : room.enclosures[spot.enclosure].lights;
  const LightPhase phase = light_phase(lights, room.clock, at);
  const Wanted& now = phase.day ? bands.day : bands.night;
  const Wanted& before = phase.day ? bands.night : bands.day;

  BandSegment segment;
  segment.day = phase.day;
  segment.any = bands.any;
  segment.from = at;  // who lived here before is not looked into
  segment.until = phase.until;
  segment.begin = now;
  segment.end = now;
  const std::int64_t ramp_ms = lights.ramp_min * minute_ms;
  const bool has_edge = phase.since.ms != INT64_MIN;
  if (has_edge && at < phase.since + ramp_ms) {
    segment.ramp = true;
    segment.ramp_from = phase.since;
    segment.ramp_until = phase.since + ramp_ms;
    segment.until = std::min(segment.ramp_until, phase.until);
    // Where the phase before was shorter than its ramp, the band had not come all the way.
    const std::int64_t before_ms = phase.since - light_phase(lights, room.clock, phase.since - 1).since;
    segment.begin = before_ms < ramp_ms
                        ? between(now, before, static_cast<double>(before_ms) / static_cast<double>(ramp_ms))
                        : before;
  }
  if (spot.enclosure != none) segment.until = std::min(segment.until, next_move(room, spot.enclosure, at));
  return segment;
}

}  // namespace baskwell
