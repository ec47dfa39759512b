#include "scenarios/room_draw.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/check.h"

namespace baskwell::scenarios {
namespace {

using demoroom::Build;
using demoroom::EnclosureSpec;
using demoroom::HeaterKind;
using demoroom::Place;
using demoroom::Rng;
using demoroom::ThermostatKind;

constexpr std::int64_t kHalfHour_s = demoroom::kHour_s / 2;
constexpr std::int64_t kDay_ms = 86'400'000;
constexpr std::int64_t kNewYear2026_ms = 1'767'225'600'000;  // 2026-01-01T00:00:00Z

// The ranges of the evaluation, issue text; measured at the hot probe.
constexpr double kCoolingLow_min = 20.0;
constexpr double kCoolingHigh_min = 180.0;
constexpr double kSwingLow_k = 1.0;
constexpr double kSwingHigh_k = 3.0;
constexpr double kPeriodLow_min = 5.0;
constexpr double kPeriodHigh_min = 40.0;
constexpr double kRippleHigh_k = 0.5;
constexpr double kOversizeLow = 1.2;
constexpr double kOversizeHigh = 3.0;

int pick(Rng& rng, int count) {
  return std::min(count - 1, static_cast<int>(rng.unit() * count));
}

EnclosureSpec draw_enclosure(Rng& rng, HeaterClass heater_class) {
  EnclosureSpec spec;
  if (heater_class == HeaterClass::rack) {
    spec.build = Build::plastic_tub;
    spec.length_m = rng.between(0.35, 0.8);
    spec.width_m = rng.between(0.25, 0.5);
    spec.height_m = rng.between(0.10, 0.2);
    spec.exposed_share = rng.between(0.25, 0.5);
    spec.heater = HeaterKind::cable;
    spec.hot_surface_m2 = rng.between(0.25, 0.6) * spec.length_m * spec.width_m;
  } else {
    constexpr Build kBuilds[] = {Build::foam_pvc, Build::wood_glass_front, Build::glass_mesh_top};
    spec.build = kBuilds[pick(rng, 3)];
    spec.length_m = rng.between(0.45, 1.5);
    spec.width_m = rng.between(0.4, 0.6) * std::min(1.2, spec.length_m);
    spec.height_m = rng.between(0.3, 0.7);
    spec.exposed_share = rng.between(0.4, 1.0);
    spec.hot_surface_m2 = rng.between(0.08, 0.35) * spec.length_m * spec.width_m;
  }
  spec.room_offset_k = rng.between(-1.2, 1.2);
  spec.air_changes_per_h = rng.between(2.0, 10.0);
  spec.mixing = rng.between(0.15, 1.1);
  spec.substrate_m = rng.between(0.02, 0.07);
  spec.substrate_j_per_m3k = rng.between(400e3, 2200e3);
  spec.wet_share = rng.unit() < 0.3 ? rng.between(0.05, 0.3) : rng.between(0.003, 0.03);
  spec.hot_surface_j_per_m2k = std::exp(rng.between(std::log(6e3), std::log(60e3)));
  switch (heater_class) {
    case HeaterClass::mat_on_off:
      spec.heater = HeaterKind::mat;
      break;
    case HeaterClass::cable_on_off:
      spec.heater = HeaterKind::cable;
      break;
    case HeaterClass::ceramic_pulse:
      spec.heater = HeaterKind::ceramic;
      break;
    case HeaterClass::halogen_dimming:
      spec.heater = HeaterKind::halogen;
      break;
    case HeaterClass::rack:
      break;
  }
  spec.heater_room_loss_w_per_m2k = rng.between(1.0, 4.0);
  spec.beam_share = rng.between(0.15, 0.55);
  return spec;
}

demoroom::ThermostatSpec draw_thermostat(Rng& rng, HeaterClass heater_class) {
  demoroom::ThermostatSpec spec;
  spec.probe_lag_s = rng.between(20.0, 150.0);
  switch (heater_class) {
    case HeaterClass::mat_on_off:
    case HeaterClass::cable_on_off:
      spec.kind = ThermostatKind::on_off;
      spec.probe.place = Place::hot_surface;
      spec.day_degc = rng.between(27.0, 34.0);
      break;
    case HeaterClass::ceramic_pulse:
      spec.kind = ThermostatKind::pulse_proportional;
      spec.probe.place = rng.unit() < 0.7 ? Place::hot_air : Place::hot_surface;
      spec.day_degc = rng.between(25.0, 33.0);
      break;
    case HeaterClass::halogen_dimming:
      spec.kind = ThermostatKind::dimming;
      spec.probe.place = rng.unit() < 0.7 ? Place::hot_surface : Place::hot_air;
      spec.day_degc =
          spec.probe.place == Place::hot_surface ? rng.between(30.0, 41.0) : rng.between(27.0, 34.0);
      break;
    case HeaterClass::rack:
      spec.kind = rng.unit() < 0.7 ? ThermostatKind::on_off : ThermostatKind::pulse_proportional;
      spec.probe.place = Place::hot_air;
      spec.day_degc = rng.between(27.0, 32.0);
      break;
  }
  spec.differential_k = rng.between(0.3, 2.5);
  spec.gain_per_k = rng.between(0.15, 0.9);
  spec.integral_s = rng.unit() < 0.25 ? 0.0 : rng.between(900.0, 4000.0);
  constexpr double kPulses_s[] = {0.0, 15.0, 40.0, 90.0};
  spec.pulse_s = kPulses_s[pick(rng, 4)];
  return spec;
}

struct Candidate {
  UnitUnderTest unit;
  Needs needs;
  Held held;
  double power_w = 0;
};

// The thermostat's share of what would be a sane unit: swing and period brought into range by its
// differential, if that can do it.
bool settle_thermostat(Candidate& one, double room_degc) {
  const bool on_off = one.unit.thermostat.kind == ThermostatKind::on_off;
  for (int attempt = 0; attempt < 4; ++attempt) {
    one.held = measure_held(one.unit, one.power_w, room_degc);
    // A lag at its setting, before the integral or the swing's middle, is part of a real room.
    if (std::abs(one.held.mean_degc - one.unit.thermostat.day_degc) > 6.0) return false;
    if (!on_off) return one.held.swing_k <= kRippleHigh_k && one.held.warm_up_min > 0;
    if (one.held.period_min <= 0) return false;
    if (one.held.swing_k >= kSwingLow_k && one.held.swing_k <= kSwingHigh_k) {
      return one.held.period_min >= kPeriodLow_min && one.held.period_min <= kPeriodHigh_min;
    }
    const double wanted_k = one.held.swing_k < kSwingLow_k ? 1.4 : 2.4;
    one.unit.thermostat.differential_k =
        std::clamp(one.unit.thermostat.differential_k * wanted_k / one.held.swing_k, 0.1, 4.0);
  }
  return false;
}

Candidate draw_candidate(Rng& rng, HeaterClass heater_class, const demoroom::RoomAirSpec& air) {
  constexpr int kMostDraws = 400;
  for (int attempt = 0; attempt < kMostDraws; ++attempt) {
    Candidate one;
    const int tubs = heater_class == HeaterClass::rack ? 3 + pick(rng, 3) : 1;
    one.unit.enclosures.assign(static_cast<std::size_t>(tubs), draw_enclosure(rng, heater_class));
    const int half = tubs / 2;
    for (int tub = 0; tub < tubs; ++tub) {
      EnclosureSpec& spec = one.unit.enclosures[static_cast<std::size_t>(tub)];
      if (tubs > 1) spec.room_offset_k += 0.15 * static_cast<double>(tub - half);
    }
    one.unit.thermostat = draw_thermostat(rng, heater_class);
    one.unit.thermostat.probe.enclosure = tubs / 2;
    // The logging probe lies at the thermostat's own place, now and then at the other one.
    one.unit.logged = one.unit.thermostat.probe.place;
    if (tubs == 1 && rng.unit() < 0.15) {
      one.unit.logged = one.unit.logged == Place::hot_air ? Place::hot_surface : Place::hot_air;
    }
    one.unit.thermostat.day_degc = std::max(one.unit.thermostat.day_degc, air.day_degc + 5.0);
    const double oversize = rng.between(kOversizeLow, kOversizeHigh);
    const double drop_k =
        rng.unit() < 0.3 ? 0.0 : rng.between(1.0, std::clamp(10.0 * (oversize - 1.0), 1.5, 10.0));
    one.unit.thermostat.night_degc = std::max(15.0, one.unit.thermostat.day_degc - drop_k);
    const double coldest_degc = std::max(12.0, air.night_degc - 0.5);
    one.needs = measure_needs(one.unit, coldest_degc);
    if (!one.needs.sane || one.needs.cooling_min < kCoolingLow_min ||
        one.needs.cooling_min > kCoolingHigh_min || one.needs.power_w > 400.0) {
      continue;
    }
    one.power_w = one.needs.power_w * oversize;
    if (settle_thermostat(one, air.day_degc)) return one;
  }
  CHECK(false);  // the ranges drawn from would be wrong
}

demoroom::RoomAirSpec draw_air(Rng& rng, const Swarm& swarm) {
  demoroom::RoomAirSpec air;
  air.day_degc = swarm.winter ? rng.between(14.0, 23.0) : rng.between(16.0, 24.0);
  air.night_degc = std::max(12.5, air.day_degc - (rng.unit() < 0.3 ? 0.0 : rng.between(0.5, 4.0)));
  air.heater_w = rng.between(2200.0, 3500.0);
  air.loss_w_per_k = rng.between(35.0, 70.0);
  air.building_tau_h = rng.between(10.0, 40.0);
  air.air_j_per_k = rng.between(250e3, 800e3);
  air.heating_band_k = rng.between(0.3, 1.5);
  air.window_sun_w = rng.between(0.0, 800.0);
  air.cool_above_degc = air.day_degc + rng.between(1.5, 5.0);
  air.cooler_w = 2500.0;
  if (swarm.summer) {
    // The room runs warm, but not past the 30 degC that the evaluation speaks of.
    air.cool_above_degc = std::min(29.0, air.day_degc + rng.between(3.0, 10.0));
  }
  air.day_from_s = demoroom::kHour_s * (5 + pick(rng, 4)) + kHalfHour_s * pick(rng, 2);
  air.day_to_s = demoroom::kHour_s * (20 + pick(rng, 4));
  return air;
}

std::int64_t draw_start(Rng& rng, const Swarm& swarm) {
  double day = rng.between(0.0, 365.0);
  if (swarm.summer) day = rng.between(160.0, 205.0);
  if (swarm.winter) day = rng.between(-45.0, 30.0);
  return kNewYear2026_ms + static_cast<std::int64_t>(day) * kDay_ms;
}

demoroom::ClockKind draw_clock(Rng& rng) {
  const double draw = rng.unit();
  if (draw < 0.6) return demoroom::ClockKind::keeps;
  return draw < 0.85 ? demoroom::ClockKind::stops : demoroom::ClockKind::resets;
}

void add_timers(demoroom::RoomSpec& room, Rng& rng) {
  const int count = 1 + pick(rng, 2);
  for (int i = 0; i < count; ++i) {
    demoroom::TimerSpec timer;
    timer.id = "timer-" + std::to_string(i + 1);
    timer.clock = draw_clock(rng);
    timer.on_s = demoroom::kHour_s * (6 + pick(rng, 4)) + kHalfHour_s * pick(rng, 2);
    timer.off_s = demoroom::kHour_s * (18 + pick(rng, 4)) + kHalfHour_s * pick(rng, 2);
    timer.circuit = pick(rng, static_cast<int>(room.circuits.size()) - 1);
    room.timers.push_back(std::move(timer));
  }
}

demoroom::Step draw_step(Rng& rng) {
  return rng.unit() < 0.5 ? demoroom::kSixteenth : demoroom::kTenth;
}

struct Instrumenting {
  DrawnRoom& drawn;
  const Swarm& swarm;
  Rng rng;

  int add_instrument(int circuit) {
    demoroom::InstrumentSpec spec;
    spec.id = "inst-" + std::to_string(drawn.sim.instruments.size() + 1);
    spec.topic = spec.id;
    spec.json = drawn.own_time;
    spec.interval_s = swarm.irregular_interval ? std::exp(rng.between(std::log(10.0), std::log(300.0)))
                                               : static_cast<double>(kReporting_interval_s);
    spec.jitter_share = swarm.jitter_share;
    spec.loss_share = swarm.loss_share;
    if (rng.unit() < 0.3) spec.circuit = circuit;
    drawn.sim.instruments.push_back(std::move(spec));
    return static_cast<int>(drawn.sim.instruments.size()) - 1;
  }

  int add_probe(int instrument, int enclosure, demoroom::Zone zone, demoroom::Medium medium) {
    demoroom::ProbeSpec spec;
    spec.instrument = instrument;
    spec.enclosure = enclosure;
    spec.zone = zone;
    spec.medium = medium;
    spec.step = draw_step(rng);
    if (rng.unit() < 0.15) spec.unit = demoroom::Unit::degf;
    if (spec.unit == demoroom::Unit::degf) spec.step = demoroom::kTenth;
    spec.lag_s = medium == demoroom::Medium::surface ? rng.between(20.0, 90.0) : rng.between(40.0, 240.0);
    spec.noise = swarm.noise_k * rng.between(0.6, 1.4);
    spec.calibration_error = 0.25 * rng.normal();
    if (zone != demoroom::Zone::room) spec.radiation_k_per_w = 0.0;
    spec.label = demoroom::name(zone);
    drawn.sim.probes.push_back(std::move(spec));
    return static_cast<int>(drawn.sim.probes.size()) - 1;
  }
};

void add_probes(Instrumenting& instruments, DrawnUnit& unit, int circuit) {
  for (std::size_t i = 0; i < unit.enclosures.size(); ++i) {
    const int enclosure = unit.enclosures[i];
    const demoroom::ThermostatSpec& thermostat =
        instruments.drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    const bool its_own = enclosure == thermostat.probe.enclosure;
    // Of a rack, the thermostat's tub and the first and the last are measured.
    const bool outer = i == 0 || i + 1 == unit.enclosures.size();
    if (!its_own && !outer) continue;
    ++instruments.drawn.probed_enclosures;
    const int instrument = instruments.add_instrument(circuit);
    const demoroom::Medium medium =
        unit.logged == Place::hot_surface ? demoroom::Medium::surface : demoroom::Medium::air;
    const int hot = instruments.add_probe(instrument, enclosure, demoroom::Zone::hot, medium);
    const auto kind = instruments.drawn.sim.enclosures[static_cast<std::size_t>(enclosure)].heater;
    if (kind == HeaterKind::halogen) {
      instruments.drawn.sim.probes[static_cast<std::size_t>(hot)].radiation_k_per_w =
          instruments.swarm.radiation_k_per_w;
    }
    if (its_own) unit.hot_probe = hot;
    unit.hot_probes.push_back(hot);
    if (unit.heater_class == HeaterClass::rack || instruments.rng.unit() < 0.15) continue;
    unit.cool_probes.push_back(
        instruments.add_probe(instrument, enclosure, demoroom::Zone::cool, demoroom::Medium::air));
    const auto& sim_enclosure = instruments.drawn.sim.enclosures[static_cast<std::size_t>(enclosure)];
    if (sim_enclosure.timer >= 0 && instruments.rng.unit() < 0.3) {
      const int light =
          instruments.add_probe(instrument, enclosure, demoroom::Zone::middle, demoroom::Medium::none);
      demoroom::ProbeSpec& spec = instruments.drawn.sim.probes[static_cast<std::size_t>(light)];
      spec.quantity = demoroom::Quantity::light;
      spec.unit = demoroom::Unit::lux;
      spec.step = demoroom::kWhole;
      spec.lag_s = 2.0;
      spec.noise = 4.0;
      spec.calibration_error = 0.0;
    }
  }
}

void add_cutout(DrawnRoom& drawn, DrawnUnit& unit, Rng& rng) {
  if (rng.unit() >= 0.45) return;
  const demoroom::ThermostatSpec& thermostat =
      drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
  demoroom::CutoutSpec cutout;
  cutout.id = "cutout-" + std::to_string(unit.heater + 1);
  cutout.heater = unit.heater;
  cutout.probe = thermostat.probe;
  cutout.opens_degc = thermostat.day_degc + unit.held.swing_k + rng.between(5.0, 9.0);
  cutout.closes_lower_k = rng.between(2.0, 5.0);
  cutout.closes_by_itself = rng.unit() < 0.6;
  drawn.sim.cutouts.push_back(std::move(cutout));
  unit.has_cutout = true;
}

void add_unit(DrawnRoom& drawn, Instrumenting& instruments, HeaterClass heater_class, Rng& rng) {
  Candidate one = draw_candidate(rng, heater_class, drawn.sim.air);
  DrawnUnit unit;
  unit.heater_class = heater_class;
  unit.logged = one.unit.logged;
  unit.needs = one.needs;
  unit.held = one.held;
  const std::string number = std::to_string(drawn.units.size() + 1);
  const bool rack = heater_class == HeaterClass::rack;
  const int first = static_cast<int>(drawn.sim.enclosures.size());
  const int timer = rng.unit() < 0.75 ? pick(rng, static_cast<int>(drawn.sim.timers.size())) : -1;
  const double light_w = rng.between(1.0, 8.0);
  for (std::size_t i = 0; i < one.unit.enclosures.size(); ++i) {
    EnclosureSpec& spec = one.unit.enclosures[i];
    spec.id = rack ? "rack-" + number + "-tub-" + std::to_string(i + 1) : "box-" + number;
    if (rack) spec.group = "rack-" + number;
    spec.timer = timer;
    spec.light_lux = 1500.0;
    spec.light_w = rack ? 0.0 : light_w;
    unit.enclosures.push_back(first + static_cast<int>(i));
    drawn.unit_of_enclosure.push_back(static_cast<int>(drawn.units.size()));
    drawn.sim.enclosures.push_back(std::move(spec));
  }
  const int circuit = pick(rng, static_cast<int>(drawn.sim.circuits.size()) - 1);
  demoroom::ThermostatSpec& thermostat = one.unit.thermostat;
  thermostat.id = "th-" + number;
  thermostat.probe.enclosure += first;
  thermostat.circuit = circuit;
  thermostat.clock = draw_clock(rng);
  const demoroom::TimerSpec& day = drawn.sim.timers[static_cast<std::size_t>(std::max(0, timer))];
  // A keeper lets it start early enough to be warm soon after the lights come on; clocks are never set to the
  // minute.
  unit.ramp_min = static_cast<int>(std::clamp(0.6 * unit.needs.cooling_min, 5.0, 60.0));
  const double early_min = std::clamp(unit.held.warm_up_min - unit.ramp_min, 0.0, 180.0);
  unit.starts_early = early_min > 0.0;
  thermostat.day_from_s = day.on_s - std::llround(60.0 * (early_min + rng.between(0.0, 10.0)));
  thermostat.day_to_s = day.off_s + std::llround(60.0 * rng.between(0.0, 15.0));
  unit.thermostat = static_cast<int>(drawn.sim.thermostats.size());
  drawn.sim.thermostats.push_back(thermostat);
  demoroom::HeaterSpec heater;
  heater.id = "heater-" + number;
  heater.power_w = one.power_w;
  heater.enclosures = unit.enclosures;
  heater.thermostat = unit.thermostat;
  heater.circuit = circuit;
  unit.heater = static_cast<int>(drawn.sim.heaters.size());
  drawn.sim.heaters.push_back(std::move(heater));
  unit.target = rack ? "rack-" + number : "box-" + number;
  unit.subject = (rack ? "th-" + number : "box-" + number) + "/heating";
  add_cutout(drawn, unit, rng);
  add_probes(instruments, unit, circuit);
  drawn.units.push_back(std::move(unit));
}

HeaterClass draw_class(Rng& rng) {
  const double draw = rng.unit();
  if (draw < 0.26) return HeaterClass::mat_on_off;
  if (draw < 0.40) return HeaterClass::cable_on_off;
  if (draw < 0.65) return HeaterClass::ceramic_pulse;
  if (draw < 0.90) return HeaterClass::halogen_dimming;
  return HeaterClass::rack;
}

}  // namespace

const char* name(HeaterClass one) {
  switch (one) {
    case HeaterClass::mat_on_off:
      return "mat on-off";
    case HeaterClass::cable_on_off:
      return "cable on-off";
    case HeaterClass::ceramic_pulse:
      return "ceramic pulses";
    case HeaterClass::halogen_dimming:
      return "halogen dimming";
    case HeaterClass::rack:
      return "rack";
  }
  CHECK(false);
}

DrawnRoom draw_room(std::uint64_t seed, const Swarm& swarm) {
  const Rng root(seed);
  Rng rng = root.fork("room");
  DrawnRoom drawn;
  drawn.sim.name = "evaluation";
  drawn.sim.air = draw_air(rng, swarm);
  drawn.sim.weather.yearly_mean_degc = rng.between(5.0, 13.0);
  drawn.sim.weather.half_range_k = rng.between(5.0, 9.0);
  drawn.sim.weather.wander_k = swarm.weather_wander_k;
  drawn.sim.weather.wander_days = rng.between(1.5, 5.0);
  drawn.sim.weather.day_swing_summer_k = rng.between(3.0, 7.0);
  const int circuits = 1 + pick(rng, 3);
  for (int i = 0; i < circuits; ++i) drawn.sim.circuits.push_back("circuit-" + std::to_string(i + 1));
  drawn.sim.circuits.emplace_back("room-circuit");
  drawn.sim.air.circuit = circuits;
  add_timers(drawn.sim, rng);
  constexpr std::int64_t kOffsets_s[] = {0, 3600, 7200, -18000};
  drawn.local_offset_s = kOffsets_s[pick(rng, 4)];
  drawn.start_ms = draw_start(rng, swarm);
  drawn.own_time = rng.unit() < 0.5;
  Instrumenting instruments{drawn, swarm, root.fork("instruments")};
  const int units = 1 + pick(rng, 6);
  for (int i = 0; i < units; ++i) add_unit(drawn, instruments, draw_class(rng), rng);
  if (rng.unit() < 0.85) {
    const int instrument = instruments.add_instrument(drawn.sim.air.circuit);
    drawn.room_probe = instruments.add_probe(instrument, -1, demoroom::Zone::room, demoroom::Medium::air);
  }
  for (std::size_t i = 0; i < drawn.sim.probes.size(); ++i) {
    drawn.channel_of_probe.push_back(static_cast<Index>(i));
  }
  drawn.core = core_room(drawn, root);
  return drawn;
}

}  // namespace baskwell::scenarios
