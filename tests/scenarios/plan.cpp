#include "scenarios/plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "core/check.h"
#include "scenarios/disturbances.h"

namespace baskwell::scenarios {
namespace {

using demoroom::FaultKind;
using demoroom::Rng;

constexpr std::int64_t kMinute_ms = 60'000;
constexpr std::int64_t kHour_ms = 60 * kMinute_ms;
constexpr std::int64_t kDay_ms = 24 * kHour_ms;
// Between two faults of one unit: time to come back, to be mended and to be believed again.
constexpr std::int64_t kApart_ms = 4 * kDay_ms;

struct KindWeight {
  AlarmKind kind;
  double weight;  // those with the tightest figures are drawn more often
  bool of_room;
};
constexpr std::array<KindWeight, 13> kWeights{{
    {AlarmKind::not_heating, 2.5, false},
    {AlarmKind::heating_stuck_on, 2.5, false},
    {AlarmKind::heating_weak, 1.5, false},
    {AlarmKind::thermostat_drift, 1.5, false},
    {AlarmKind::thermostat_reset, 2.0, false},
    {AlarmKind::thermostat_hunting, 1.0, false},
    {AlarmKind::thermostat_probe_moved, 2.5, false},
    {AlarmKind::probe_moved, 2.0, false},
    {AlarmKind::high_cutout_open, 1.0, false},
    {AlarmKind::room_cold, 0.6, true},
    {AlarmKind::room_hot, 0.6, true},
    {AlarmKind::night_drop_shifted, 1.0, false},
    {AlarmKind::gradient_lost, 1.0, false},
}};

class FaultDrawer {
 public:
  FaultDrawer(const DrawnRoom& room, const Rng& root, const PlanRequest& request)
      : room_(room), rng_(root.fork("faults")), request_(request) {
    for (std::size_t i = 0; i < kWeights.size(); ++i) {
      weights_[i] = rng_.unit() < 0.65 ? kWeights[i].weight * rng_.between(0.5, 1.5) : 0.0;
      if (request.only) weights_[i] = *request.only == kWeights[i].kind ? 1.0 : 0.0;
    }
    if (std::all_of(weights_.begin(), weights_.end(), [](double one) { return one == 0.0; }))
      weights_[0] = 1.0;
    end_ms_ = room.start_ms + request.days * kDay_ms;
    free_from_ms_.assign(room.units.size() + 1, room.start_ms + kLearning_days * kDay_ms);
  }

  void draw(Plan& plan) {
    const bool single = rng_.unit() < 0.3;
    if (single) {
      draw_for(static_cast<int>(rng_.unit() * static_cast<double>(room_.units.size())), plan, true);
    } else {
      for (std::size_t i = 0; i < room_.units.size(); ++i) {
        if (rng_.unit() < 0.85) draw_for(static_cast<int>(i), plan, false);
        if (rng_.unit() < 0.5) draw_for(static_cast<int>(i), plan, false);
      }
    }
    if (single || request_.only || rng_.unit() < 0.4) draw_room_fault(plan);
    if (!request_.only && rng_.unit() < 0.4) draw_outages(plan);
    std::sort(plan.faults.begin(), plan.faults.end(),
              [](const PlannedFault& a, const PlannedFault& b) { return a.start_ms < b.start_ms; });
    std::sort(plan.outages.begin(), plan.outages.end(),
              [](const PlannedOutage& a, const PlannedOutage& b) { return a.start_ms < b.start_ms; });
  }

 private:
  double hours(double low, double high) { return std::exp(rng_.between(std::log(low), std::log(high))); }

  std::optional<AlarmKind> draw_kind(bool of_room) {
    double sum = 0.0;
    for (std::size_t i = 0; i < kWeights.size(); ++i) {
      if (kWeights[i].of_room == of_room) sum += weights_[i];
    }
    if (sum <= 0.0) return std::nullopt;
    double left = rng_.between(0.0, sum);
    std::optional<AlarmKind> last;
    for (std::size_t i = 0; i < kWeights.size(); ++i) {
      if (kWeights[i].of_room != of_room || weights_[i] == 0.0) continue;
      last = kWeights[i].kind;
      left -= weights_[i];
      if (left < 0.0) break;
    }
    return last;
  }

  // Anywhere in what is left, half of them about dawn or dusk.
  std::int64_t draw_start(std::int64_t from_ms, std::int64_t length_ms, const DrawnUnit* unit) {
    const std::int64_t latest_ms = end_ms_ - std::min(length_ms, 2 * kDay_ms);
    if (latest_ms <= from_ms) return -1;
    const double wide_ms =
        std::min(static_cast<double>(latest_ms - from_ms), 14.0 * static_cast<double>(kDay_ms));
    std::int64_t at_ms = from_ms + std::llround(rng_.unit() * wide_ms);
    if (unit != nullptr && rng_.unit() < 0.5) {
      const auto& thermostat = room_.sim.thermostats[static_cast<std::size_t>(unit->thermostat)];
      const std::int64_t edge_s = rng_.unit() < 0.5 ? thermostat.day_from_s : thermostat.day_to_s;
      const std::int64_t midnight_ms =
          at_ms - demoroom::day_second(at_ms / 1000 + room_.local_offset_s) * 1000;
      at_ms =
          midnight_ms + edge_s * 1000 + std::llround(rng_.between(-1.0, 2.0) * static_cast<double>(kHour_ms));
    }
    return std::clamp(at_ms, from_ms, latest_ms);
  }

  void draw_for(int unit_index, Plan& plan, bool single) {
    const DrawnUnit& unit = room_.units[static_cast<std::size_t>(unit_index)];
    const std::optional<AlarmKind> kind = draw_kind(false);
    if (!kind) return;
    PlannedFault fault;
    fault.kind = *kind;
    fault.unit = unit_index;
    fault.target = unit.target;
    const double length_h = shape(fault, unit);
    if (length_h <= 0.0) return;
    const auto length_ms = static_cast<std::int64_t>(length_h * static_cast<double>(kHour_ms));
    std::int64_t& free_from_ms = free_from_ms_[static_cast<std::size_t>(unit_index)];
    fault.start_ms = draw_start(free_from_ms, length_ms, &unit);
    if (fault.start_ms < 0) return;
    fault.end_ms = std::min(fault.start_ms + length_ms, end_ms_);
    free_from_ms = fault.end_ms + kApart_ms;
    if (rng_.unit() < 0.7) fault.repair_note = mended_by(fault.kind);
    if (single && fault.kind == AlarmKind::not_heating && rng_.unit() < 0.4) {
      whole_circuit(fault, plan);
      return;
    }
    if (fault.kind == AlarmKind::thermostat_reset && rng_.unit() < 0.5 && single) {
      const std::int64_t cut_ms = std::llround(hours(0.05, 1.0) * static_cast<double>(kHour_ms));
      const auto& thermostat = room_.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
      plan.outages.push_back({fault.start_ms - cut_ms, fault.start_ms, thermostat.circuit});
    }
    plan.faults.push_back(std::move(fault));
  }

  void whole_circuit(PlannedFault fault, Plan& plan) {
    const DrawnUnit& unit = room_.units[static_cast<std::size_t>(fault.unit)];
    const int circuit = room_.sim.heaters[static_cast<std::size_t>(unit.heater)].circuit;
    fault.sim = FaultKind::power_cut;
    fault.circuit = circuit;
    fault.target = room_.sim.circuits[static_cast<std::size_t>(circuit)];
    fault.value = static_cast<double>(fault.end_ms - fault.start_ms) / static_cast<double>(kMinute_ms);
    fault.repair_note.reset();
    for (std::size_t i = 0; i < room_.units.size(); ++i) {
      if (room_.sim.heaters[static_cast<std::size_t>(room_.units[i].heater)].circuit != circuit) continue;
      fault.unit = static_cast<int>(i);
      plan.faults.push_back(fault);
      free_from_ms_[i] = fault.end_ms + kApart_ms;
    }
  }

  static std::optional<NoteType> mended_by(AlarmKind kind) {
    switch (kind) {
      case AlarmKind::not_heating:
      case AlarmKind::heating_stuck_on:
      case AlarmKind::heating_weak:
        return NoteType::heater_changed;
      case AlarmKind::thermostat_drift:
      case AlarmKind::thermostat_reset:
      case AlarmKind::thermostat_hunting:
      case AlarmKind::thermostat_probe_moved:
      case AlarmKind::night_drop_shifted:
        return NoteType::thermostat_adjusted;
      case AlarmKind::probe_moved:
        return NoteType::probe_moved;
      case AlarmKind::high_cutout_open:
        return NoteType::cut_out_tested;
      default:
        return std::nullopt;
    }
  }

  double sign() { return rng_.unit() < 0.5 ? -1.0 : 1.0; }

  // What it is in the simulator, and how long it lasts, hours; 0: this unit cannot have it.
  double shape(PlannedFault& fault, const DrawnUnit& unit) {
    switch (fault.kind) {
      case AlarmKind::not_heating:
        fault.sim = FaultKind::heater_off;
        return hours(6, 36);
      case AlarmKind::heating_stuck_on:
        fault.sim = FaultKind::heater_stuck_on;
        return hours(4, 24);
      case AlarmKind::heating_weak:
        fault.sim = FaultKind::heater_weak;
        fault.value_is = ValueIs::share_of_need;
        fault.value = rng_.between(0.5, 0.93);
        return hours(36, 144);
      case AlarmKind::thermostat_drift:
        fault.sim = FaultKind::thermostat_drift;
        fault.value = sign() * rng_.between(0.1, 0.3);
        return 24.0 * rng_.between(1.3, 2.5) / std::abs(fault.value);
      case AlarmKind::thermostat_reset:
        fault.sim = FaultKind::thermostat_reset;
        fault.value_is = ValueIs::above_setting;
        fault.value = rng_.unit() < 0.65 ? -rng_.between(0.7, 6.0) : rng_.between(0.7, 3.5);
        return hours(12, 96);
      case AlarmKind::thermostat_hunting:
        fault.sim = FaultKind::thermostat_hunting;
        return hunting(fault, unit);
      case AlarmKind::thermostat_probe_moved:
        return probe_of_thermostat(fault);
      case AlarmKind::probe_moved:
        return logging_probe(fault, unit);
      case AlarmKind::high_cutout_open:
        fault.sim = FaultKind::cutout_open;
        return unit.has_cutout ? hours(6, 36) : 0.0;
      case AlarmKind::night_drop_shifted:
        return night_drop(fault, unit);
      case AlarmKind::gradient_lost:
        fault.sim = FaultKind::air_mixed;
        fault.value = rng_.between(8.0, 45.0);
        return unit.cool_probes.empty() ? 0.0 : hours(12, 96);
      default:
        return 0.0;
    }
  }

  double hunting(PlannedFault& fault, const DrawnUnit& unit) {
    const auto& thermostat = room_.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    fault.value = thermostat.kind == demoroom::ThermostatKind::on_off
                      ? thermostat.differential_k * rng_.between(2.5, 5.0)
                      : rng_.between(8.0, 50.0);
    return hours(12, 96);
  }

  double probe_of_thermostat(PlannedFault& fault) {
    const double draw = rng_.unit();
    if (draw < 0.3) {
      fault.sim = FaultKind::thermostat_probe_fell_out;
    } else {
      fault.sim = FaultKind::thermostat_probe_out_of_place;
      fault.value = draw < 0.75 ? rng_.between(0.3, 1.0) : -rng_.between(0.4, 1.0);
    }
    return hours(6, 36);
  }

  double logging_probe(PlannedFault& fault, const DrawnUnit& unit) {
    std::vector<int> probes = unit.hot_probes;
    probes.insert(probes.end(), unit.cool_probes.begin(), unit.cool_probes.end());
    fault.probe = probes[static_cast<std::size_t>(rng_.unit() * static_cast<double>(probes.size()))];
    const demoroom::ProbeSpec& probe = room_.sim.probes[static_cast<std::size_t>(fault.probe)];
    fault.target =
        room_.sim.enclosures[static_cast<std::size_t>(probe.enclosure)].id + "/" + demoroom::name(probe.zone);
    if (rng_.unit() < 0.3) {
      fault.sim = FaultKind::probe_fell_out;
    } else {
      fault.sim = FaultKind::probe_out_of_place;
      fault.value = rng_.between(0.2, 1.0);
    }
    return hours(12, 96);
  }

  double night_drop(PlannedFault& fault, const DrawnUnit& unit) {
    const auto& thermostat = room_.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    if (thermostat.day_degc - thermostat.night_degc < 1.5) return 0.0;
    fault.sim = FaultKind::thermostat_clock_off;
    fault.value = sign() * rng_.between(60.0, 720.0);
    return hours(48, 144);
  }

  void draw_room_fault(Plan& plan) {
    const std::optional<AlarmKind> kind = draw_kind(true);
    if (!kind) return;
    PlannedFault fault;
    fault.kind = *kind;
    fault.target = "room";
    if (*kind == AlarmKind::room_cold) {
      fault.sim = FaultKind::room_heating_off;
    } else {
      fault.sim = FaultKind::heat_wave;
      fault.value = rng_.between(8.0, 20.0);
    }
    const auto length_ms = static_cast<std::int64_t>(hours(10, 60) * static_cast<double>(kHour_ms));
    fault.start_ms = draw_start(free_from_ms_.back(), length_ms, nullptr);
    if (fault.start_ms < 0) return;
    fault.end_ms = std::min(fault.start_ms + length_ms, end_ms_);
    plan.faults.push_back(std::move(fault));
  }

  // Not while something else is wrong: what an outage leaves behind must be seen alone.
  void draw_outages(Plan& plan) {
    const int count = 1 + static_cast<int>(rng_.unit() * 3.0);
    for (int i = 0; i < count; ++i) {
      const auto length_ms = static_cast<std::int64_t>(hours(0.05, 8.0) * static_cast<double>(kHour_ms));
      const std::int64_t start_ms = draw_start(free_from_ms_.back(), length_ms, nullptr);
      if (start_ms < 0) continue;
      const std::int64_t quiet_ms = 12 * kHour_ms;
      const bool meets =
          std::any_of(plan.faults.begin(), plan.faults.end(),
                      [&](const PlannedFault& one) {
                        return one.start_ms < start_ms + length_ms + quiet_ms &&
                               start_ms < one.end_ms + quiet_ms;
                      }) ||
          std::any_of(plan.outages.begin(), plan.outages.end(), [&](const PlannedOutage& one) {
            return one.start_ms < start_ms + length_ms + kDay_ms && start_ms < one.end_ms + kDay_ms;
          });
      if (meets) continue;
      const int circuits = static_cast<int>(room_.sim.circuits.size());
      const int circuit = rng_.unit() < 0.5 ? -1 : static_cast<int>(rng_.unit() * circuits);
      plan.outages.push_back({start_ms, start_ms + length_ms, circuit});
    }
  }

  const DrawnRoom& room_;
  Rng rng_;
  PlanRequest request_;
  std::array<double, kWeights.size()> weights_{};
  std::int64_t end_ms_ = 0;
  std::vector<std::int64_t> free_from_ms_;  // by unit; the last: the room
};

}  // namespace

Plan draw_plan(const DrawnRoom& room, const Swarm& swarm, std::uint64_t seed, const PlanRequest& request) {
  const Rng root(seed);
  Plan plan;
  draw_disturbances(room, swarm, root, request.days, plan);
  if (!request.healthy) FaultDrawer(room, root, request).draw(plan);
  for (const PlannedFault& fault : plan.faults) {
    if (fault.repair_note) {
      plan.notes.push_back(
          {fault.end_ms, *fault.repair_note, room.units[static_cast<std::size_t>(fault.unit)].target});
    }
  }
  std::stable_sort(plan.events.begin(), plan.events.end(),
                   [](const PlannedEvent& a, const PlannedEvent& b) { return a.at_ms < b.at_ms; });
  std::stable_sort(plan.notes.begin(), plan.notes.end(),
                   [](const PlannedNote& a, const PlannedNote& b) { return a.at_ms < b.at_ms; });
  return plan;
}

}  // namespace baskwell::scenarios
