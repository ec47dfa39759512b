// What no single part of the file can see: topics that carry the same value twice (an error), and what is not
// wrong but doubtful (warnings). The trade's rules name their source beside them.

#include <algorithm>
#include <cmath>
#include <map>

#include "settings/draft.h"

namespace baskwell::settings {
namespace {

bool is_lamp_heater(const Heater& heater) {
  return heater.kind == "halogen" || heater.kind == "incandescent";
}

// Pairing after the husbandry reference 3.1: read in a trade magazine, a keepers' page and two retail pages.
std::string pairing_mistake(ThermostatKind thermostat, const Heater& heater) {
  if (is_lamp_heater(heater) && thermostat == ThermostatKind::on_off)
    return "an on-off thermostat makes a lamp flash and wears it out";
  if (is_lamp_heater(heater) && thermostat == ThermostatKind::pulse_proportional)
    return "a pulse-proportional thermostat makes a lamp flicker and wears it out";
  const bool pulse_kind = heater.kind == "ceramic" || heater.kind == "panel" || heater.kind == "tubular";
  if (pulse_kind && thermostat == ThermostatKind::on_off)
    return "an on-off thermostat shortens the heater's life";
  return "";
}

std::string fitting_thermostat(const Heater& heater) {
  if (is_lamp_heater(heater)) return "dimming";
  return heater.kind == "panel" ? "pulse-proportional, dimming" : "pulse-proportional";
}

void doubt_pairings(Draft& draft) {
  const Room& room = draft.settings.room;
  for (std::size_t i = 0; i < room.thermostats.size(); ++i) {
    const Thermostat& thermostat = room.thermostats[i];
    if (draft.report.has_error_at(draft.thermostat_origins[i].key + ".kind")) continue;
    for (const Index heater : thermostat.heaters) {
      const std::string mistake = pairing_mistake(thermostat.kind, room.heaters[heater]);
      if (mistake.empty()) continue;
      const Origin& origin = draft.thermostat_origins[i];
      draft.report.warn(origin.at, origin.key,
                        "does not fit the " + room.heaters[heater].kind + " heater " +
                            room.heaters[heater].id + ": " + mistake,
                        fitting_thermostat(room.heaters[heater]));
    }
  }
}

// Whether a thermostat or cut-out may belong to a heater that its own mistake does not name.
bool is_regulation_unclear(const Report& report) {
  const std::vector<Finding>& findings = report.findings();
  return std::any_of(findings.begin(), findings.end(), [](const Finding& finding) {
    for (const std::string_view section : {"thermostats", "cutouts"}) {
      if (!finding.error || !is_at_or_under(finding.key, section)) continue;
      const std::string_view rest = std::string_view(finding.key).substr(section.size());
      const bool whole_thing = std::count(rest.begin(), rest.end(), '.') < 2;  // no id, no table
      if (whole_thing || rest.find(".heater") != std::string_view::npos) return true;
    }
    return false;
  });
}

// Every heater needs its own thermostat and an independent high cut-out (design, safety words).
void doubt_unregulated(Draft& draft) {
  if (is_regulation_unclear(draft.report)) return;
  const Room& room = draft.settings.room;
  std::vector<bool> regulated(room.heaters.size(), false);
  for (const Thermostat& thermostat : room.thermostats) {
    for (const Index heater : thermostat.heaters) regulated[heater] = true;
  }
  for (const CutOut& cut_out : room.cut_outs) {
    for (const Index heater : cut_out.heaters) regulated[heater] = true;
  }
  for (std::size_t i = 0; i < room.heaters.size(); ++i) {
    const HeaterOrigin& origin = draft.heater_origins[i];
    if (regulated[i] || origin.unregulated_on_purpose) continue;
    draft.report.warn(origin.origin.at, origin.origin.key,
                      is_lamp_heater(room.heaters[i])
                          ? "is a lamp that heats, with neither thermostat nor cut-out"
                          : "has neither thermostat nor cut-out",
                      "a thermostat, a cut-out, or the keeper's reason in unregulated_because");
  }
}

void doubt_cut_outs(Draft& draft) {
  const Room& room = draft.settings.room;
  for (std::size_t i = 0; i < room.cut_outs.size(); ++i) {
    const CutOut& cut_out = room.cut_outs[i];
    if (!cut_out.set_degc) continue;
    for (const Thermostat& thermostat : room.thermostats) {
      const double set_degc =
          std::max(thermostat.set_day_degc.value_or(-300), thermostat.set_night_degc.value_or(-300));
      const bool shares =
          std::any_of(thermostat.heaters.begin(), thermostat.heaters.end(), [&](Index heater) {
            return std::find(cut_out.heaters.begin(), cut_out.heaters.end(), heater) != cut_out.heaters.end();
          });
      if (!shares || *cut_out.set_degc > set_degc) continue;
      const Origin& origin = draft.cut_out_origins[i];
      draft.report.warn(origin.at, origin.key,
                        "opens at " + text_of_number(*cut_out.set_degc) + " degC, not above the setting of " +
                            thermostat.id,
                        "above " + text_of_number(set_degc) + " degC");
    }
  }
}

// A bare sensor under a basking lamp reads 3 to 10 degC over air (husbandry reference 5, calculated there).
void doubt_bare_probes(Draft& draft) {
  const Room& room = draft.settings.room;
  std::vector<const Heater*> lamp_over(room.enclosures.size(), nullptr);
  for (const Heater& heater : room.heaters) {
    for (const Index enclosure : heater.enclosures) {
      if (is_lamp_heater(heater)) lamp_over[enclosure] = &heater;
    }
  }
  for (std::size_t i = 0; i < room.channels.size(); ++i) {
    if (room.channels[i].quantity != Quantity::temperature ||
        draft.report.has_error_at(draft.channel_origins[i].key + ".medium"))
      continue;
    for (const Placement& placement : room.channels[i].placements) {
      if (placement.enclosure == none || placement.zone != Zone::hot || placement.medium != Medium::air)
        continue;
      const Heater* lamp = lamp_over[placement.enclosure];
      if (lamp == nullptr) continue;
      const Origin& origin = draft.channel_origins[i];
      draft.report.warn(
          origin.at, origin.key,
          "an air probe in the hot zone under the lamp " + lamp->id + " reads high, by 3 to 10 degC",
          "medium = \"surface\" for a basking figure, or a shielded probe elsewhere");
      break;
    }
  }
}

void doubt_people(Draft& draft, TableReader& root) {
  if (draft.settings.room.people.empty() && !root.has("people"))
    draft.report.warn(Place{}, "people", "there is nobody to tell", "people.ID with a channel");
}

double tighter_low(double a, double b) {
  return std::isnan(a) ? b : std::isnan(b) ? a : std::max(a, b);
}
double tighter_high(double a, double b) {
  return std::isnan(a) ? b : std::isnan(b) ? a : std::min(a, b);
}
bool is_empty(const Range& a, const Range& b) {
  return tighter_low(a.low, b.low) > tighter_high(a.high, b.high);  // false where either is NaN
}

// The spot at which two animals want what cannot both be; "" when there is none.
std::string disagreement(const Enclosure& enclosure, const Animal& a, const Animal& b) {
  for (const Band& mine : a.bands) {
    for (const Band& other : b.bands) {
      const bool same_spot = mine.zone == other.zone && mine.quantity == other.quantity &&
                             (!mine.medium || !other.medium || mine.medium == other.medium);
      if (!same_spot || (!is_empty(mine.day, other.day) && !is_empty(mine.night, other.night))) continue;
      const bool overridden =
          std::any_of(enclosure.overrides.begin(), enclosure.overrides.end(), [&](const Band& band) {
            return band.zone == mine.zone && band.quantity == mine.quantity &&
                   (!band.medium || band.medium == mine.medium);
          });
      if (!overridden) return std::string(name_of(mine.zone)) + ' ' + std::string(name_of(mine.quantity));
    }
  }
  return "";
}

void doubt_company(Draft& draft) {
  const Room& room = draft.settings.room;
  std::map<Index, std::vector<const Occupancy*>> stays_in;
  for (const Occupancy& stay : room.occupancies) stays_in[stay.enclosure].push_back(&stay);
  for (const auto& [enclosure, stays] : stays_in) {
    for (std::size_t i = 0; i < stays.size(); ++i) {
      for (std::size_t j = 0; j < i; ++j) {
        const Occupancy& a = *stays[j];
        const Occupancy& b = *stays[i];
        if (a.animal == b.animal || !(a.span.from < b.span.to && b.span.from < a.span.to)) continue;
        const std::string spot =
            disagreement(room.enclosures[enclosure], room.animals[a.animal], room.animals[b.animal]);
        if (spot.empty()) continue;
        const Origin& origin = draft.animal_origins[b.animal].origin;
        draft.report.warn(origin.at, origin.key,
                          "wants what " + room.animals[a.animal].id +
                              " in the same enclosure must not have: no " + spot + " suits both",
                          "bands of the enclosure's own, or another enclosure");
      }
    }
  }
}

void doubt_lights(Draft& draft) {
  const Room& room = draft.settings.room;
  for (const Occupancy& stay : room.occupancies) {
    const AnimalOrigin& animal = draft.animal_origins[stay.animal];
    if (animal.photoperiod_h.size() != 2) continue;
    if (draft.report.has_error_at("room.lights") ||
        draft.report.has_error_at(draft.enclosure_origins[stay.enclosure].key + ".lights"))
      continue;
    const LightPlan& lights = room.enclosures[stay.enclosure].lights;
    const double hours = ((lights.off_minute - lights.on_minute + 1440) % 1440) / 60.0;
    if (!(hours < animal.photoperiod_h[0]) && !(hours > animal.photoperiod_h[1])) continue;
    draft.report.warn(animal.origin.at, animal.origin.key,
                      "has " + text_of_number(hours) + " h of light in " + room.enclosures[stay.enclosure].id,
                      text_of_number(animal.photoperiod_h[0]) + " to " +
                          text_of_number(animal.photoperiod_h[1]) + " h by its care sheet");
  }
}

}  // namespace

void check_topics(Draft& draft) {
  struct Use {
    const ProbeSource* source;
    const SourceChannel* channel;
  };
  std::map<std::string, std::vector<Use>> by_topic;
  for (const ProbeSource& source : draft.settings.probes) {
    for (const SourceChannel& channel : source.channels)
      by_topic[source.topic].push_back({&source, &channel});
  }
  const auto complain = [&](const Use& first, const Use& second) {
    if (first.source->topic.empty() || first.channel->pointer != second.channel->pointer) return;
    const Origin& origin = draft.channel_origins[second.channel->channel];
    const Origin& other = draft.channel_origins[first.channel->channel];
    const std::string pointer =
        second.channel->pointer.empty() ? "" : " with pointer " + second.channel->pointer;
    draft.report.error(
        origin.at, origin.key,
        "topic " + second.source->topic + pointer + " is the value of " + other.key + " already",
        "one channel for one value");
  };
  for (const auto& [topic, uses] : by_topic) {
    for (std::size_t i = 0; i < uses.size(); ++i) {
      for (std::size_t j = 0; j < i; ++j) complain(uses[j], uses[i]);
    }
    if (!has_wildcard(topic)) continue;
    for (const auto& [other_topic, other_uses] : by_topic) {
      // Each pair of patterns once.
      if (other_topic == topic || (has_wildcard(other_topic) && other_topic < topic)) continue;
      if (!filters_overlap(topic, other_topic)) continue;
      for (const Use& use : uses) {
        for (const Use& other : other_uses) complain(other, use);
      }
    }
  }
}

void find_doubts(Draft& draft, TableReader& root) {
  doubt_people(draft, root);
  doubt_pairings(draft);
  doubt_unregulated(draft);
  doubt_cut_outs(draft);
  doubt_bare_probes(draft);
  doubt_company(draft);
  doubt_lights(draft);
}

}  // namespace baskwell::settings
