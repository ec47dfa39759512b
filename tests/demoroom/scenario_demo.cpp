#include "demoroom/scenario_demo.h"

#include <string>
#include <utility>

namespace baskwell::demoroom {
namespace {

// Places in the lists below; circuits and timers are few and fixed.
enum Circuit { kShelfCircuit, kLampCircuit, kRoomCircuit };
enum Timer { kTimer1, kTimer2, kTimer3 };

EnclosureSpec sized(std::string id, std::string animal, std::string species, Build build, double length_m,
                    double width_m, double height_m) {
  EnclosureSpec spec;
  spec.id = std::move(id);
  spec.animal = std::move(animal);
  spec.species = std::move(species);
  spec.build = build;
  spec.length_m = length_m;
  spec.width_m = width_m;
  spec.height_m = height_m;
  return spec;
}

int add_enclosure(RoomSpec& room, EnclosureSpec spec) {
  room.enclosures.push_back(std::move(spec));
  return static_cast<int>(room.enclosures.size()) - 1;
}

int add_thermostat(RoomSpec& room, ThermostatSpec spec) {
  room.thermostats.push_back(std::move(spec));
  return static_cast<int>(room.thermostats.size()) - 1;
}

int add_heater(RoomSpec& room, HeaterSpec spec) {
  room.heaters.push_back(std::move(spec));
  return static_cast<int>(room.heaters.size()) - 1;
}

int add_instrument(RoomSpec& room, const std::string& id, const std::string& topic, bool json,
                   double interval_s) {
  InstrumentSpec spec;
  spec.id = id;
  spec.topic = topic;
  spec.json = json;
  spec.interval_s = interval_s;
  spec.battery_v = 2.9 + 0.02 * static_cast<double>(room.instruments.size());
  room.instruments.push_back(std::move(spec));
  return static_cast<int>(room.instruments.size()) - 1;
}

ThermostatSpec thermostat(std::string id, ThermostatKind kind, int enclosure, Place place, double day_degc,
                          double night_degc, int circuit) {
  ThermostatSpec spec;
  spec.id = std::move(id);
  spec.kind = kind;
  spec.probe = {enclosure, place};
  spec.day_degc = day_degc;
  spec.night_degc = night_degc;
  spec.circuit = circuit;
  return spec;
}

HeaterSpec heater(std::string id, double power_w, int enclosure, int on_thermostat, int circuit) {
  HeaterSpec spec;
  spec.id = std::move(id);
  spec.power_w = power_w;
  spec.enclosures = {enclosure};
  spec.thermostat = on_thermostat;
  spec.circuit = circuit;
  return spec;
}

ProbeSpec temperature(int instrument, int enclosure, Zone zone, Medium medium, Step step, std::string label) {
  ProbeSpec spec;
  spec.instrument = instrument;
  spec.enclosure = enclosure;
  spec.zone = zone;
  spec.medium = medium;
  spec.step = step;
  spec.lag_s = medium == Medium::surface ? 40.0 : 90.0;
  spec.label = std::move(label);
  return spec;
}

ProbeSpec humidity(int instrument, int enclosure, Step step, std::string label) {
  ProbeSpec spec = temperature(instrument, enclosure, enclosure < 0 ? Zone::room : Zone::cool, Medium::air,
                               step, std::move(label));
  spec.quantity = Quantity::humidity;
  spec.unit = Unit::rh_pct;
  spec.noise = 0.3;
  return spec;
}

ProbeSpec light(int instrument, int enclosure, std::string label) {
  ProbeSpec spec = temperature(instrument, enclosure, Zone::middle, Medium::none, kWhole, std::move(label));
  spec.quantity = Quantity::light;
  spec.unit = Unit::lux;
  spec.lag_s = 2.0;
  spec.noise = 4.0;
  return spec;
}

void lit(EnclosureSpec& spec, Timer timer, double lux, double light_w) {
  spec.timer = timer;
  spec.light_lux = lux;
  spec.light_w = light_w;
}

void add_shelf_1(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-1", "Marzipan", "royal-python", Build::foam_pvc, 0.90, 0.45, 0.35);
  spec.exposed_share = 0.75;
  spec.room_offset_k = 0.8;
  spec.hot_surface_m2 = 0.16;
  spec.hot_surface_j_per_m2k = 12e3;
  spec.substrate_j_per_m3k = 700e3;
  spec.wet_share = 0.035;
  lit(spec, kTimer1, 900.0, 4.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(
      room, thermostat("th-1", ThermostatKind::on_off, here, Place::hot_surface, 31.5, 30.0, kShelfCircuit));
  add_heater(room, heater("mat-1", 45.0, here, th, kShelfCircuit));
  const int instrument = add_instrument(room, "inst-1", "demo/shelf-1", false, interval_s);
  room.instruments.back().battery_topic = "demo/shelf-1/battery";
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::surface, kSixteenth, "hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kSixteenth, "cool"));
  room.probes.push_back(humidity(instrument, here, kTenth, "rh"));
}

void add_shelf_2(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-2", "Bramble", "royal-python", Build::wood_glass_front, 1.20, 0.60, 0.60);
  spec.exposed_share = 0.7;
  spec.room_offset_k = 0.5;
  spec.hot_surface_m2 = 0.10;
  spec.hot_surface_j_per_m2k = 30e3;
  spec.substrate_j_per_m3k = 700e3;
  spec.heater = HeaterKind::ceramic;
  spec.beam_share = 0.3;
  spec.mixing = 0.5;
  spec.wet_share = 0.09;
  lit(spec, kTimer1, 1100.0, 6.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(room, thermostat("th-2", ThermostatKind::pulse_proportional, here,
                                                 Place::hot_air, 31.5, 29.0, kShelfCircuit));
  const int element = add_heater(room, heater("ceramic-2", 150.0, here, th, kShelfCircuit));
  room.cutouts.push_back({"cutout-2", element, {here, Place::hot_air}, 36.0, 3.0, true});
  const int instrument = add_instrument(room, "inst-2", "demo/shelf-2", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::air, kTenth, "/hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool"));
  room.probes.push_back(humidity(instrument, here, kTenth, "/rh"));
}

void add_shelf_3(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-3", "Tansy", "corn-snake", Build::wood_glass_front, 0.90, 0.45, 0.45);
  spec.exposed_share = 0.5;
  spec.hot_surface_m2 = 0.14;
  spec.hot_surface_j_per_m2k = 12e3;
  spec.substrate_j_per_m3k = 500e3;
  spec.wet_share = 0.012;
  lit(spec, kTimer1, 900.0, 4.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(
      room, thermostat("th-3", ThermostatKind::on_off, here, Place::hot_surface, 30.0, 26.0, kShelfCircuit));
  add_heater(room, heater("mat-3", 45.0, here, th, kShelfCircuit));
  const int instrument = add_instrument(room, "inst-3", "demo/shelf-3", false, interval_s);
  ProbeSpec hot = temperature(instrument, here, Zone::hot, Medium::surface, kTenth, "hot");
  hot.unit = Unit::degf;
  ProbeSpec cool = temperature(instrument, here, Zone::cool, Medium::air, kTenth, "cool");
  cool.unit = Unit::degf;
  room.probes.push_back(std::move(hot));
  room.probes.push_back(std::move(cool));
  room.probes.push_back(humidity(instrument, here, kWhole, "rh"));
}

void add_shelf_4(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-4", "Pippin", "leopard-gecko", Build::wood_glass_front, 0.80, 0.40, 0.40);
  spec.exposed_share = 1.0;
  spec.room_offset_k = 0.5;
  spec.hot_surface_m2 = 0.07;
  spec.hot_surface_j_per_m2k = 25e3;
  spec.heater = HeaterKind::ceramic;
  spec.beam_share = 0.45;
  spec.mixing = 0.45;
  spec.wet_share = 0.01;
  lit(spec, kTimer1, 1500.0, 5.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(room, thermostat("th-4", ThermostatKind::pulse_proportional, here,
                                                 Place::hot_surface, 32.0, 26.0, kShelfCircuit));
  add_heater(room, heater("ceramic-4", 80.0, here, th, kShelfCircuit));
  const int instrument = add_instrument(room, "inst-4", "demo/shelf-4", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::surface, kTenth, "/hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool"));
}

void add_shelf_5(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-5", "Moss", "crested-gecko", Build::glass_mesh_top, 0.45, 0.45, 0.60);
  spec.room_offset_k = -1.6;  // on the lowest shelf
  spec.hot_surface_m2 = 0.03;
  spec.hot_surface_j_per_m2k = 15e3;
  spec.substrate_m = 0.06;
  spec.substrate_j_per_m3k = 2000e3;
  spec.heater = HeaterKind::ceramic;
  spec.beam_share = 0.25;
  spec.mixing = 0.15;  // densely planted
  spec.air_changes_per_h = 8.0;
  spec.wet_share = 0.44;
  lit(spec, kTimer2, 2500.0, 5.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(room, thermostat("th-5", ThermostatKind::pulse_proportional, here,
                                                 Place::hot_air, 25.5, 22.0, kShelfCircuit));
  add_heater(room, heater("ceramic-5", 40.0, here, th, kShelfCircuit));
  room.mistings.push_back({here, 8 * kHour_s, 0.006});
  room.mistings.push_back({here, 17 * kHour_s, 0.006});
  const int instrument = add_instrument(room, "inst-5", "demo/shelf-5", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::air, kTenth, "/hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool"));
  room.probes.push_back(humidity(instrument, here, kTenth, "/rh"));
  room.probes.push_back(light(instrument, here, "/lux"));
}

void add_shelf_6(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("shelf-6", "Quince", "leopard-gecko", Build::foam_pvc, 0.90, 0.45, 0.45);
  spec.exposed_share = 0.9;
  spec.room_offset_k = 0.5;
  spec.hot_surface_m2 = 0.06;
  spec.hot_surface_j_per_m2k = 40e3;
  spec.heater = HeaterKind::halogen;
  spec.beam_share = 0.35;
  spec.mixing = 0.7;
  spec.wet_share = 0.01;
  spec.lamp_lux = 2500.0;
  lit(spec, kTimer2, 2200.0, 6.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(
      room, thermostat("th-6", ThermostatKind::dimming, here, Place::hot_surface, 32.0, 20.0, kLampCircuit));
  add_heater(room, heater("halogen-6", 75.0, here, th, kLampCircuit));
  const int instrument = add_instrument(room, "inst-6", "demo/shelf-6", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::surface, kTenth, "/hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool"));
  room.probes.push_back(light(instrument, here, "/lux"));
}

void add_bench_1(RoomSpec& room, double interval_s) {
  EnclosureSpec spec =
      sized("bench-1", "Cinder", "bearded-dragon", Build::wood_glass_front, 1.20, 0.60, 0.60);
  spec.hot_surface_m2 = 0.07;
  spec.hot_surface_j_per_m2k = 45e3;
  spec.heater = HeaterKind::halogen;
  spec.beam_share = 0.5;
  spec.mixing = 0.4;
  spec.air_changes_per_h = 7.0;
  spec.wet_share = 0.01;
  spec.lamp_lux = 6000.0;
  lit(spec, kTimer2, 6000.0, 10.0);
  const int here = add_enclosure(room, std::move(spec));
  const int th = add_thermostat(
      room, thermostat("th-7", ThermostatKind::dimming, here, Place::hot_surface, 40.0, 18.0, kLampCircuit));
  const int lamp = add_heater(room, heater("halogen-7", 150.0, here, th, kLampCircuit));
  room.cutouts.push_back({"cutout-7", lamp, {here, Place::hot_surface}, 47.0, 4.0, true});
  const int instrument = add_instrument(room, "inst-7", "demo/bench-1", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::surface, kTenth, "/warm/surface"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool/air"));
  room.probes.push_back(light(instrument, here, "/lux"));
  ProbeSpec power = light(instrument, here, "/power_w");
  power.quantity = Quantity::power;
  power.unit = Unit::w;
  power.zone = Zone::hot;
  power.step = kTenth;
  power.noise = 0.2;
  power.heater = lamp;
  room.probes.push_back(std::move(power));
}

void add_table_1(RoomSpec& room, double interval_s) {
  EnclosureSpec spec = sized("table-1", "Walnut", "hermanns-tortoise", Build::open_table, 1.20, 0.60, 0.30);
  spec.hot_surface_m2 = 0.08;
  spec.hot_surface_j_per_m2k = 17e3;
  spec.substrate_m = 0.06;
  spec.substrate_j_per_m3k = 1600e3;
  spec.heater = HeaterKind::halogen;
  spec.beam_share = 0.11;
  spec.air_changes_per_h = 20.0;
  spec.wet_share = 0.2;
  spec.lamp_lux = 3000.0;
  lit(spec, kTimer3, 5000.0, 14.0);
  const int here = add_enclosure(room, std::move(spec));
  HeaterSpec lamp = heater("halogen-8", 100.0, here, -1, kLampCircuit);
  lamp.timer = kTimer3;
  add_heater(room, std::move(lamp));
  const int instrument = add_instrument(room, "inst-8", "demo/table-1", true, interval_s);
  room.probes.push_back(temperature(instrument, here, Zone::hot, Medium::surface, kTenth, "/hot"));
  room.probes.push_back(temperature(instrument, here, Zone::cool, Medium::air, kTenth, "/cool"));
  room.probes.push_back(humidity(instrument, here, kTenth, "/rh"));
  room.probes.push_back(light(instrument, here, "/lux"));
}

void add_rack(RoomSpec& room, double interval_s) {
  constexpr int kTubs = 12;
  HeaterSpec cable;
  cable.id = "cable-9";
  cable.power_w = 150.0;
  cable.circuit = kShelfCircuit;
  int thermostat_tub = 0;
  for (int tub = 1; tub <= kTubs; ++tub) {
    const std::string number = std::to_string(tub);
    EnclosureSpec spec =
        sized("rack-" + number, "Flax " + number, "corn-snake", Build::plastic_tub, 0.40, 0.25, 0.12);
    spec.group = "rack";
    spec.exposed_share = tub == 1 || tub == kTubs ? 0.32 : 0.30;  // the outer tubs lose more
    spec.room_offset_k = 0.05 * (tub - 6);                        // warmer towards the ceiling
    spec.heater = HeaterKind::cable;
    spec.heater_room_loss_w_per_m2k = 3.0;
    spec.hot_surface_m2 = 0.06;
    spec.hot_surface_j_per_m2k = 10e3;
    spec.substrate_m = 0.03;
    spec.substrate_j_per_m3k = 500e3;
    spec.air_changes_per_h = 4.0;
    spec.water_bowl_m2 = 0.005;
    spec.wet_share = 0.03;
    lit(spec, kTimer2, 150.0, 0.0);
    const int here = add_enclosure(room, std::move(spec));
    cable.enclosures.push_back(here);
    if (tub == 6) thermostat_tub = here;
    if (tub != 1 && tub != 6 && tub != kTubs) continue;
    const int instrument =
        add_instrument(room, "inst-rack-" + number, "demo/rack/" + number, false, interval_s);
    ProbeSpec air = temperature(instrument, here, Zone::hot, Medium::air, kSixteenth, "air");
    air.channel = "temperature";
    room.probes.push_back(std::move(air));
  }
  cable.thermostat = add_thermostat(room, thermostat("th-9", ThermostatKind::on_off, thermostat_tub,
                                                     Place::hot_air, 30.0, 26.0, kShelfCircuit));
  const int element = add_heater(room, std::move(cable));
  room.cutouts.push_back({"cutout-9", element, {thermostat_tub, Place::hot_air}, 35.0, 3.0, false});
}

void add_room_instrument(RoomSpec& room, double interval_s) {
  const int instrument = add_instrument(room, "inst-room", "demo/room", false, interval_s);
  room.probes.push_back(temperature(instrument, -1, Zone::room, Medium::air, kTenth, "air"));
  room.probes.push_back(humidity(instrument, -1, kWhole, "rh"));
}

}  // namespace

RoomSpec demo_scenario(double interval_s) {
  RoomSpec room;
  room.name = "Odile Farrow's animal room";
  room.circuits = {"shelf-circuit", "lamp-circuit", "room-circuit"};
  room.air.circuit = kRoomCircuit;
  TimerSpec timer;
  timer.circuit = kLampCircuit;
  for (const auto& [id, clock] :
       {std::pair{"timer-1", ClockKind::stops}, std::pair{"timer-2", ClockKind::keeps},
        std::pair{"timer-3", ClockKind::stops}}) {
    timer.id = id;
    timer.clock = clock;
    room.timers.push_back(timer);
  }
  add_shelf_1(room, interval_s);
  add_shelf_2(room, interval_s);
  add_shelf_3(room, interval_s);
  add_shelf_4(room, interval_s);
  add_shelf_5(room, interval_s);
  add_shelf_6(room, interval_s);
  add_bench_1(room, interval_s);
  add_table_1(room, interval_s);
  add_rack(room, interval_s);
  add_room_instrument(room, interval_s);
  return room;
}

}  // namespace baskwell::demoroom
