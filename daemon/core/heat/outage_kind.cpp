// Which outage it is, told apart by what else went on, and the evidence in words.

#include <algorithm>
#include <cmath>
#include <set>

#include "core/alarm/message_text.h"
#include "core/heat/outage_inside.h"

namespace baskwell::heat {
namespace {

// Of free falls that are no faster than this nothing can be said within an hour.
constexpr double flat_k_per_h = -0.6;
constexpr double warmer_than_room_k = 4;
constexpr std::int64_t heat_fades_ms = 8 * minute_ms;  // what an element still gives after it went off
constexpr std::int64_t all_show_by_ms = 75 * minute_ms;
constexpr std::int64_t still_shows_ms = 15 * minute_ms;  // after its end

using Circuits = std::vector<Index>;

bool has(const Circuits& list, Index one) {
  return std::find(list.begin(), list.end(), one) != list.end();
}

// What is common to all that are out and to none that holds.
struct Witnesses {
  std::vector<Circuits> out, holding;
  std::size_t undecided = 0;
  bool only_lights = true;
  bool units_hold_on_same = false;
};

Circuits circuits_that_tell(const Room& room, const Witnesses& seen) {
  Circuits found;
  for (Index c = 0; c < room.circuits.size(); ++c) {
    const bool all_out = std::all_of(seen.out.begin(), seen.out.end(),
                                     [&](const Circuits& one) { return one.empty() || has(one, c); });
    const bool any_out =
        std::any_of(seen.out.begin(), seen.out.end(), [&](const Circuits& one) { return has(one, c); });
    const bool held = std::any_of(seen.holding.begin(), seen.holding.end(),
                                  [&](const Circuits& one) { return has(one, c); });
    if (all_out && any_out && !held) found.push_back(c);
  }
  if (!found.empty()) return found;
  // Not as clear: what most of the dead hang on, where hardly anything on it lives.
  const auto count = [](const std::vector<Circuits>& list, Index c) {
    return std::count_if(list.begin(), list.end(), [&](const Circuits& one) { return has(one, c); });
  };
  for (Index c = 0; c < room.circuits.size(); ++c) {
    if (count(seen.out, c) >= 2 && count(seen.out, c) > 2 * count(seen.holding, c)) found.push_back(c);
  }
  return found;
}

Circuits all_out_circuits(const Witnesses& seen) {
  Circuits found;
  for (const Circuits& one : seen.out) {
    for (const Index c : one) {
      if (!has(found, c)) found.push_back(c);
    }
  }
  return found;
}

std::string ids_of(const Room& room, const Circuits& circuits) {
  std::string ids;
  for (const Index c : circuits) ids += (ids.empty() ? "" : "+") + room.circuits[c].id;
  return ids;
}

std::string place_of(const Room& room, const Unit& unit) {
  if (unit.enclosures.size() == 1) return place_name_of(room.enclosures[unit.enclosures.front()]);
  if (unit.thermostat != none) return room.thermostats[unit.thermostat].name;
  return room.heaters[unit.heaters.front()].name;
}

}  // namespace

std::string place_name_of(const Enclosure& enclosure) {
  return enclosure.name.empty() ? enclosure.id : enclosure.name;
}

// Whether it would show within an hour or so that its heating is off.
bool OutageWatch::Inside::able(const UnitWatch& unit) const {
  if (!unit.any || !unit.course.judged || !std::isfinite(unit.course.expected_degc)) return false;
  if (std::isnan(room_air.air_degc)) return true;
  return unit.course.expected_degc - room_air.air_degc >= warmer_than_room_k;
}

bool OutageWatch::Inside::holds(const UnitWatch& unit, const Episode& episode, std::int64_t since_e) const {
  if (unit.out == episode.number || unit.course.below) return false;
  constexpr double astray_k = 2;  // it should be warming, and is not
  if (!episode.gap && unit.course.expected_degc - unit.course.degc > astray_k) return false;
  const std::int64_t from_e = std::max(elapsed(episode.record.from), since_e) + heat_fades_ms;
  std::int64_t to_e = now.elapsed.ms;
  if (episode.record.to) to_e = std::min(to_e, elapsed(*episode.record.to));
  // Beyond lights-off it may be warm enough without heat.
  if (unit.lead != none) {
    const Index place = room.channels[unit.lead].placements.back().enclosure;
    const LightPhase phase =
        light_phase(room.enclosures[place].lights, room.clock, utc(from_e - heat_fades_ms));
    if (phase.until.ms != INT64_MAX && !episode.gap) to_e = std::min(to_e, elapsed(phase.until));
  }
  if (episode.gap) {  // nothing was heard within it: what is seen afterwards must tell
    constexpr std::int64_t cools_in_ms = 20 * minute_ms;
    return to_e - from_e > cools_in_ms && now.elapsed.ms > to_e;
  }
  constexpr std::int64_t least_ms = 10 * minute_ms;
  if (to_e - from_e < least_ms) return false;
  if (to_e - from_e > all_show_by_ms) return true;
  constexpr double by_heat_k = 0.4;
  if (unit.ring.rises_by(by_heat_k, from_e, to_e)) return true;
  const double slope = unit.ring.slope_k_per_h(from_e, to_e);
  return slope > flat_k_per_h;
}

void OutageWatch::Inside::see_who_holds(Episode& episode) {
  using Stand = Episode::Stand;
  episode.stands.resize(unit_watches.size(), Stand::cannot_tell);
  episode.able_e.resize(unit_watches.size(), 0);
  episode.able_degc.resize(unit_watches.size(), 0);
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    Stand& stand = episode.stands[i];
    if (stand == Stand::cannot_tell && (!episode.record.to || episode.gap) && able(unit_watches[i])) {
      stand = Stand::undecided;
      episode.able_e[i] = now.elapsed.ms;
      episode.able_degc[i] = unit_watches[i].course.expected_degc;
      if (now.elapsed.ms - episode.opened_e < 2 * minute_ms) episode.able_e[i] = elapsed(episode.record.from);
    }
    if (stand == Stand::cannot_tell) continue;
    // It cools at this hour, heated or not: that it keeps to its course says nothing.
    constexpr double cools_anyway_k = 0.7;
    if (!episode.gap && unit_watches[i].course.expected_degc < episode.able_degc[i] - cools_anyway_k)
      continue;
    stand = holds(unit_watches[i], episode, episode.gap ? 0 : episode.able_e[i]) ? Stand::holds
                                                                                 : Stand::undecided;
  }
  if (episode.gap || episode.record.to) return;
  // All the time: what is lit or draws again when the power returns did not hold.
  const bool first = episode.lit.size() != lights.size() || episode.drawn.size() != powers.size();
  episode.lit.resize(lights.size(), true);
  episode.drawn.resize(powers.size(), true);
  for (std::size_t i = 0; i < lights.size(); ++i)
    episode.lit[i] = (first || episode.lit[i]) && lights[i].course.known() && lights[i].course.lit();
  for (std::size_t i = 0; i < powers.size(); ++i)
    episode.drawn[i] = (first || episode.drawn[i]) && powers[i].drawing > 0;
}

void OutageWatch::Inside::name_kind(Episode& episode) {
  OutageRecord& record = episode.record;
  if (record.kind == OutageKind::room_heating) {
    record.confidence = 0.9;
    record.evidence =
        "the room's air fell for hours; " +
        std::string(units.empty() ? "nothing here is heated by itself" : "the enclosures' own heating held");
    return;
  }
  const bool frozen = record.to && now.elapsed.ms - elapsed(*record.to) > still_shows_ms;
  if (frozen && episode.stands.empty()) return;  // taken up after a restart: what was found then stays
  if (!frozen) see_who_holds(episode);
  Witnesses seen;
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    if (unit_watches[i].out == episode.number) {
      seen.out.push_back(unit_watches[i].circuits);
      seen.only_lights = false;
    } else if (episode.stands[i] == Episode::Stand::holds) {
      seen.holding.push_back(unit_watches[i].circuits);
    } else if (episode.stands[i] == Episode::Stand::undecided) {
      ++seen.undecided;
    }
  }
  for (std::size_t i = 0; i < lights.size(); ++i) {
    if (lights[i].out == episode.number) {
      seen.out.push_back(lights[i].circuits);
    } else if (i < episode.lit.size() && episode.lit[i]) {
      seen.holding.push_back(lights[i].circuits);
    }
  }
  for (std::size_t i = 0; i < powers.size(); ++i) {
    if (powers[i].out == episode.number) {
      seen.out.push_back(powers[i].circuits);
      seen.only_lights = false;
    } else if (i < episode.drawn.size() && episode.drawn[i]) {
      seen.holding.push_back(powers[i].circuits);
    }
  }
  const OutageKind kind_before = record.kind;
  record.other.reset();
  if (!episode.heat) {
    const bool long_enough = record.to && *record.to - record.from > 20 * minute_ms && !seen.holding.empty();
    record.kind = episode.gap.value_or(OutageKind::network);
    record.confidence = long_enough ? 0.95 : 0.6;
    const bool machine = record.kind == OutageKind::service;
    if (record.kind == OutageKind::broker) {
      const bool refused = episode.gap_words.find("refused") != std::string::npos;
      record.other = refused ? std::nullopt : std::optional(OutageKind::network);
      if (refused && !long_enough) record.confidence = 0.8;
    } else if (!long_enough && (!machine || episode.new_boot)) {
      record.other = episode.gap ? OutageKind::mains : OutageKind::circuit;
    } else if (machine) {
      record.confidence = 0.95;
    }
  } else if (seen.holding.empty()) {
    const Circuits out = all_out_circuits(seen);
    record.kind = OutageKind::mains;
    record.circuit.clear();
    record.confidence = seen.undecided == 0 ? 0.95 : 0.8;
    if (out.size() == 1 && room.circuits.size() > 1 && !episode.gap) {
      record.other = OutageKind::circuit;
      record.circuit = ids_of(room, out);
      record.confidence = 0.7;
    }
  } else {
    const Circuits telling = circuits_that_tell(room, seen);
    record.kind = OutageKind::circuit;
    record.circuit = ids_of(room, telling);
    record.confidence = telling.size() == 1 ? 0.95 : 0.75;
    const bool contrary = std::any_of(seen.holding.begin(), seen.holding.end(), [&](const Circuits& one) {
      return std::any_of(one.begin(), one.end(), [&](Index c) { return has(telling, c); });
    });
    if (contrary) record.confidence = 0.7;
    if (seen.only_lights) record.confidence = 0.6;
  }
  episode.changed = episode.changed || record.kind != kind_before;
  record.evidence = evidence_of(episode);
}

std::string OutageWatch::Inside::evidence_of(const Episode& episode) const {
  std::vector<std::string> parts;
  if (!episode.gap_words.empty()) parts.push_back(episode.gap_words);
  std::vector<std::string> fell, dark, never_lit, silent, held;
  for (std::size_t i = 0; i < units.size(); ++i) {
    if (unit_watches[i].out == episode.number) fell.push_back(place_of(room, units[i]));
    if (episode.heat && episode.stands[i] == Episode::Stand::holds && unit_watches[i].out != episode.number)
      held.push_back(place_of(room, units[i]));
  }
  for (const LightWatch& one : lights) {
    if (one.out == episode.number)
      (one.dark_before_e == 0 ? never_lit : dark).push_back(place_name_of(room.enclosures[one.enclosure]));
  }
  for (std::size_t i = 0; i < instruments.size(); ++i) {
    if (instruments[i].out == episode.number) silent.push_back(room.instruments[i].name);
  }
  constexpr std::size_t shown = 4;
  if (!fell.empty()) {
    parts.push_back((episode.gap ? "cooled meanwhile: " : "began to cool together: ") +
                    list_text(fell, shown));
  }
  if (!dark.empty()) parts.push_back("lights went dark together: " + list_text(dark, shown));
  if (!never_lit.empty()) parts.push_back("lights did not come on: " + list_text(never_lit, shown));
  for (const PowerWatch& one : powers) {
    if (one.out == episode.number)
      parts.push_back("the heater of " + place_name_of(room.enclosures[one.enclosure]) + " drew nothing");
  }
  if (!silent.empty()) parts.push_back("silent from the same moment: " + list_text(silent, shown));
  if (!held.empty()) parts.push_back("held: " + list_text(held, shown));
  if (parts.empty()) {
    return "it went while nothing else could be seen";
  }
  if (!episode.heat) parts.emplace_back("nothing cooled");
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : "; ") + part;
  return text;
}

}  // namespace baskwell::heat
