#include "scenarios/calibrate.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace baskwell::scenarios {
namespace {

using demoroom::Enclosure;
using demoroom::Place;
using demoroom::Surroundings;

constexpr double kVapour_pa = 1050.0;

std::vector<Enclosure> built(const UnitUnderTest& unit, double start_degc, double step_s) {
  std::vector<Enclosure> all;
  for (const auto& spec : unit.enclosures) all.emplace_back(spec, start_degc, kVapour_pa, step_s);
  return all;
}

double hot_degc(const UnitUnderTest& unit, const std::vector<Enclosure>& all, Place place) {
  return all[static_cast<std::size_t>(unit.thermostat.probe.enclosure)].at_degc(place);
}

void run(std::vector<Enclosure>& all, double power_w, double room_degc, double for_s, double step_s) {
  const Surroundings around{room_degc, kVapour_pa, power_w / static_cast<double>(all.size()), 0.0, false};
  const auto steps = static_cast<std::int64_t>(for_s / step_s);
  for (std::int64_t i = 0; i < steps; ++i) {
    for (Enclosure& one : all) one.step(around, step_s);
  }
}

}  // namespace

Needs measure_needs(const UnitUnderTest& unit, double coldest_room_degc) {
  constexpr double kStep_s = 20.0;
  constexpr double kSettle_s = 40.0 * 3600.0;
  const double wanted_degc = unit.thermostat.day_degc;
  Needs needs;
  double power_w = 15.0 * static_cast<double>(unit.enclosures.size());
  std::vector<Enclosure> all;
  for (int attempt = 0; attempt < 8; ++attempt) {
    all = built(unit, 0.5 * (wanted_degc + coldest_room_degc), kStep_s);
    run(all, power_w, coldest_room_degc, kSettle_s, kStep_s);
    const double gained_k = hot_degc(unit, all, unit.thermostat.probe.place) - coldest_room_degc;
    const double wanted_k = wanted_degc - coldest_room_degc;
    if (gained_k <= 0.1) return needs;
    if (std::abs(gained_k - wanted_k) < 0.05 * wanted_k) {
      needs.sane = true;
      power_w *= wanted_k / gained_k;
      break;
    }
    power_w = std::clamp(power_w * std::pow(wanted_k / gained_k, 1.1), 1.0, 2000.0);
  }
  needs.power_w = power_w;
  if (!needs.sane) return needs;
  const double from_degc = hot_degc(unit, all, unit.logged);
  const double to_degc = coldest_room_degc + (from_degc - coldest_room_degc) * std::exp(-1.0);
  constexpr double kLongest_s = 8.0 * 3600.0;
  double passed_s = 0.0;
  while (passed_s < kLongest_s && hot_degc(unit, all, unit.logged) > to_degc) {
    run(all, 0.0, coldest_room_degc, kStep_s, kStep_s);
    passed_s += kStep_s;
  }
  needs.cooling_min = passed_s / 60.0;
  return needs;
}

Held measure_held(const UnitUnderTest& unit, double power_w, double room_degc) {
  constexpr double kStep_s = 5.0;
  constexpr std::int64_t kSettle_s = 16 * demoroom::kHour_s;
  constexpr std::int64_t kLook_s = 6 * demoroom::kHour_s;
  std::vector<Enclosure> all = built(unit, unit.thermostat.night_degc, kStep_s);
  demoroom::ThermostatSpec always_day = unit.thermostat;
  always_day.day_from_s = 0;
  always_day.day_to_s = demoroom::kDay_s;
  demoroom::Thermostat thermostat(always_day, unit.thermostat.night_degc, kStep_s);
  Surroundings around{room_degc, kVapour_pa, 0.0, 0.0, false};
  Held held;
  std::vector<double> hot;
  double cool_sum = 0.0;
  held.low_degc = 1e9;
  held.high_degc = -1e9;
  for (std::int64_t at_s = 0; at_s < kSettle_s + kLook_s; at_s += static_cast<std::int64_t>(kStep_s)) {
    const double share = thermostat.step(all, room_degc, at_s, 0, true);
    around.heater_w = share * power_w / static_cast<double>(all.size());
    for (Enclosure& one : all) one.step(around, kStep_s);
    const double here = hot_degc(unit, all, unit.thermostat.probe.place);
    if (held.warm_up_min == 0.0 && here > unit.thermostat.day_degc - 0.5) {
      held.warm_up_min = std::max(0.1, static_cast<double>(at_s) / 60.0);
    }
    for (const Enclosure& one : all) held.high_degc = std::max(held.high_degc, one.at_degc(unit.logged));
    if (at_s < kSettle_s) continue;
    for (const Enclosure& one : all) held.low_degc = std::min(held.low_degc, one.at_degc(unit.logged));
    hot.push_back(hot_degc(unit, all, unit.logged));
    cool_sum += hot_degc(unit, all, Place::cool_air);
  }
  const auto count = static_cast<double>(hot.size());
  held.mean_degc = std::accumulate(hot.begin(), hot.end(), 0.0) / count;
  held.cool_mean_degc = cool_sum / count;
  const auto [low, high] = std::minmax_element(hot.begin(), hot.end());
  held.swing_k = *high - *low;
  // Cycles: rising through the mean, having been a quarter of the swing below it.
  std::int64_t first = -1;
  std::int64_t last = -1;
  std::int64_t cycles = 0;
  bool below = false;
  for (std::size_t i = 0; i < hot.size(); ++i) {
    if (hot[i] < held.mean_degc - 0.2 * held.swing_k) below = true;
    if (!below || hot[i] < held.mean_degc) continue;
    below = false;
    last = static_cast<std::int64_t>(i);
    if (first < 0) {
      first = last;
    } else {
      ++cycles;
    }
  }
  if (cycles > 0)
    held.period_min = static_cast<double>(last - first) * kStep_s / 60.0 / static_cast<double>(cycles);
  return held;
}

}  // namespace baskwell::scenarios
