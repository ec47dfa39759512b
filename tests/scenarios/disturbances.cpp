#include "scenarios/disturbances.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace baskwell::scenarios {
namespace {

using demoroom::FaultKind;
using demoroom::Rng;

constexpr std::int64_t kMinute_ms = 60'000;
constexpr std::int64_t kDay_ms = 1440 * kMinute_ms;

// Moments of a Poisson process of this rate over the episode; by day only where `waking`.
std::vector<std::int64_t> moments(Rng& rng, const DrawnRoom& room, int days, double per_day, bool waking) {
  std::vector<std::int64_t> at;
  if (per_day <= 0) return at;
  const double end_days = days;
  double day = 0.0;
  for (;;) {
    day += -std::log(1.0 - rng.unit()) / per_day;
    if (day >= end_days) return at;
    std::int64_t when_ms = room.start_ms + std::llround(day * static_cast<double>(kDay_ms));
    if (waking) {  // 7:00 to 22:00 local
      const std::int64_t local_midnight_ms =
          when_ms - demoroom::day_second(when_ms / 1000 + room.local_offset_s) * 1000;
      when_ms = std::max<std::int64_t>(
          local_midnight_ms + std::llround(rng.between(7.0, 22.0) * 60.0) * kMinute_ms, room.start_ms);
    }
    at.push_back(when_ms);
  }
}

std::string owner_of(const DrawnRoom& room, int probe) {
  return room.sim
      .enclosures[static_cast<std::size_t>(room.sim.probes[static_cast<std::size_t>(probe)].enclosure)]
      .id;
}

void of_enclosures(const DrawnRoom& room, const Swarm& swarm, Rng& rng, int days, Plan& plan) {
  for (std::size_t i = 0; i < room.sim.enclosures.size(); ++i) {
    const std::string& id = room.sim.enclosures[i].id;
    const int unit = room.unit_of_enclosure[i];
    for (const std::int64_t at : moments(rng, room, days, swarm.door_per_day, true)) {
      const double minutes = std::exp(rng.between(std::log(0.5), std::log(15.0)));
      plan.events.push_back({at, {FaultKind::door_open, id, minutes, minutes}, unit});
    }
    for (const std::int64_t at : moments(rng, room, days, swarm.misting_per_day, true)) {
      plan.events.push_back({at, {FaultKind::misting, id, rng.between(10.0, 120.0), 0.0}, unit});
      if (rng.unit() < 0.2) plan.notes.push_back({at, NoteType::misted, id});
    }
    const double cleanings_per_day = swarm.cleaning_every_days > 0 ? 1.0 / swarm.cleaning_every_days : 0.0;
    for (const std::int64_t at : moments(rng, room, days, cleanings_per_day, true)) {
      const double minutes = rng.between(12.0, 40.0);
      plan.events.push_back({at, {FaultKind::cleaning, id, minutes, minutes}, unit});
      if (rng.unit() < swarm.cleaning_note_share) plan.notes.push_back({at, NoteType::cleaned, id});
    }
  }
}

void of_probes(const DrawnRoom& room, const Swarm& swarm, Rng& rng, int days, Plan& plan) {
  for (std::size_t i = 0; i < room.sim.probes.size(); ++i) {
    const demoroom::ProbeSpec& probe = room.sim.probes[i];
    if (probe.enclosure < 0 || probe.quantity != demoroom::Quantity::temperature) continue;
    const std::string target = owner_of(room, static_cast<int>(i)) + "/" + demoroom::name(probe.zone);
    const int unit = room.unit_of_enclosure[static_cast<std::size_t>(probe.enclosure)];
    for (const std::int64_t at : moments(rng, room, days, swarm.animal_per_day, false)) {
      const double minutes = rng.between(20.0, 300.0);
      plan.events.push_back({at, {FaultKind::animal_on_probe, target, minutes, minutes}, unit});
    }
    for (const std::int64_t at : moments(rng, room, days, swarm.bad_value_per_day, false)) {
      constexpr double kBad[] = {85.0, -127.0};
      const double bad = rng.unit() < 0.4 ? std::nan("") : kBad[rng.unit() < 0.5 ? 0 : 1];
      plan.events.push_back({at, {FaultKind::probe_bad_value, target, bad, rng.between(0.5, 3.0)}, unit});
    }
  }
}

// The keeper turns a thermostat a little warmer or cooler with the season, and writes it down.
void seasonal_plans(const DrawnRoom& room, const Swarm& swarm, Rng& rng, int days, Plan& plan) {
  if (swarm.seasonal_every_days <= 0) return;
  for (std::size_t i = 0; i < room.units.size(); ++i) {
    const DrawnUnit& unit = room.units[i];
    if (rng.unit() < 0.4) continue;
    const double step_k = (rng.unit() < 0.5 ? -1.0 : 1.0) * rng.between(0.3, 1.0);
    double sum_k = 0.0;
    for (const std::int64_t at : moments(rng, room, days, 1.0 / swarm.seasonal_every_days, true)) {
      if (std::abs(sum_k + step_k) > 1.3) break;
      sum_k += step_k;
      plan.events.push_back({at, {FaultKind::thermostat_set, unit.target, sum_k, 0.0}, static_cast<int>(i)});
      const std::string thermostat = room.sim.thermostats[static_cast<std::size_t>(unit.thermostat)].id;
      plan.notes.push_back({at, NoteType::thermostat_adjusted, rng.unit() < 0.5 ? thermostat : unit.target});
    }
  }
}

}  // namespace

void draw_disturbances(const DrawnRoom& room, const Swarm& swarm, const demoroom::Rng& root, int days,
                       Plan& plan) {
  Rng rng = root.fork("disturbances");
  of_enclosures(room, swarm, rng, days, plan);
  of_probes(room, swarm, rng, days, plan);
  seasonal_plans(room, swarm, rng, days, plan);
  for (const std::int64_t at : moments(rng, room, days, swarm.gap_per_day, false)) {
    const std::int64_t length_ms =
        std::llround(std::exp(rng.between(std::log(2.0), std::log(120.0)))) * kMinute_ms;
    if (!plan.gaps.empty() && at < plan.gaps.back().to_ms + 10 * kMinute_ms) continue;
    plan.gaps.push_back({at, at + length_ms, rng.unit() < 0.5});
  }
}

}  // namespace baskwell::scenarios
