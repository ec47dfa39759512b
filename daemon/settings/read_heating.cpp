// [circuits.ID], [heaters.ID], [lamps.ID], [thermostats.ID], [cutouts.ID].

#include <algorithm>

#include "settings/draft.h"

namespace baskwell::settings {
namespace {

// What a heater or lamp serves: enclosures, or whole racks.
std::vector<Index> read_served(Draft& draft, TableReader& reader) {
  std::vector<Index> served = read_references(reader, "enclosures", draft.enclosures);
  const auto add = [&](Index enclosure) {
    if (std::find(served.begin(), served.end(), enclosure) == served.end()) served.push_back(enclosure);
  };
  if (const auto one = read_reference(reader, "enclosure", draft.enclosures)) add(*one);
  for (const Index rack : read_references(reader, "racks", draft.racks)) {
    for (const Index tub : draft.settings.room.racks[rack].tubs) add(tub);
  }
  if (const auto rack = read_reference(reader, "rack", draft.racks)) {
    for (const Index tub : draft.settings.room.racks[*rack].tubs) add(tub);
  }
  const bool told =
      reader.has("enclosures") || reader.has("enclosure") || reader.has("racks") || reader.has("rack");
  if (!told) reader.missing("enclosure", "enclosure, enclosures, rack or racks");
  return served;
}

// A heater among heaters; a lamp named by mistake gets words of its own.
std::vector<Index> read_heaters(Draft& draft, TableReader& reader) {
  const auto lamp_named = [&](const std::string& id) {
    return draft.lamps.find(id).has_value() && !draft.heaters.find(id).has_value();
  };
  for (const char* name : {"heaters", "heater"}) {
    if (!reader.has(name)) continue;
    for (const TableReader::Item& item : reader.texts(name)) {
      // UVB, metal halide and mercury vapour lamps hang on a timer only: husbandry reference 3.1, common
      // practice.
      if (lamp_named(item.text))
        draft.report.error(item.at, item.key,
                           '"' + item.text + "\" is a lamp, which no thermostat may dim or switch",
                           "a heater (a basking lamp that heats is one)");
    }
  }
  std::vector<Index> heaters;
  for (const char* name : {"heaters", "heater"}) {
    for (const TableReader::Item& item : reader.texts(name)) {
      if (lamp_named(item.text)) continue;
      const auto index = draft.heaters.refer(draft.report, item.at, item.key, item.text);
      if (!index) continue;
      if (std::find(heaters.begin(), heaters.end(), *index) != heaters.end()) {
        draft.report.error(item.at, item.key, '"' + item.text + "\" is named twice", "each once");
      } else {
        heaters.push_back(*index);
      }
    }
  }
  if (!reader.has("heaters") && !reader.has("heater"))
    reader.missing("heaters", joined(draft.heaters.names()));
  return heaters;
}

void read_circuits(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "circuits", draft.circuits)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.circuits.add(draft.report, named.at, named.key, named.id)) continue;
    draft.settings.room.circuits.push_back({named.id, read_name(reader, named.id)});
    reader.finish();
  }
}

void read_heater(Draft& draft, const TableReader::Named& named) {
  static const std::vector<std::string> kinds{"mat",     "cable",        "tape",    "ceramic", "panel",
                                              "halogen", "incandescent", "tubular", "other"};
  TableReader reader(*named.table, named.key, draft.report);
  Heater heater;
  heater.id = named.id;
  heater.name = read_name(reader, named.id);
  if (const auto kind = reader.one_of("kind", kinds)) heater.kind = kinds[*kind];
  if (!reader.has("kind")) reader.missing("kind", joined(kinds));
  heater.power_w = reader.number("power_w", 0.1, 20'000);
  heater.socket = reader.text("socket", 100).value_or("");
  heater.enclosures = read_served(draft, reader);
  heater.circuit = read_reference(reader, "circuit", draft.circuits).value_or(none);
  const bool on_purpose = reader.text("unregulated_because", 500).has_value();
  reader.finish();
  draft.settings.room.heaters.push_back(std::move(heater));
  draft.heater_origins.push_back({{named.at, named.key}, on_purpose});
}

void read_lamps(Draft& draft, TableReader& root) {
  static const std::vector<std::string> kinds{"uvb",  "led", "fluorescent", "metal-halide", "mercury-vapour",
                                              "other"};
  for (const TableReader::Named& named : read_named_tables(root, "lamps", draft.lamps)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.lamps.add(draft.report, named.at, named.key, named.id)) continue;
    Lamp lamp;
    lamp.id = named.id;
    lamp.name = read_name(reader, named.id);
    if (const auto kind = reader.one_of("kind", kinds)) lamp.kind = kinds[*kind];
    if (!reader.has("kind")) reader.missing("kind", joined(kinds));
    lamp.enclosures = read_served(draft, reader);
    lamp.circuit = read_reference(reader, "circuit", draft.circuits).value_or(none);
    reader.finish();
    draft.settings.room.lamps.push_back(std::move(lamp));
  }
}

void read_setting_temperatures(TableReader& reader, Thermostat& thermostat) {
  // What thermostats of the trade can be set to, with room at both ends: common practice, no source.
  constexpr double lowest_degc = 0;
  constexpr double highest_degc = 60;
  const auto always = reader.temperature_degc("set", lowest_degc, highest_degc);
  thermostat.set_day_degc = reader.temperature_degc("set_day", lowest_degc, highest_degc);
  thermostat.set_night_degc = reader.temperature_degc("set_night", lowest_degc, highest_degc);
  if (always && (thermostat.set_day_degc || thermostat.set_night_degc))
    reader.wrong(reader.has("set_degc") ? "set_degc" : "set_degf", "says the same as set_day and set_night",
                 "either one setting, or one by day and one by night");
  if (!always) return;
  thermostat.set_day_degc = always;
  thermostat.set_night_degc = always;
}

void read_thermostats(Draft& draft, TableReader& root) {
  static const std::vector<std::string> kinds{"on-off", "pulse-proportional", "dimming"};
  for (const TableReader::Named& named : read_named_tables(root, "thermostats", draft.thermostats)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.thermostats.add(draft.report, named.at, named.key, named.id)) continue;
    Thermostat thermostat;
    thermostat.id = named.id;
    thermostat.name = read_name(reader, named.id);
    if (const auto kind = reader.one_of("kind", kinds)) thermostat.kind = static_cast<ThermostatKind>(*kind);
    if (!reader.has("kind")) reader.missing("kind", joined(kinds));
    read_setting_temperatures(reader, thermostat);
    thermostat.heaters = read_heaters(draft, reader);
    if (auto probe = reader.table("probe")) {
      thermostat.probe_enclosure = read_reference(*probe, "enclosure", draft.enclosures).value_or(none);
      if (!probe->has("enclosure")) probe->missing("enclosure", joined(draft.enclosures.names()));
      thermostat.probe_zone = read_zone(*probe, "zone").value_or(Zone::hot);
      probe->finish();
    } else if (thermostat.heaters.size() == 1 &&
               draft.settings.room.heaters[thermostat.heaters[0]].enclosures.size() == 1) {
      // One heater in one enclosure: its probe can only lie there.
      thermostat.probe_enclosure = draft.settings.room.heaters[thermostat.heaters[0]].enclosures[0];
    }
    reader.finish();
    draft.settings.room.thermostats.push_back(std::move(thermostat));
    draft.thermostat_origins.push_back({named.at, named.key});
  }
}

void read_cut_outs(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "cutouts", draft.cut_outs)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.cut_outs.add(draft.report, named.at, named.key, named.id)) continue;
    CutOut cut_out;
    cut_out.id = named.id;
    cut_out.name = read_name(reader, named.id);
    cut_out.set_degc = reader.temperature_degc("set", 0, 120);
    cut_out.heaters = read_heaters(draft, reader);
    reader.finish();
    draft.settings.room.cut_outs.push_back(std::move(cut_out));
    draft.cut_out_origins.push_back({named.at, named.key});
  }
}

}  // namespace

void read_heating(Draft& draft, TableReader& root) {
  read_circuits(draft, root);
  for (const TableReader::Named& named : read_named_tables(root, "heaters", draft.heaters)) {
    if (draft.heaters.add(draft.report, named.at, named.key, named.id)) read_heater(draft, named);
  }
  read_lamps(draft, root);
  read_thermostats(draft, root);
  read_cut_outs(draft, root);
}

}  // namespace baskwell::settings
