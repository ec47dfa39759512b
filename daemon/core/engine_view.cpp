// What people see of the state: alarms in words, the room as a table. Nothing here changes anything.

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>
#include <utility>

#include "core/engine_state.h"

namespace baskwell {
namespace {

constexpr double not_known = std::numeric_limits<double>::quiet_NaN();

double finite_or_nan(double value) {
  return std::isfinite(value) ? value : not_known;
}

std::string_view zone_words(Zone zone) {
  switch (zone) {
    case Zone::hot:
      return "hot spot";
    case Zone::middle:
      return "middle";
    case Zone::cool:
      return "cool end";
    case Zone::hide:
      return "hide";
    case Zone::water:
      return "water";
    case Zone::eggs:
      return "eggs";
    case Zone::room:
      return "air";
  }
  return "";
}

std::string one_decimal(double value) {
  std::array<char, 32> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, 1).ptr;
  return {text.data(), end};
}

// Of a heater that the keeper gave no name (the settings put its id there): what it is, in the trade's words.
std::string_view kind_words(const std::string& kind) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 8> words{{
      {"mat", "heat mat"},
      {"cable", "heat cable"},
      {"tape", "heat tape"},
      {"ceramic", "ceramic heater"},
      {"panel", "heat panel"},
      {"halogen", "halogen lamp"},
      {"incandescent", "incandescent lamp"},
      {"tubular", "tubular heater"},
  }};
  const auto* const found =
      std::find_if(words.begin(), words.end(), [&](const auto& each) { return each.first == kind; });
  return found == words.end() ? "heater" : found->second;
}

// "4", "S2", but a keeper may also have written "socket 4" or "left plug".
bool says_what_it_is(const std::string& socket) {
  return socket.find("ocket") != std::string::npos || socket.find("lug") != std::string::npos;
}

// "heat mat at socket 4"; by its name or id where that alone can tell which one it is.
std::string heater_words(const Heater& heater) {
  const bool named = !heater.name.empty() && heater.name != heater.id;
  std::string words = named ? heater.name : std::string(kind_words(heater.kind));
  if (heater.socket.empty()) return named ? words : words + " " + heater.id;
  return words + (says_what_it_is(heater.socket) ? " at " : " at socket ") + heater.socket;
}

std::string thermostat_words(const Thermostat& thermostat) {
  std::string words = thermostat.name.empty() ? thermostat.id : thermostat.name;
  if (thermostat.set_day_degc) {
    words += " (set " + one_decimal(*thermostat.set_day_degc);
    if (thermostat.set_night_degc && *thermostat.set_night_degc != *thermostat.set_day_degc) {
      words += ", by night " + one_decimal(*thermostat.set_night_degc);
    }
    words += " °C)";
  }
  return words;
}

bool heats(const Heater& heater, Index enclosure) {
  return std::find(heater.enclosures.begin(), heater.enclosures.end(), enclosure) != heater.enclosures.end();
}

struct Company {
  std::string names;         // "Lena, Lola", without species where there are names
  std::string with_species;  // "Lena, Lola, leopard gecko"; "Lena, leopard gecko; Moss, crested gecko"
};

Company company_in(const Room& room, Index enclosure, UtcMs at) {
  constexpr std::size_t most_named = 3;
  Company company;
  std::vector<std::pair<std::string, std::string>> groups;  // species, names
  std::size_t count = 0;
  bool alike = true;
  for (const Occupancy& stay : room.occupancies) {
    if (stay.enclosure != enclosure || !stay.span.holds(at)) continue;
    const Animal& animal = room.animals[stay.animal];
    const std::string& species = animal.species_name.empty() ? animal.species : animal.species_name;
    if (!groups.empty() && groups.back().first != species) alike = false;
    if (++count > most_named) continue;
    company.names += (count > 1 ? ", " : "") + (animal.name.empty() ? species : animal.name);
    if (groups.empty() || groups.back().first != species || animal.name.empty()) {
      groups.emplace_back(species, animal.name);
    } else {
      groups.back().second += (groups.back().second.empty() ? "" : ", ") + animal.name;
    }
  }
  const std::string more =
      count > most_named ? " and " + std::to_string(count - most_named) + " more" : std::string();
  company.names += more;
  alike = alike && groups.size() == 1;
  for (const auto& [species, names] : groups) {
    company.with_species += company.with_species.empty() ? "" : "; ";
    company.with_species += names;
    if (alike) company.with_species += more;
    company.with_species += (names.empty() ? "" : ", ") + species;
  }
  if (!alike) company.with_species += more;
  return company;
}

}  // namespace

std::string place_name(const Enclosure& enclosure) {
  return enclosure.name.empty() ? enclosure.id : enclosure.name;
}

std::string Engine::State::animals_in(Index enclosure, UtcMs at) const {
  return company_in(*room, enclosure, at).with_species;
}

void Engine::State::describe_heating(Index enclosure, AlarmView& view) const {
  for (std::size_t i = 0; i < room->heaters.size(); ++i) {
    const Heater& heater = room->heaters[i];
    if (!heats(heater, enclosure)) continue;
    view.heaters.push_back(heater_words(heater));
    if (heater.circuit != none && view.circuit.empty()) {
      const Circuit& circuit = room->circuits[heater.circuit];
      view.circuit = circuit.name.empty() ? circuit.id : circuit.name;
    }
    for (const Thermostat& thermostat : room->thermostats) {
      if (std::find(thermostat.heaters.begin(), thermostat.heaters.end(), i) == thermostat.heaters.end())
        continue;
      std::string words = thermostat_words(thermostat);
      if (std::find(view.thermostats.begin(), view.thermostats.end(), words) != view.thermostats.end())
        continue;
      view.thermostats.push_back(std::move(words));
      for (const Index other : thermostat.heaters) {
        for (const Index fed : room->heaters[other].enclosures) {
          if (fed != enclosure) view.also_fed.push_back(place_name(room->enclosures[fed]));
        }
      }
    }
  }
}

void Engine::State::describe_place(const Point& point, Stamp at, AlarmView& view) const {
  Index enclosure = none;
  bool placed = false;
  if (point.spot != none) {
    const SpotKey& key = spots[point.spot].key;
    enclosure = key.enclosure;
    placed = true;
    view.zone_key = key.zone;
    view.zone = zone_words(key.zone);
    view.quantity = key.quantity;
    if (key.medium != Medium::air) view.medium = name_of(key.medium);
    const std::vector<Index>& members = spots[point.spot].members;
    view.rate_per_hour =
        members.empty() ? not_known : channels[members.front()].recent.rate_per_hour(at.elapsed);
  } else if (point.channel != none) {
    const Channel& channel = room->channels[point.channel];
    view.quantity = channel.quantity;
    const ProbeState& probe = channels[point.channel].probe;
    if (probe.heard) view.value = finite_or_nan(probe.last_good);
    // A channel that was never heard has not been placed by a reading yet.
    Index index = channels[point.channel].placement;
    if (index == none) index = placement_at(point.channel, at.utc);
    if (index != none) {
      const Placement& placement = channel.placements[index];
      enclosure = placement.enclosure;
      view.zone_key = placement.zone;
      view.zone = zone_words(placement.zone);
      placed = true;
    }
  }
  if (enclosure != none) {
    const Enclosure& place = room->enclosures[enclosure];
    view.place = place_name(place);
    view.place_id = place.id;
    Company company = company_in(*room, enclosure, at.utc);
    view.animal = std::move(company.with_species);
    view.animal_names = std::move(company.names);
    describe_heating(enclosure, view);
  } else if (placed) {
    view.place = "the room";
    view.place_id = "room";
  }
}

AlarmView Engine::State::describe(const Point& point, Stamp at) const {
  AlarmView view;
  view.occurrence = occurrence_name(point.state.occurrence);
  view.kind = point.kind;
  view.state = point.state.state;
  view.priority = priority_of(point);
  view.level = point.state.level;
  view.subject = point.subject;
  view.detail = point.detail;
  view.other = point.other;
  view.since = point.state.began;
  view.raised = point.state.raised;
  view.now = at.utc;
  view.rate_per_hour = not_known;
  view.value = view.worst = view.target_limit = view.harm_limit = not_known;
  describe_place(point, at, view);
  if (point.spot != none) {
    const bool high = is_high_side(point.kind);
    // Not the spot's own segment: after a restart no reading has asked for one yet.
    const Wanted wanted = segment_at(*room, spots[point.spot].key, at.utc).at(at.utc);
    view.value = finite_or_nan(point.state.value);
    view.target_limit = finite_or_nan(point.state.limit);
    view.harm_limit = finite_or_nan(high ? wanted.harm_high : wanted.harm_low);
    view.worst = finite_or_nan(point.state.worst_value);
  }
  return view;
}

SpotView Engine::State::view_of(const Spot& spot, Index index, Stamp at) const {
  const ChannelState& channel = channels[index];
  const Channel& fixed = room->channels[index];
  SpotView view;
  view.enclosure_id = spot.key.enclosure == none ? "room" : room->enclosures[spot.key.enclosure].id;
  view.enclosure = spot.key.enclosure == none ? "Room air" : place_name(room->enclosures[spot.key.enclosure]);
  if (spot.key.enclosure != none) view.animal = animals_in(spot.key.enclosure, at.utc);
  view.zone = zone_words(spot.key.zone);
  view.zone_key = spot.key.zone;
  view.medium = name_of(spot.key.medium);
  view.quantity = spot.key.quantity;
  view.channel = fixed.id;
  view.value = channel.probe.heard ? channel.probe.last_good : not_known;
  const BandSegment segment = segment_at(*room, spot.key, at.utc);
  const Wanted wanted = segment.at(at.utc);
  view.day = segment.day;
  view.target_low = finite_or_nan(wanted.low);
  view.target_high = finite_or_nan(wanted.high);
  view.harm_low = finite_or_nan(wanted.harm_low);
  view.harm_high = finite_or_nan(wanted.harm_high);
  if (channel.probe.heard) view.age_ms = std::max<std::int64_t>(0, at.elapsed - channel.probe.last_good_at);
  view.fresh = channel.probe.heard &&
               view.age_ms < silence_limit_ms(channel.probe, room->instruments[fixed.instrument]);
  for (const Index point :
       {spot.low_point, spot.high_point, channel.silent_point, channel.implausible_point}) {
    if (point == none || points[point].state.state == AlarmState::normal) continue;
    if (points[point].state.level < view.level || !view.alarm.empty()) continue;
    view.level = points[point].state.level;
    view.alarm = row_of(points[point].kind).name;
  }
  return view;
}

RoomView Engine::view(Stamp now) const {
  RoomView view;
  view.at = now.utc;
  view.name = state_->room->name;
  view.broker_connected = state_->broker_connected;
  for (Index i = 0; i < state_->channels.size(); ++i) {
    // Where nothing was heard yet, the placement of now tells where it should be.
    Index spot = state_->channels[i].spot;
    const Index placed = spot == none ? state_->placement_at(i, now.utc) : none;
    if (placed != none) {
      const Placement& placement = state_->room->channels[i].placements[placed];
      const SpotKey key{placement.enclosure, placement.zone, placement.medium,
                        state_->room->channels[i].quantity};
      const auto found = std::find_if(state_->spots.begin(), state_->spots.end(),
                                      [&](const Spot& s) { return s.key == key; });
      if (found != state_->spots.end()) spot = static_cast<Index>(found - state_->spots.begin());
    }
    if (spot != none) view.spots.push_back(state_->view_of(state_->spots[spot], i, now));
  }
  for (const Point& point : state_->points) {
    if (point.state.state != AlarmState::normal) view.alarms.push_back(state_->describe(point, now));
  }
  view.graces = state_->graces_at(now);
  // Worst first; among equals the newest first.
  std::stable_sort(view.alarms.begin(), view.alarms.end(), [](const AlarmView& a, const AlarmView& b) {
    if (a.priority != b.priority) return a.priority > b.priority;
    return a.raised > b.raised;
  });
  return view;
}

}  // namespace baskwell
