// The drawn room as its keeper would have written it down.
#include <algorithm>
#include <cmath>
#include <utility>

#include "core/check.h"
#include "scenarios/room_draw.h"

namespace baskwell::scenarios {
namespace {

using demoroom::Rng;

const char* material_of(demoroom::Build build) {
  switch (build) {
    case demoroom::Build::foam_pvc:
      return "foam-pvc";
    case demoroom::Build::wood_glass_front:
    case demoroom::Build::open_table:
      return "wood";
    case demoroom::Build::glass_mesh_top:
      return "glass";
    case demoroom::Build::plastic_tub:
      return "plastic";
  }
  CHECK(false);
}

const char* kind_of(demoroom::HeaterKind kind) {
  switch (kind) {
    case demoroom::HeaterKind::mat:
      return "mat";
    case demoroom::HeaterKind::cable:
      return "cable";
    case demoroom::HeaterKind::ceramic:
      return "ceramic";
    case demoroom::HeaterKind::halogen:
      return "halogen";
  }
  CHECK(false);
}

std::vector<Index> indexes(const std::vector<int>& from) {
  std::vector<Index> to;
  to.reserve(from.size());
  for (const int one : from) to.push_back(static_cast<Index>(one));
  return to;
}

// Bands as a keeper sets them: about what the enclosure does when all is well, the harm limits further out.
std::vector<Band> bands_for(const DrawnRoom& drawn, const DrawnUnit& unit, Rng& rng) {
  const demoroom::ThermostatSpec& thermostat =
      drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
  const double margin_k = rng.between(0.6, 1.5);
  const double middle_degc = 0.5 * (unit.held.low_degc + unit.held.high_degc);
  const double half_k = std::max(1.5, 0.5 * (unit.held.high_degc - unit.held.low_degc) + margin_k);
  const double day_degc = middle_degc + rng.between(-0.3, 0.3);
  const double night_degc = day_degc - (thermostat.day_degc - thermostat.night_degc);
  const double room_low_degc = std::max(11.0, drawn.sim.air.night_degc - 1.0);
  Band hot;
  hot.zone = Zone::hot;
  hot.quantity = Quantity::temperature;
  hot.medium = unit.logged == demoroom::Place::hot_surface ? Medium::surface : Medium::air;
  hot.day = {day_degc - half_k, day_degc + half_k};
  const bool night_may_stay_warm = rng.unit() < 0.7 || unit.starts_early;
  hot.night = {night_degc - half_k, night_may_stay_warm ? day_degc + half_k : night_degc + half_k + 2.0};
  hot.harm = {night_degc - half_k - rng.between(2.0, 5.0), day_degc + half_k + rng.between(2.0, 5.0)};
  hot.source = "drawn";
  Band cool;
  cool.zone = Zone::cool;
  cool.quantity = Quantity::temperature;
  cool.day = {std::min(unit.held.cool_mean_degc - 3.0, room_low_degc), unit.held.cool_mean_degc + 3.5};
  cool.night = {room_low_degc - 1.0, unit.held.cool_mean_degc + 3.5};
  cool.harm = {room_low_degc - 4.0, unit.held.cool_mean_degc + rng.between(6.0, 8.0)};
  cool.source = "drawn";
  return {hot, cool};
}

void add_things(Room& room, const DrawnRoom& drawn, Rng& rng) {
  for (const std::string& one : drawn.sim.circuits) room.circuits.push_back({one, one});
  for (const DrawnUnit& unit : drawn.units) {
    const auto& sim_heater = drawn.sim.heaters[static_cast<std::size_t>(unit.heater)];
    const auto& sim_thermostat = drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    Heater heater;
    heater.id = heater.name = sim_heater.id;
    heater.kind = kind_of(*drawn.sim.enclosures[static_cast<std::size_t>(unit.enclosures[0])].heater);
    if (rng.unit() < 0.7) heater.power_w = std::round(sim_heater.power_w);
    heater.enclosures = indexes(unit.enclosures);
    heater.circuit = static_cast<Index>(sim_heater.circuit);
    room.heaters.push_back(std::move(heater));
    Thermostat thermostat;
    thermostat.id = thermostat.name = sim_thermostat.id;
    thermostat.kind = static_cast<ThermostatKind>(sim_thermostat.kind);
    if (rng.unit() < 0.4) {
      thermostat.set_day_degc = std::round(10.0 * sim_thermostat.day_degc) / 10.0;
      thermostat.set_night_degc = std::round(10.0 * sim_thermostat.night_degc) / 10.0;
    }
    thermostat.heaters = {static_cast<Index>(unit.heater)};
    thermostat.probe_enclosure = static_cast<Index>(sim_thermostat.probe.enclosure);
    room.thermostats.push_back(std::move(thermostat));
    if (unit.heater_class == HeaterClass::rack) {
      room.racks.push_back({unit.target, unit.target, indexes(unit.enclosures)});
      for (const int one : unit.enclosures) {
        room.enclosures[static_cast<std::size_t>(one)].rack = static_cast<Index>(room.racks.size() - 1);
      }
    }
  }
  for (const demoroom::CutoutSpec& one : drawn.sim.cutouts) {
    CutOut cutout{one.id, one.id, {}, {static_cast<Index>(one.heater)}};
    if (rng.unit() < 0.7) cutout.set_degc = std::round(one.opens_degc);
    room.cut_outs.push_back(std::move(cutout));
  }
}

void add_animals(Room& room, const DrawnRoom& drawn, Rng& rng) {
  for (const DrawnUnit& unit : drawn.units) {
    const std::vector<Band> bands = bands_for(drawn, unit, rng);
    for (const int enclosure : unit.enclosures) {
      Animal animal;
      animal.id = "animal-" + std::to_string(room.animals.size() + 1);
      animal.name = "Number " + std::to_string(room.animals.size() + 1);
      animal.species = "drawn";
      animal.species_name = "drawn animal";
      animal.life_stage = "adult";
      animal.bands = bands;
      room.occupancies.push_back(
          {static_cast<Index>(room.animals.size()), static_cast<Index>(enclosure), {}});
      room.animals.push_back(std::move(animal));
    }
  }
}

void add_channels(Room& room, const DrawnRoom& drawn, Rng& rng) {
  const bool declares = rng.unit() < 0.5;
  for (const demoroom::InstrumentSpec& one : drawn.sim.instruments) {
    Instrument instrument;
    instrument.id = instrument.name = one.id;
    instrument.type = rng.unit() < 0.5 ? ProbeType::digital_bus : ProbeType::generic;
    if (declares) instrument.interval_ms = static_cast<std::int64_t>(one.interval_s * 1000.0);
    room.instruments.push_back(std::move(instrument));
  }
  for (const demoroom::ProbeSpec& one : drawn.sim.probes) {
    Channel channel;
    channel.instrument = static_cast<Index>(one.instrument);
    channel.id = room.instruments[channel.instrument].id + "/" +
                 (one.quantity == demoroom::Quantity::light ? "light" : one.label);
    channel.unit = one.unit == demoroom::Unit::degf  ? Unit::degf
                   : one.unit == demoroom::Unit::lux ? Unit::lux
                                                     : Unit::degc;
    channel.quantity = one.quantity == demoroom::Quantity::light ? Quantity::light : Quantity::temperature;
    Placement placement;
    placement.enclosure = one.enclosure < 0 ? none : static_cast<Index>(one.enclosure);
    placement.zone = one.zone == demoroom::Zone::hot      ? Zone::hot
                     : one.zone == demoroom::Zone::middle ? Zone::middle
                     : one.zone == demoroom::Zone::cool   ? Zone::cool
                                                          : Zone::room;
    placement.medium = one.medium == demoroom::Medium::surface ? Medium::surface : Medium::air;
    channel.placements.push_back(placement);
    room.channels.push_back(std::move(channel));
  }
}

}  // namespace

std::shared_ptr<const Room> core_room(const DrawnRoom& drawn, const Rng& root) {
  Rng rng = root.fork("settings");
  auto room = std::make_shared<Room>();
  room->id = "evaluation";
  room->name = "Evaluation";
  room->clock.changes.push_back({UtcMs{0}, static_cast<std::int32_t>(drawn.local_offset_s)});
  for (const demoroom::EnclosureSpec& one : drawn.sim.enclosures) {
    Enclosure enclosure;
    enclosure.id = enclosure.name = one.id;
    if (rng.unit() < 0.8) {
      enclosure.size_cm = {100.0 * one.length_m, 100.0 * one.width_m, 100.0 * one.height_m};
      enclosure.material = material_of(one.build);
    }
    const auto& timer = drawn.sim.timers[static_cast<std::size_t>(std::max(0, one.timer))];
    enclosure.lights.on_minute = static_cast<int>(timer.on_s / 60);
    enclosure.lights.off_minute = static_cast<int>(timer.off_s / 60);
    const int unit = drawn.unit_of_enclosure[room->enclosures.size()];
    enclosure.lights.ramp_min = drawn.units[static_cast<std::size_t>(unit)].ramp_min;
    room->enclosures.push_back(std::move(enclosure));
  }
  add_things(*room, drawn, rng);
  add_animals(*room, drawn, rng);
  add_channels(*room, drawn, rng);
  Person keeper;
  keeper.id = keeper.name = "keeper";
  room->people.push_back(std::move(keeper));
  return room;
}

}  // namespace baskwell::scenarios
