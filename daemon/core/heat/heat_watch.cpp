#include "core/heat/heat_watch.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/alarm/message_text.h"
#include "core/check.h"
#include "core/heat/inside.h"
#include "core/heat/statistics/robust.h"

namespace baskwell::heat {
namespace {

// A room probe that was not heard for longer says nothing of now.
constexpr std::int64_t fresh_ms = 20 * minute_ms;
constexpr std::size_t changes_kept = 12;

constexpr std::array<AlarmKind, 9> unit_kinds{AlarmKind::not_heating,
                                              AlarmKind::heating_stuck_on,
                                              AlarmKind::heating_weak,
                                              AlarmKind::thermostat_drift,
                                              AlarmKind::thermostat_reset,
                                              AlarmKind::thermostat_hunting,
                                              AlarmKind::thermostat_probe_moved,
                                              AlarmKind::high_cutout_open,
                                              AlarmKind::night_drop_shifted};

bool needs_thermostat(AlarmKind kind) {
  return kind == AlarmKind::thermostat_drift || kind == AlarmKind::thermostat_reset ||
         kind == AlarmKind::thermostat_hunting || kind == AlarmKind::thermostat_probe_moved;
}

// Which of a unit's probes tells most of its heater: where its thermostat feels, hot before the rest, surface
// before air.
int lead_rank(const Room& room, const UnitState& state, const SpotKey& spot) {
  int rank = 0;
  const Unit& unit = state.unit;
  if (unit.thermostat != none && room.thermostats[unit.thermostat].probe_enclosure == spot.enclosure)
    rank += 8;
  if (spot.zone == Zone::hot) rank += 4;
  if (unit.thermostat != none && room.thermostats[unit.thermostat].probe_zone == spot.zone) rank += 2;
  if (spot.medium == Medium::surface) rank += 1;
  return rank;
}

}  // namespace

void HourLevels::add(std::int64_t hour_now, double residual_k, bool counts) {
  if (hour != hour_now) {
    if (hour != INT64_MIN) {
      const std::int64_t passed = std::min<std::int64_t>(hour_now - hour, static_cast<std::int64_t>(size));
      for (std::int64_t i = 0; i < passed; ++i) {
        level_k[count % size] =
            i == 0 && n >= 5 ? static_cast<float>(sum / n) : std::numeric_limits<float>::quiet_NaN();
        if (++count >= 3 * size) count -= size;
      }
    }
    hour = hour_now;
    sum = 0;
    n = 0;
  }
  if (!counts) return;
  sum += residual_k;
  ++n;
}

double HourLevels::at(std::size_t hours_ago) const {
  if (hours_ago >= std::min(count, size)) return not_known;
  return static_cast<double>(level_k[(count - 1 - hours_ago) % size]);
}

double HourLevels::mean(std::size_t from, std::size_t to) const {
  double total = 0, seen = 0;
  for (std::size_t i = to; i <= from; ++i) {
    const double level = at(i);
    if (std::isnan(level)) continue;
    total += level;
    seen += 1;
  }
  return seen > 0 ? total / seen : not_known;
}

double HourLevels::median_of_day(std::size_t days_ago) const {
  std::array<double, 24> hours{};
  std::size_t seen = 0;
  for (std::size_t i = days_ago * 24; i < days_ago * 24 + 24; ++i) {
    if (const double level = at(i); !std::isnan(level)) hours[seen++] = level;
  }
  if (seen < 5) return not_known;
  return median_in_place({hours.data(), seen}).value_or(not_known);
}

HeatWatch::Inside::Inside(const Room& the_room) : room(the_room) {
  probe_of_channel.assign(room.channels.size(), SIZE_MAX);
  std::vector<Index> unit_of(room.enclosures.size(), none);
  for (Unit& unit : units_of(room)) {
    UnitState state;
    state.point.fill(SIZE_MAX);
    for (const Index enclosure : unit.enclosures) {
      if (unit_of[enclosure] == none) unit_of[enclosure] = static_cast<Index>(units.size());
    }
    state.unit = std::move(unit);
    units.push_back(std::move(state));
  }
  for (Index i = 0; i < room.channels.size(); ++i) {
    const Channel& channel = room.channels[i];
    if (channel.quantity != Quantity::temperature || channel.placements.empty()) continue;
    const Placement& placement = channel.placements.back();
    if (placement.zone == Zone::water || placement.zone == Zone::eggs) continue;
    Probe probe;
    probe.channel = i;
    probe.spot = {placement.enclosure, placement.zone, placement.medium, channel.quantity};
    if (placement.enclosure != none) probe.unit = unit_of[placement.enclosure];
    probe_of_channel[i] = probes.size();
    if (placement.enclosure == none && room_probe == SIZE_MAX) room_probe = probes.size();
    if (probe.unit != none) {
      UnitState& unit = units[probe.unit];
      unit.probes.push_back(probes.size());
      const bool leads = unit.lead == SIZE_MAX ||
                         lead_rank(room, unit, probe.spot) > lead_rank(room, unit, probes[unit.lead].spot);
      if (leads) unit.lead = probes.size();
    }
    probes.push_back(probe);
  }
  for (Index u = 0; u < units.size(); ++u) {
    UnitState& unit = units[u];
    if (unit.lead == SIZE_MAX) continue;
    const Index home = probes[unit.lead].spot.enclosure;
    for (const std::size_t p : unit.probes) {
      const SpotKey& spot = probes[p].spot;
      if (spot.enclosure != home || p == unit.lead) continue;
      if (spot.zone == Zone::cool || (spot.zone == Zone::middle && unit.cool == SIZE_MAX)) unit.cool = p;
    }
    for (const AlarmKind kind : unit_kinds) {
      if (kind == AlarmKind::high_cutout_open && !unit.unit.has_cut_out) continue;
      if (needs_thermostat(kind) && unit.unit.thermostat == none) continue;
      unit.point[static_cast<std::size_t>(kind)] = points.size();
      points.push_back({kind, unit.unit.id + "/heating", u, home, probes[unit.lead].channel});
    }
    if (unit.cool != SIZE_MAX) {
      unit.point[static_cast<std::size_t>(AlarmKind::gradient_lost)] = points.size();
      points.push_back({AlarmKind::gradient_lost, room.enclosures[home].id + "/gradient", u, home,
                        probes[unit.cool].channel});
    }
  }
  for (Probe& probe : probes) {
    if (probe.unit == none) continue;
    probe.moved_point = points.size();
    points.push_back({AlarmKind::probe_moved, room.channels[probe.channel].id, probe.unit,
                      probe.spot.enclosure, probe.channel});
  }
  if (room_probe != SIZE_MAX) {
    const Index channel = probes[room_probe].channel;
    room_cold_point = points.size();
    points.push_back({AlarmKind::room_cold, "room", none, none, channel});
    room_hot_point = points.size();
    points.push_back({AlarmKind::room_hot, "room", none, none, channel});
  }
  held.resize(points.size());
}

void HeatWatch::Inside::set(std::size_t point, bool present, bool harm_near, std::optional<AlarmKind> other,
                            double value, UtcMs at, std::string detail) {
  if (point == SIZE_MAX) return;
  Held& now = held[point];
  if (!present && !now.present) return;
  if (present && now.present && now.harm_near >= harm_near && now.other == other) return;
  if (present && !now.present) {
    now.since = at;
    if (points[point].unit != none) {
      std::vector<Belief::Change>& changes = units[points[point].unit].changes;
      if (changes.size() >= changes_kept) changes.erase(changes.begin());
      changes.push_back({at, std::string(row_of(points[point].kind).name) + " found"});
    }
  }
  now.present = present;
  now.harm_near = present && (harm_near || now.harm_near);
  now.other = present ? other : std::nullopt;
  now.detail = detail;
  if (facts == nullptr) return;
  facts->push_back({point, present, now.harm_near, now.other, value, std::move(detail)});
}

const Probe* HeatWatch::Inside::fresh(std::size_t probe, UtcMs at) const {
  if (probe == SIZE_MAX) return nullptr;
  const Probe& found = probes[probe];
  const bool old = found.track.recent.count() == 0 || at - found.track.sample.at > fresh_ms;
  return old ? nullptr : &found;
}

double HeatWatch::Inside::room_deviation_k(UtcMs at) const {
  const Probe* probe = fresh(room_probe, at);
  if (probe == nullptr || !probe->track.residual.known) return 0.0;
  return probe->track.residual.k;
}

// What the enclosure cools towards: the room's air, or a little below its own cool end.
double HeatWatch::Inside::around_degc(const UnitState& unit, UtcMs at) const {
  if (const Probe* probe = fresh(room_probe, at)) return probe->track.sample.degc;
  if (const Probe* probe = fresh(unit.cool, at)) return probe->track.sample.degc - 2.0;
  return not_known;
}

HeatWatch::HeatWatch(const Room& room) : inside_(std::make_unique<Inside>(room)) {}
HeatWatch::~HeatWatch() = default;
HeatWatch::HeatWatch(HeatWatch&&) noexcept = default;
HeatWatch& HeatWatch::operator=(HeatWatch&&) noexcept = default;

const std::vector<Point>& HeatWatch::points() const {
  return inside_->points;
}

void HeatWatch::reading(Index channel, const SpotKey& spot, double degc, UtcMs measured, const Wanted& wanted,
                        std::vector<Fact>& facts) {
  CHECK(channel < inside_->probe_of_channel.size());
  const std::size_t index = inside_->probe_of_channel[channel];
  if (index == SIZE_MAX) return;
  Probe& probe = inside_->probes[index];
  // In another place than the one it was learned in it says nothing of this one.
  if (!(probe.spot == spot)) return;
  const int minute = local_minute(inside_->room.clock, measured);
  const bool is_room = index == inside_->room_probe;
  const double room_k = is_room ? 0.0 : inside_->room_deviation_k(measured);
  if (!probe.track.add(measured, degc, minute, room_k)) return;
  inside_->facts = &facts;
  if (is_room) {
    inside_->judge_room(probe);
  } else if (probe.unit == none) {
    probe.track.learn(true, room_k, not_known);
  } else {
    UnitState& unit = inside_->units[probe.unit];
    inside_->judge_probe(probe);
    if (index == unit.lead) {
      unit.wanted = wanted;
      inside_->judge_unit(unit);
    }
    // What is odd is not learned: while something is found, while a step may be a moved probe, while the unit
    // strays from normal.
    bool odd = probe.step.at != never || unit.recovering_since != never || unit.below.high() > 0 ||
               unit.above.high() > 0;
    for (const std::size_t point : unit.point) odd |= inside_->holds(point);
    odd |= inside_->holds(probe.moved_point);
    const Residual& rest = probe.track.residual;
    if (index != unit.lead && rest.known && probe.track.judged())
      odd |= rest.k < 2.0 * rest.low_k - 1.0 || rest.k > 2.0 * rest.high_k + 1.0;
    const bool young = !probe.track.judged();
    probe.track.learn(young || !odd, room_k,
                      index == unit.lead ? inside_->around_degc(unit, measured) : not_known);
  }
  inside_->facts = nullptr;
}

void HeatWatch::note(NoteType type, std::string_view subject, UtcMs at, std::vector<Fact>& facts) {
  const Relearn part = row_of(type).relearn;
  if (part == Relearn::nothing) return;
  inside_->facts = &facts;
  const Room& room = inside_->room;
  for (UnitState& unit : inside_->units) {
    bool whole = unit.unit.id == subject;
    if (unit.unit.thermostat != none) whole |= room.thermostats[unit.unit.thermostat].id == subject;
    for (const Index heater : unit.unit.heaters) whole |= room.heaters[heater].id == subject;
    for (const Index enclosure : unit.unit.enclosures) {
      const Enclosure& place = room.enclosures[enclosure];
      whole |= place.id == subject || (place.rack != none && room.racks[place.rack].id == subject);
    }
    bool any = false;
    for (const std::size_t p : unit.probes) {
      Probe& probe = inside_->probes[p];
      const Channel& channel = room.channels[probe.channel];
      const bool named = channel.id == subject || room.instruments[channel.instrument].id == subject;
      const bool meant = part == Relearn::probe && named ? true : whole;
      if (!meant) continue;
      any = true;
      // Another setting moves the whole course; the rest stays as it was.
      if (part == Relearn::thermostat)
        probe.track.relevel(at);
      else
        probe.track.forget();
      probe.step = StepSeen();
      probe.learn_from = at;
      inside_->set(probe.moved_point, false, false, std::nullopt, not_known, at, {});
    }
    if (!any) continue;
    for (const std::size_t point : unit.point) {
      if (inside_->holds(point)) inside_->set(point, false, false, std::nullopt, not_known, at, {});
    }
    unit.below.reset();
    unit.above.reset();
    unit.below_since = unit.above_since = unit.fast_at = unit.last_below = never;
    unit.dip_waits = false;
    unit.agreed_degc = not_known;
    unit.level_since = unit.level_looked = never;
    unit.level_k = 0;
    unit.levels.clear();
    unit.wide_hours = 0;
    unit.shift_agrees = 0;
    if (unit.changes.size() >= changes_kept) unit.changes.erase(unit.changes.begin());
    unit.changes.push_back({at, "note: " + std::string(row_of(type).name)});
  }
  inside_->facts = nullptr;
}

void HeatWatch::outage_ended(Index unit, UtcMs, UtcMs to) {
  CHECK(unit < inside_->units.size());
  inside_->units[unit].outage_to = to;
  inside_->units[unit].recovering_since = to;
}

UnitCourse HeatWatch::course(Index index) const {
  CHECK(index < inside_->units.size());
  const UnitState& unit = inside_->units[index];
  UnitCourse course;
  course.at = course.falls_since = never;
  course.warming_k_per_h = course.usual_warming_k_per_h = not_known;
  if (unit.lead == SIZE_MAX) return course;
  const Track& track = inside_->probes[unit.lead].track;
  if (track.recent.count() == 0) return course;
  course.judged = track.judged();
  course.below = unit.below.high() > 0;
  course.falls_since = track.fall().since;
  course.fell_from_degc = track.fall().from_degc;
  course.lowest_degc = track.fall().lowest_degc;
  course.at = track.sample.at;
  course.degc = track.sample.degc;
  course.expected_degc = track.residual.known ? track.residual.expected_degc : not_known;
  course.warming_k_per_h = track.recent.slope_k_per_h(20);
  return course;
}

void HeatWatch::clock_stepped(std::int64_t step_ms) {
  const auto shift = [step_ms](UtcMs& at) {
    if (at != never) at = at + step_ms;
  };
  for (Probe& probe : inside_->probes) {
    probe.track.shift_clock(step_ms);
    shift(probe.step.at);
    shift(probe.learn_from);
  }
  for (UnitState& unit : inside_->units) {
    for (UtcMs* at : {&unit.below_since, &unit.above_since, &unit.last_normal, &unit.last_above,
                      &unit.last_below, &unit.fast_at, &unit.recovering_since, &unit.outage_to,
                      &unit.held_since, &unit.narrow_since, &unit.level_since, &unit.level_looked})
      shift(*at);
    // Hours and quarters of the wrong clock are not those of the day.
    unit.levels.clear();
    unit.last_day_at.fill(INT64_MIN);
    unit.quarter = -1;
    unit.hour = INT64_MIN;
  }
  for (Held& held : inside_->held) shift(held.since);
}

}  // namespace baskwell::heat
