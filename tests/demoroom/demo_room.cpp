#include "demoroom/demo_room.h"

#include <algorithm>
#include <cmath>

#include "core/check.h"
#include "demoroom/moist_air.h"

namespace baskwell::demoroom {
namespace {

constexpr std::int64_t kStep_ms = kStep_s * 1000;
constexpr auto kStepReal_s = static_cast<double>(kStep_s);
constexpr std::int64_t kWeatherEvery_ms = 60'000;

template <class T>
bool in_range(int index, const std::vector<T>& of) {
  return index >= 0 && static_cast<std::size_t>(index) < of.size();
}

std::size_t at(int index) {
  return static_cast<std::size_t>(index);
}

void check_spec(const RoomSpec& spec) {
  CHECK(spec.air.circuit == -1 || in_range(spec.air.circuit, spec.circuits));
  for (const EnclosureSpec& one : spec.enclosures) CHECK(one.timer == -1 || in_range(one.timer, spec.timers));
  for (const TimerSpec& one : spec.timers) CHECK(in_range(one.circuit, spec.circuits));
  for (const HeaterSpec& one : spec.heaters) {
    CHECK(in_range(one.circuit, spec.circuits) && one.power_w > 0 && !one.enclosures.empty());
    CHECK(one.thermostat == -1 || in_range(one.thermostat, spec.thermostats));
    CHECK(one.timer == -1 || in_range(one.timer, spec.timers));
    CHECK(one.shares.empty() || one.shares.size() == one.enclosures.size());
    for (const int enclosure : one.enclosures) CHECK(in_range(enclosure, spec.enclosures));
  }
  for (const ThermostatSpec& one : spec.thermostats) {
    CHECK(in_range(one.circuit, spec.circuits) && in_range(one.probe.enclosure, spec.enclosures));
  }
  for (const CutoutSpec& one : spec.cutouts) {
    CHECK(in_range(one.heater, spec.heaters) && in_range(one.probe.enclosure, spec.enclosures));
  }
  for (const MistingSpec& one : spec.mistings) CHECK(in_range(one.enclosure, spec.enclosures));
  for (const InstrumentSpec& one : spec.instruments) {
    CHECK(one.interval_s >= 1.0 && one.jitter_share >= 0 && one.jitter_share < 1);
    CHECK(one.circuit == -1 || in_range(one.circuit, spec.circuits));
  }
  for (const ProbeSpec& one : spec.probes) {
    CHECK(in_range(one.instrument, spec.instruments));
    CHECK(one.enclosure == -1 || in_range(one.enclosure, spec.enclosures));
    CHECK(one.quantity != Quantity::power || in_range(one.heater, spec.heaters));
  }
}

}  // namespace

DemoRoom::DemoRoom(RoomSpec spec, std::uint64_t seed, std::int64_t start_utc_ms, std::int64_t local_offset_s)
    : spec_(std::move(spec)),
      now_ms_(start_utc_ms),
      local_offset_s_(local_offset_s),
      weather_(spec_.weather, Rng(seed).fork("weather")),
      air_(spec_.air, spec_.air.day_degc) {
  check_spec(spec_);
  const Rng root(seed);
  for (const EnclosureSpec& one : spec_.enclosures) {
    enclosures_.emplace_back(one, spec_.air.day_degc + 2.0, 1300.0, kStepReal_s);
  }
  around_.resize(enclosures_.size());
  doors_open_.assign(enclosures_.size(), 0);
  for (const TimerSpec& one : spec_.timers) timers_.push_back(TimerState{DeviceClock(one.clock)});
  for (const ThermostatSpec& one : spec_.thermostats) {
    thermostats_.emplace_back(one, spec_.air.day_degc + 2.0, kStepReal_s);
  }
  shares_asked_.assign(thermostats_.size(), 0.0);
  heaters_.resize(spec_.heaters.size());
  circuit_cuts_.assign(spec_.circuits.size(), 0);
  for (std::size_t i = 0; i < spec_.instruments.size(); ++i) {
    InstrumentState state{root.fork("instrument " + spec_.instruments[i].id), 0, 0, {}};
    state.next_ms = now_ms_ + std::llround(1000.0 * state.rng.between(0.0, spec_.instruments[i].interval_s));
    instruments_.push_back(std::move(state));
  }
  for (std::size_t i = 0; i < spec_.probes.size(); ++i) {
    const ProbeSpec& one = spec_.probes[i];
    const double start = one.quantity == Quantity::temperature ? spec_.air.day_degc + 2.0
                         : one.quantity == Quantity::humidity  ? 50.0
                                                               : 0.0;
    probes_.emplace_back(one, start, kStepReal_s, root.fork("probe " + std::to_string(i)));
    instruments_[at(one.instrument)].probes.push_back(static_cast<int>(i));
  }
  weather_.step(now_ms_ / 1000, local_offset_s_, static_cast<double>(kWeatherEvery_ms) / 1000.0);
}

void DemoRoom::run_until(std::int64_t utc_ms, const ReportSink& sink) {
  while (now_ms_ + kStep_ms <= utc_ms) {
    step();
    report_due(sink);
  }
}

void DemoRoom::step() {
  step_faults();
  const std::int64_t utc_s = now_ms_ / 1000;
  if (now_ms_ % kWeatherEvery_ms < kStep_ms) {
    weather_.step(utc_s, local_offset_s_, static_cast<double>(kWeatherEvery_ms) / 1000.0);
  }
  step_timers(utc_s);
  step_heating(utc_s);
  step_enclosures(utc_s);
  air_.step(weather_, enclosures_w_, day_second(utc_s + local_offset_s_), powered(spec_.air.circuit),
            kStepReal_s);
  step_probes();
  now_ms_ += kStep_ms;
}

bool DemoRoom::powered(int circuit) const {
  return circuit == -1 || circuit_cuts_[at(circuit)] == 0;
}

void DemoRoom::step_timers(std::int64_t utc_s) {
  for (std::size_t i = 0; i < timers_.size(); ++i) {
    TimerState& timer = timers_[i];
    const TimerSpec& spec = spec_.timers[i];
    if (!powered(spec.circuit)) {
      if (timer.had_power) timer.late_at_cut_s = timer.clock.late_s();
      timer.clock.step_without_power(kStep_s);
      timer.had_power = false;
      timer.on = false;
      continue;
    }
    if (!timer.had_power) {
      timer.clock.power_back(utc_s, local_offset_s_);
      timer.had_power = true;
      if (timer.clock.late_s() != timer.late_at_cut_s) {
        truth_.push_back(
            {now_ms_, true, "timer-late", spec.id, static_cast<double>(timer.clock.late_s()) / 60.0});
      }
    }
    timer.on = within_day_span(timer.clock.shows_s(utc_s, local_offset_s_), spec.on_s, spec.off_s);
  }
}

void DemoRoom::step_heating(std::int64_t utc_s) {
  for (std::size_t i = 0; i < thermostats_.size(); ++i) {
    shares_asked_[i] = thermostats_[i].step(enclosures_, air_.air_degc(), utc_s, local_offset_s_,
                                            powered(spec_.thermostats[i].circuit));
  }
  for (const CutoutSpec& cutout : spec_.cutouts)
    step_cutout(cutout, enclosures_, heaters_[at(cutout.heater)]);
  for (Surroundings& around : around_) around.heater_w = 0.0;
  for (std::size_t i = 0; i < heaters_.size(); ++i) {
    const HeaterSpec& spec = spec_.heaters[i];
    HeaterState& heater = heaters_[i];
    double share = 1.0;
    if (spec.thermostat >= 0) {
      share = shares_asked_[at(spec.thermostat)];
    } else if (spec.timer >= 0) {
      share = timers_[at(spec.timer)].on ? 1.0 : 0.0;
    }
    if (heater.stuck_on) share = 1.0;
    const bool dead = heater.off || heater.cutout_open || heater.forced_open || !powered(spec.circuit);
    heater.power_w = dead ? 0.0 : share * heater.weak_share * spec.power_w;
    const double even = 1.0 / static_cast<double>(spec.enclosures.size());
    for (std::size_t k = 0; k < spec.enclosures.size(); ++k) {
      around_[at(spec.enclosures[k])].heater_w +=
          heater.power_w * (spec.shares.empty() ? even : spec.shares[k]);
    }
  }
}

void DemoRoom::step_enclosures(std::int64_t utc_s) {
  if (!spec_.mistings.empty()) {
    const std::int64_t local = day_second(utc_s + local_offset_s_);
    for (const MistingSpec& one : spec_.mistings) {
      if (local >= one.at_s && local < one.at_s + kStep_s) enclosures_[at(one.enclosure)].mist(one.water_kg);
    }
  }
  enclosures_w_ = 0.0;
  for (std::size_t i = 0; i < enclosures_.size(); ++i) {
    Surroundings& around = around_[i];
    around.room_degc = air_.air_degc();
    around.room_vapour_pa = air_.vapour_pa();
    around.light_w = light_on(i) ? spec_.enclosures[i].light_w : 0.0;
    around.door_open = doors_open_[i] > 0;
    enclosures_[i].step(around, kStepReal_s);
    enclosures_w_ += enclosures_[i].loss_w();
  }
}

bool DemoRoom::light_on(std::size_t enclosure) const {
  const int timer = spec_.enclosures[enclosure].timer;
  return timer >= 0 && timers_[at(timer)].on;
}

double DemoRoom::lux(std::size_t enclosure) const {
  const EnclosureSpec& spec = spec_.enclosures[enclosure];
  double lux = 30.0 * weather_.sun_share() + (light_on(enclosure) ? spec.light_lux : 0.0);
  if (spec.lamp_lux > 0.0) {
    // A dimmed filament gives light as about the 2.1th power of its watts (3.4 over 1.6 of its volts, from
    // memory).
    for (std::size_t i = 0; i < heaters_.size(); ++i) {
      const HeaterSpec& heater = spec_.heaters[i];
      if (heater.enclosures.size() == 1 && at(heater.enclosures[0]) == enclosure) {
        lux += spec.lamp_lux * std::pow(heaters_[i].power_w / heater.power_w, 2.1);
      }
    }
  }
  return lux;
}

double DemoRoom::truth_at(const ProbeSpec& probe, const ProbeFaults& faults) const {
  if (probe.quantity == Quantity::power) return heaters_[at(probe.heater)].power_w;
  if (probe.enclosure < 0 || faults.fell_out) {
    return probe.quantity == Quantity::temperature ? air_.air_degc()
                                                   : relative_humidity_pct(air_.vapour_pa(), air_.air_degc());
  }
  const Enclosure& enclosure = enclosures_[at(probe.enclosure)];
  if (probe.quantity == Quantity::light) return lux(at(probe.enclosure));
  Place place = Place::cool_air;
  if (probe.zone == Zone::hot) place = probe.medium == Medium::surface ? Place::hot_surface : Place::hot_air;
  if (probe.zone == Zone::middle) place = Place::middle_air;
  double degc = enclosure.at_degc(place);
  if (faults.out_of_place != 0.0) {
    const Place away = place == Place::cool_air ? Place::middle_air : Place::cool_air;
    degc += faults.out_of_place * (enclosure.at_degc(away) - degc);
  }
  if (probe.quantity == Quantity::humidity) return relative_humidity_pct(enclosure.vapour_pa(), degc);
  return degc + probe.radiation_k_per_w * around_[at(probe.enclosure)].heater_w;
}

void DemoRoom::step_probes() {
  for (std::size_t i = 0; i < probes_.size(); ++i) {
    Probe& probe = probes_[i];
    double truth = truth_at(spec_.probes[i], probe.faults);
    // Under an animal: its body, a little over the air about it.
    if (probe.faults.animal && spec_.probes[i].quantity == Quantity::temperature) truth += 0.8;
    probe.step(truth);
  }
}

void DemoRoom::report_due(const ReportSink& sink) {
  for (;;) {
    std::size_t first = instruments_.size();
    for (std::size_t i = 0; i < instruments_.size(); ++i) {
      const std::int64_t due = instruments_[i].next_ms;
      if (due <= now_ms_ && (first == instruments_.size() || due < instruments_[first].next_ms)) first = i;
    }
    if (first == instruments_.size()) return;
    InstrumentState& instrument = instruments_[first];
    const InstrumentSpec& spec = spec_.instruments[first];
    Report report;
    report.instrument = static_cast<int>(first);
    report.utc_ms = instrument.next_ms;
    report.count = instrument.count++;
    report.lost = instrument.rng.unit() < spec.loss_share || !powered(spec.circuit);
    const double days = static_cast<double>(report.count) * spec.interval_s / static_cast<double>(kDay_s);
    report.battery_v = std::max(1.8, spec.battery_v + spec.battery_v_per_day * days);
    report.values.reserve(instrument.probes.size());
    for (const int probe : instrument.probes) report.values.push_back({probe, probes_[at(probe)].read()});
    const double stretch = 1.0 + spec.jitter_share * instrument.rng.between(-1.0, 1.0);
    instrument.next_ms += std::max<std::int64_t>(1, std::llround(1000.0 * spec.interval_s * stretch));
    if (sink) sink(report);
  }
}

}  // namespace baskwell::demoroom
