// Facts as they come: readings, silence, darkness, absence.

#include "core/heat/outage_watch.h"

#include <algorithm>
#include <cmath>

#include "core/check.h"
#include "core/heat/outage_inside.h"

namespace baskwell::heat {
namespace {

// Lower is better: the warmest place shows heating best, and the air nearest to it.
int lead_rank(const Placement& placement) {
  int rank = 0;
  switch (placement.zone) {
    case Zone::hot:
      rank = 0;
      break;
    case Zone::middle:
      rank = 2;
      break;
    case Zone::hide:
      rank = 4;
      break;
    default:
      rank = 6;
      break;
  }
  return rank + (placement.medium == Medium::surface ? 0 : 1);
}

bool is_lamp(const Heater& heater) {
  return heater.kind == "halogen" || heater.kind == "incandescent";
}

void add_once(std::vector<Index>& list, Index one) {
  if (one != none && std::find(list.begin(), list.end(), one) == list.end()) list.push_back(one);
}

bool feeds(const std::vector<Index>& enclosures, Index one) {
  return std::find(enclosures.begin(), enclosures.end(), one) != enclosures.end();
}

// What lights an enclosure by the settings; where they name no lamp, heaters that shine.
std::vector<Index> light_circuits(const Room& room, Index enclosure) {
  std::vector<Index> circuits;
  for (const Lamp& lamp : room.lamps) {
    if (feeds(lamp.enclosures, enclosure)) add_once(circuits, lamp.circuit);
  }
  if (!circuits.empty()) return circuits;
  for (const Heater& heater : room.heaters) {
    if (is_lamp(heater) && feeds(heater.enclosures, enclosure)) add_once(circuits, heater.circuit);
  }
  return circuits;
}

std::vector<Index> power_circuits(const Room& room, Index enclosure) {
  std::vector<Index> circuits;
  for (const Heater& heater : room.heaters) {
    if (feeds(heater.enclosures, enclosure)) add_once(circuits, heater.circuit);
  }
  return circuits;
}

}  // namespace

std::vector<Index> circuits_of_heaters(const Room& room, const std::vector<Index>& heaters) {
  std::vector<Index> circuits;
  for (const Index heater : heaters) add_once(circuits, room.heaters[heater].circuit);
  return circuits;
}

// ---- Built from the room ---------------------------------------------------------------------------------

OutageWatch::Inside::Inside(const Room& the_room) : room(the_room), units(units_of(the_room)) {
  enclosures.resize(room.enclosures.size());
  instruments.resize(room.instruments.size());
  unit_watches.resize(units.size());
  std::vector<int> best(enclosures.size(), 100);
  for (Index i = 0; i < room.channels.size(); ++i) {
    const Channel& channel = room.channels[i];
    if (channel.placements.empty()) continue;
    const Placement& placement = channel.placements.back();
    const bool in_room = placement.enclosure == none;
    if (channel.quantity == Quantity::temperature && in_room && placement.zone == Zone::room) {
      if (room_air.channel == none) room_air.channel = i;
    } else if (in_room) {
      continue;
    } else if (channel.quantity == Quantity::temperature) {
      if (lead_rank(placement) >= best[placement.enclosure]) continue;
      best[placement.enclosure] = lead_rank(placement);
      enclosures[placement.enclosure].lead = i;
    } else if (channel.quantity == Quantity::light) {
      lights.emplace_back().channel = i;
      lights.back().enclosure = placement.enclosure;
      lights.back().circuits = light_circuits(room, placement.enclosure);
    } else if (channel.quantity == Quantity::power) {
      powers.emplace_back().channel = i;
      powers.back().enclosure = placement.enclosure;
      powers.back().circuits = power_circuits(room, placement.enclosure);
    }
  }
  for (std::size_t u = 0; u < units.size(); ++u) {
    unit_watches[u].circuits = circuits_of_heaters(room, units[u].heaters);
    // Where the thermostat's own probe lies, if one of ours lies there too.
    Index place = units[u].thermostat == none ? none : room.thermostats[units[u].thermostat].probe_enclosure;
    if (place == none || enclosures[place].lead == none) {
      for (const Index enclosure : units[u].enclosures) {
        place = enclosure;
        if (enclosures[enclosure].lead != none) break;
      }
    }
    unit_watches[u].lead = enclosures[place].lead;
  }
}

OutageWatch::OutageWatch(const Room& room) : inside_(std::make_unique<Inside>(room)) {}
OutageWatch::~OutageWatch() = default;
OutageWatch::OutageWatch(OutageWatch&&) noexcept = default;
OutageWatch& OutageWatch::operator=(OutageWatch&&) noexcept = default;

const std::vector<Unit>& OutageWatch::units() const {
  return inside_->units;
}

Index OutageWatch::probe_of(Index enclosure) const {
  CHECK(enclosure < inside_->enclosures.size());
  return inside_->enclosures[enclosure].lead;
}

bool OutageWatch::busy() const {
  return !inside_->episodes.empty();
}

void OutageWatch::count_on_from(std::uint64_t last_number) {
  inside_->last_number = std::max(inside_->last_number, last_number);
}

Episode* OutageWatch::Inside::episode(std::uint64_t number) {
  for (Episode& one : episodes) {
    if (one.number == number) return &one;
  }
  return nullptr;
}

// ---- Readings --------------------------------------------------------------------------------------------

void OutageWatch::heard(Index index, double value, Stamp at) {
  Inside& in = *inside_;
  in.now = at;
  const Channel& channel = in.room.channels[index];
  in.hear_instrument(in.instruments[channel.instrument], at);
  switch (channel.quantity) {
    case Quantity::temperature:
      break;
    case Quantity::light:
      for (LightWatch& light : in.lights) {
        if (light.channel == index) in.hear_light(light, value, at);
      }
      return;
    case Quantity::power:
      for (PowerWatch& power : in.powers) {
        if (power.channel == index) in.hear_power(power, value, at);
      }
      return;
    default:
      return;
  }
  if (index == in.room_air.channel) in.hear_room(value, at);
  for (EnclosureWatch& enclosure : in.enclosures) {
    if (enclosure.lead != index) continue;
    enclosure.last_degc = value;
    enclosure.last_e = at.elapsed.ms;
  }
  for (UnitWatch& unit : in.unit_watches) {
    if (unit.lead != index) continue;
    unit.ring.push(at.elapsed, value,
                   unit.any && unit.course.judged ? unit.course.expected_degc : OutageLine::unknown);
    if (unit.out != 0 && !(value >= unit.lowest_degc)) {
      unit.lowest_degc = value;
      unit.lowest_e = at.elapsed.ms;
    }
  }
}

void OutageWatch::Inside::hear_instrument(InstrumentWatch& instrument, Stamp at) {
  constexpr std::uint32_t few = 10;
  const std::int64_t at_e = at.elapsed.ms;
  // All were silent though the broker was there: nobody could be heard.
  std::size_t known = 0;
  for (const InstrumentWatch& one : instruments) known += one.heard >= few ? 1 : 0;
  const std::int64_t limit_ms = std::max(shortest_outage_ms, 3 * any_interval_ms);
  if (last_any_e != INT64_MIN && known >= 2 && broker_connected && at_e - last_any_e > limit_ms) {
    Episode& gap = add_gap(OutageKind::network, utc(last_any_e), at.utc);
    gap.gap_words = "nothing was heard from any instrument, though the broker was there";
  }
  if (instrument.last_e != INT64_MIN) {
    // The usual pause: towards what is seen, however long a single one is.
    const std::int64_t pause_ms = std::clamp<std::int64_t>(at_e - instrument.last_e, 0, hour_ms);
    if (instrument.interval_ms == 0) instrument.interval_ms = pause_ms;
    if (pause_ms > instrument.interval_ms / 10)  // channels of one message come together
      instrument.interval_ms += std::clamp(pause_ms - instrument.interval_ms, -instrument.interval_ms / 8,
                                           std::max<std::int64_t>(instrument.interval_ms / 8, second_ms));
  }
  if (instrument.out != 0 && instrument.back_e == 0) instrument.back_e = at_e;
  instrument.last_e = at_e;
  ++instrument.heard;
  last_any_e = at_e;
  any_interval_ms =
      any_interval_ms == 0 ? instrument.interval_ms : std::min(any_interval_ms, instrument.interval_ms);
  any_interval_ms = std::max<std::int64_t>(any_interval_ms, second_ms);
}

void OutageWatch::Inside::hear_power(PowerWatch& power, double watts, Stamp at) const {
  constexpr double least_w = 0.5;  // what a meter shows of nothing
  constexpr double share_of_usual = 0.15;
  const double nothing_w = std::max(least_w, share_of_usual * power.usual_w);
  constexpr int steady_after = 20;  // readings: a heater in pulses shows zeros among them
  if (watts > nothing_w) {
    if (power.out != 0 && power.back_e == 0) power.back_e = at.elapsed.ms;
    power.drawing = std::min(power.drawing + 1, 100);
    power.nothing = 0;
    power.last_drawing_e = at.elapsed.ms;
    constexpr double fades = 0.9999;  // in a few days of half-minute readings
    power.usual_w = std::max(watts, fades * power.usual_w);
    return;
  }
  if (power.nothing == 0) {
    power.steady = power.drawing >= steady_after;
    power.went_after_e = power.last_drawing_e;
    power.first_nothing_e = at.elapsed.ms;
    power.drawing = 0;
  }
  power.nothing = std::min(power.nothing + 1, 1000);
}

// ---- Absence ---------------------------------------------------------------------------------------------

Episode& OutageWatch::Inside::add_gap(OutageKind kind, UtcMs from, UtcMs to) {
  // What is away already when nothing can be heard goes on.
  for (Episode& one : episodes) {
    if (one.record.stage != OutageStage::open) continue;
    one.changed = true;
    return one;
  }
  Episode& made = open(from);
  made.gap = kind;
  made.record.kind = kind;
  made.record.to = to;
  made.record.stage = OutageStage::ended;
  made.from_known_well = made.to_known_well = true;
  made.record.from_within_ms = made.record.to_within_ms = std::max<std::int64_t>(any_interval_ms, second_ms);
  return made;
}

void OutageWatch::broker(bool connected, std::string_view detail, Stamp at) {
  Inside& in = *inside_;
  in.now = at;
  if (!connected && in.broker_connected) {
    in.broker_lost_e = in.last_any_e == INT64_MIN ? at.elapsed.ms : in.last_any_e;
    in.broker_words = detail;
  }
  if (!connected && !detail.empty()) in.broker_words = detail;
  if (connected && !in.broker_connected && at.elapsed.ms - in.broker_lost_e >= shortest_outage_ms &&
      in.last_any_e != INT64_MIN) {
    Episode& gap = in.add_gap(OutageKind::broker, in.utc(in.broker_lost_e), at.utc);
    if (gap.gap == OutageKind::broker)
      gap.gap_words =
          "the broker could not be reached" + (in.broker_words.empty() ? "" : ": " + in.broker_words);
    in.last_any_e = at.elapsed.ms;  // what was silent meanwhile is accounted for
  }
  in.broker_connected = connected;
}

void OutageWatch::presence(Index instrument, bool present, Stamp at) {
  Inside& in = *inside_;
  CHECK(instrument < in.instruments.size());
  in.now = at;
  if (present && in.instruments[instrument].out != 0 && in.instruments[instrument].back_e == 0)
    in.instruments[instrument].back_e = at.elapsed.ms;
}

void OutageWatch::service_away(UtcMs last_alive, Stamp now, bool new_boot) {
  Inside& in = *inside_;
  in.now = now;
  if (!new_boot && now.utc - last_alive < shortest_outage_ms) return;
  Episode& gap = in.add_gap(OutageKind::service, last_alive, now.utc);
  if (gap.gap != OutageKind::service) return;
  gap.new_boot = new_boot;
  gap.from_this_boot = !new_boot;
  gap.held = true;
  gap.gap_words =
      new_boot ? "this service's machine was away and started anew" : "this service was not running";
  // Power came back to the machine when its elapsed clock began, or before: it counts from the boot on.
  if (new_boot && now.elapsed.ms >= 0 && now.elapsed.ms < hour_ms) gap.record.to = now.utc - now.elapsed.ms;
}

void OutageWatch::service_alive_until(UtcMs last_alive) {
  for (Episode& one : inside_->episodes) {
    if (one.gap != OutageKind::service || !one.held || !one.record.to) continue;
    if (last_alive > one.record.from && last_alive <= *one.record.to) one.record.from = last_alive;
  }
}

void OutageWatch::clock(bool trusted, bool sure, std::int64_t step_ms) {
  Inside& in = *inside_;
  in.trusted = trusted;
  in.sure = sure;
  if (step_ms == 0) return;
  in.now.utc = in.now.utc + step_ms;
  for (LightWatch& light : in.lights) light.course.shift_clock(step_ms);
  for (Episode& one : in.episodes) {
    if (one.from_this_boot) one.record.from = one.record.from + step_ms;
    if (one.to_this_boot && one.record.to) one.record.to = *one.record.to + step_ms;
    for (LineWatch& watch : one.lines) {
      if (watch.back_this_boot && watch.line.back_at) watch.line.back_at = *watch.line.back_at + step_ms;
    }
    one.changed = true;
  }
}

// Clearly below all that is normal for it. The heat watch's own word is for its charts: it may begin with a
// blip.
bool OutageWatch::Inside::is_below(const UnitWatch& unit) const {
  // A colder room than usual makes all a little colder: that is no cut.
  const double below_k = unit.course.expected_degc - unit.course.degc - std::max(0.0, room_air.colder_k);
  if (unit.lead == none || !unit.course.judged || !std::isfinite(below_k)) return false;
  constexpr double clearly_k = 0.3;
  constexpr double not_yet_known_k = 1.5;
  const EnclosureCourse& place = enclosures[room.channels[unit.lead].placements.back().enclosure].course;
  return below_k > (place.judged ? normal_below_k(place) + clearly_k : not_yet_known_k);
}

void OutageWatch::unit(Index index, const UnitCourse& course) {
  Inside& in = *inside_;
  CHECK(index < in.unit_watches.size());
  UnitWatch& unit = in.unit_watches[index];
  unit.course = course;
  unit.any = course.at.ms != INT64_MIN;
  unit.course.below = in.is_below(unit);
  if (!unit.course.below) unit.below_since_e = INT64_MIN;
  if (unit.course.below && unit.below_since_e == INT64_MIN) unit.below_since_e = in.now.elapsed.ms;
  // Its usual warm-up: the steepest of a day, over the days.
  if (!(course.warming_k_per_h > unit.day_most_k_per_h) && unit.day_of_most != INT64_MIN &&
      in.now.elapsed.ms - unit.day_of_most < day_ms)
    return;
  if (unit.day_of_most == INT64_MIN || in.now.elapsed.ms - unit.day_of_most >= day_ms) {
    constexpr double newest = 0.3;
    if (unit.day_of_most != INT64_MIN && unit.day_most_k_per_h > 0) {
      unit.usual_k_per_h = std::isnan(unit.usual_k_per_h)
                               ? unit.day_most_k_per_h
                               : unit.usual_k_per_h + newest * (unit.day_most_k_per_h - unit.usual_k_per_h);
    }
    unit.day_of_most = in.now.elapsed.ms;
    unit.day_most_k_per_h = 0;
  }
  if (course.warming_k_per_h > unit.day_most_k_per_h && unit.out == 0)
    unit.day_most_k_per_h = course.warming_k_per_h;
}

void OutageWatch::enclosure(Index index, const EnclosureCourse& course) {
  Inside& in = *inside_;
  CHECK(index < in.enclosures.size());
  EnclosureWatch& enclosure = in.enclosures[index];
  enclosure.course = course;
  const bool first = enclosure.course_e == INT64_MIN;
  const std::int64_t pause_ms = first ? 0 : std::min(in.now.elapsed.ms - enclosure.course_e, day_ms);
  enclosure.course_e = in.now.elapsed.ms;
  in.follow_drop(enclosure);
  const double off_k = course.degc - course.expected_degc;
  if (!course.judged || !std::isfinite(off_k)) return;
  for (const Episode& one : in.episodes) {
    if (one.heat && one.record.stage < OutageStage::settled) return;  // not how it usually keeps
  }
  const double share = 1 - std::exp(-static_cast<double>(pause_ms) / day_ms);
  enclosure.before_k += share * (off_k - enclosure.before_k);
}

}  // namespace baskwell::heat
