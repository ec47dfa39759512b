#include "heat/demo_core_room.h"

#include <cmath>
#include <stdexcept>
#include <utility>
#include <variant>

#include "core/check.h"
#include "zones.h"

namespace baskwell::test {
namespace {

std::size_t at(int index) {
  return static_cast<std::size_t>(index);
}

Quantity quantity_of(demoroom::Quantity quantity) {
  switch (quantity) {
    case demoroom::Quantity::temperature:
      return Quantity::temperature;
    case demoroom::Quantity::humidity:
      return Quantity::humidity;
    case demoroom::Quantity::light:
      return Quantity::light;
    case demoroom::Quantity::power:
      return Quantity::power;
  }
  CHECK(false);
}

Zone zone_of(demoroom::Zone zone) {
  switch (zone) {
    case demoroom::Zone::hot:
      return Zone::hot;
    case demoroom::Zone::middle:
      return Zone::middle;
    case demoroom::Zone::cool:
      return Zone::cool;
    case demoroom::Zone::room:
      return Zone::room;
  }
  CHECK(false);
}

void add_heating(Room& room, const demoroom::RoomSpec& spec) {
  for (const std::string& id : spec.circuits) room.circuits.push_back({id, id});
  for (const demoroom::HeaterSpec& from : spec.heaters) {
    Heater heater;
    heater.id = heater.name = from.id;
    heater.kind = from.id.substr(0, from.id.find('-'));
    heater.circuit = static_cast<Index>(from.circuit);
    for (const int enclosure : from.enclosures) heater.enclosures.push_back(static_cast<Index>(enclosure));
    room.heaters.push_back(std::move(heater));
  }
  for (std::size_t i = 0; i < spec.thermostats.size(); ++i) {
    const demoroom::ThermostatSpec& from = spec.thermostats[i];
    Thermostat thermostat;
    thermostat.id = thermostat.name = from.id;
    thermostat.probe_enclosure = static_cast<Index>(from.probe.enclosure);
    for (std::size_t h = 0; h < spec.heaters.size(); ++h) {
      if (spec.heaters[h].thermostat == static_cast<int>(i))
        thermostat.heaters.push_back(static_cast<Index>(h));
    }
    room.thermostats.push_back(std::move(thermostat));
  }
}

}  // namespace

std::shared_ptr<const Room> core_room_of(const demoroom::RoomSpec& spec) {
  Room room;
  room.id = "demo";
  room.name = "Animal room";
  room.clock = london_2026();
  for (const demoroom::EnclosureSpec& from : spec.enclosures) {
    Enclosure enclosure;
    enclosure.id = enclosure.name = from.id;
    room.enclosures.push_back(std::move(enclosure));
  }
  add_heating(room, spec);
  for (const demoroom::InstrumentSpec& from : spec.instruments) {
    Instrument instrument;
    instrument.id = instrument.name = from.id;
    room.instruments.push_back(std::move(instrument));
  }
  for (const demoroom::ProbeSpec& from : spec.probes) {
    Channel channel;
    channel.id = spec.instruments[at(from.instrument)].id + "/" + std::to_string(room.channels.size());
    channel.instrument = static_cast<Index>(from.instrument);
    channel.quantity = quantity_of(from.quantity);
    channel.unit = from.unit == demoroom::Unit::degf ? Unit::degf : judged_unit(channel.quantity);
    const Medium medium = from.medium == demoroom::Medium::surface ? Medium::surface : Medium::air;
    const Index enclosure = from.enclosure < 0 ? none : static_cast<Index>(from.enclosure);
    channel.placements = {{enclosure, zone_of(from.zone), medium, {}}};
    room.channels.push_back(std::move(channel));
  }
  room.people.push_back({"kim", "Kim", {}, 7 * 60, 22 * 60});
  return std::make_shared<const Room>(std::move(room));
}

WatchedDemoRoom::WatchedDemoRoom(demoroom::RoomSpec spec, std::uint64_t seed, UtcMs start)
    : room(core_room_of(spec)), sim(std::move(spec), seed, start.ms, 0), boot_ms(start.ms - hour_ms) {
  engine = std::make_unique<Engine>(room, now());
  BrokerEvent broker;
  broker.connected = true;
  step(broker);
}

void WatchedDemoRoom::run_until(UtcMs to) {
  sim.run_until(to.ms, [this](const demoroom::Report& report) {
    if (report.lost || !listening) return;
    for (const demoroom::Report::Value& one : report.values) {
      if (one.read.kind != demoroom::ValueKind::number) continue;
      ReadingEvent event;
      event.at = {UtcMs{report.utc_ms + clock_off_ms}, ElapsedMs{report.utc_ms - boot_ms}};
      event.channel = static_cast<Index>(one.probe);
      event.value = {std::llround(one.read.value * 1e4), 4};
      event.unit = room->channels[event.channel].unit;
      engine->step_reading(event, effects_);
      ++readings;
    }
    take(effects_);
  });
}

void WatchedDemoRoom::command(const std::string& line) {
  if (auto answer = sim.command(line); !answer) throw std::runtime_error(line + ": " + answer.error().text);
}

void WatchedDemoRoom::step(Event event) {
  std::visit([this](auto& one) { one.at = now(); }, event);
  engine->step(event, effects_);
  take(effects_);
}

void WatchedDemoRoom::take(Effects& effects) {
  for (OutageRecord& one : effects.outages) news.push_back(std::move(one));
  for (MessageDraft& one : effects.messages) {
    if (one.occurrence.starts_with("O")) outage_messages.push_back(std::move(one));
  }
  for (TransitionRecord& one : effects.transitions) transitions.push_back(std::move(one));
  effects.clear();
}

std::vector<OutageRecord> WatchedDemoRoom::outages() const {
  std::vector<OutageRecord> newest;
  for (const OutageRecord& one : news) {
    if (newest.empty() || newest.back().id != one.id) {
      bool known = false;
      for (OutageRecord& other : newest) {
        if (other.id != one.id) continue;
        other = one;
        known = true;
      }
      if (!known) newest.push_back(one);
    } else {
      newest.back() = one;
    }
  }
  return newest;
}

}  // namespace baskwell::test
