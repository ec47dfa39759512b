// The fault commands of the demo room: who is meant, what changes in the physics, what is written down.

#include <algorithm>
#include <cmath>

#include "core/check.h"
#include "demoroom/demo_room.h"
#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

std::size_t at(int index) {
  return static_cast<std::size_t>(index);
}

bool holds(const std::vector<int>& all, int one) {
  return std::find(all.begin(), all.end(), one) != all.end();
}

std::int64_t minutes_ms(double minutes) {
  return std::llround(minutes * 60'000.0);
}

std::string list_of(const std::vector<EnclosureSpec>& enclosures, const std::vector<std::string>& circuits) {
  std::string text;
  for (const EnclosureSpec& one : enclosures) text += one.id + ", ";
  for (const std::string& one : circuits) text += one + ", ";
  return text + "room, all";
}

}  // namespace

Result<DemoRoom::Targets> DemoRoom::resolve_probe(const std::string& target) const {
  Targets found;
  const std::size_t slash = target.find('/');
  if (slash == std::string::npos) {
    return Error{"a probe is named ENCLOSURE/ZONE, as shelf-1/hot, shelf-1/rh or room/air"};
  }
  const std::string owner = target.substr(0, slash);
  const std::string what = target.substr(slash + 1);
  for (std::size_t i = 0; i < spec_.probes.size(); ++i) {
    const ProbeSpec& probe = spec_.probes[i];
    const std::string& id =
        probe.enclosure < 0 ? std::string("room") : spec_.enclosures[at(probe.enclosure)].id;
    if (id != owner) continue;
    const bool zone_named = probe.quantity == Quantity::temperature &&
                            (what == name(probe.zone) || (what == "air" && probe.medium == Medium::air));
    const bool quantity_named = (probe.quantity == Quantity::humidity && what == "rh") ||
                                (probe.quantity == Quantity::light && what == "lux") ||
                                (probe.quantity == Quantity::power && what == "power");
    // `air` means the one air probe of a tub or of the room; elsewhere the zone says which.
    const bool ambiguous = what == "air" && probe.zone == Zone::cool;
    if ((zone_named && !ambiguous) || quantity_named) found.probes.push_back(static_cast<int>(i));
  }
  if (found.probes.empty()) {
    return Error{"no probe '" + target +
                 "'; allowed after the slash: hot, middle, cool, air, rh, lux, power where fitted"};
  }
  return found;
}

Result<DemoRoom::Targets> DemoRoom::resolve(const FaultRow& row, const std::string& target) const {
  if (row.target == TargetKind::probe) return resolve_probe(target);
  Targets found;
  if (row.target == TargetKind::room) {
    if (target != "room" && target != "all")
      return Error{std::string(row.name) + " is about the room: say room"};
    found.room = true;
    return found;
  }
  if (row.target == TargetKind::circuit) {
    for (std::size_t i = 0; i < spec_.circuits.size(); ++i) {
      if (target == "all" || target == spec_.circuits[i]) found.circuits.push_back(static_cast<int>(i));
    }
    if (found.circuits.empty()) {
      return Error{"no circuit '" + target + "'; allowed: " + list_of({}, spec_.circuits)};
    }
    return found;
  }
  for (std::size_t i = 0; i < spec_.enclosures.size(); ++i) {
    const EnclosureSpec& one = spec_.enclosures[i];
    if (target == "all" || target == one.id || (!one.group.empty() && target == one.group)) {
      found.enclosures.push_back(static_cast<int>(i));
    }
  }
  if (found.enclosures.empty()) {
    return Error{"no enclosure '" + target + "'; allowed: " + list_of(spec_.enclosures, {})};
  }
  for (std::size_t i = 0; i < spec_.heaters.size(); ++i) {
    const HeaterSpec& heater = spec_.heaters[i];
    const auto meant = std::count_if(heater.enclosures.begin(), heater.enclosures.end(),
                                     [&](int one) { return holds(found.enclosures, one); });
    if (meant == 0) continue;
    if (at(static_cast<int>(meant)) != heater.enclosures.size() && row.target != TargetKind::enclosure) {
      return Error{"'" + target + "' shares " + heater.id + " with others: say " +
                   spec_.enclosures[at(heater.enclosures[0])].group};
    }
    found.heaters.push_back(static_cast<int>(i));
    if (heater.thermostat >= 0 && !holds(found.thermostats, heater.thermostat)) {
      found.thermostats.push_back(heater.thermostat);
    }
  }
  if (row.target == TargetKind::heater && found.heaters.empty())
    return Error{"'" + target + "' has no heater"};
  if (row.target == TargetKind::thermostat && found.thermostats.empty()) {
    return Error{"'" + target + "' has no thermostat"};
  }
  return found;
}

Outcome DemoRoom::inject(const FaultCommand& command) {
  const FaultRow& row = fault_row(command.kind);
  Result<Targets> targets = resolve(row, command.target);
  if (!targets) return targets.error();
  if (command.kind == FaultKind::misting) {
    for (const int one : targets.value().enclosures) enclosures_[at(one)].mist(command.value / 1000.0);
    note_truth(true, command);
    return Done{};
  }
  if (command.kind == FaultKind::cleaning) {
    for (const int one : targets.value().enclosures) enclosures_[at(one)].change_substrate(air_.air_degc());
  }
  // Said again, it takes the place of the one before.
  for (std::size_t i = 0; i < faults_.size(); ++i) {
    if (faults_[i].command.kind == command.kind && faults_[i].command.target == command.target) {
      end_fault(i);
      break;
    }
  }
  constexpr std::size_t kMostFaults = 1000;
  if (faults_.size() >= kMostFaults) return Error{"more than 1000 faults at once: clear some"};
  ActiveFault fault{command, std::move(targets).value(), 0};
  if (command.minutes > 0.0) fault.ends_ms = now_ms_ + minutes_ms(command.minutes);
  apply(fault, true);
  faults_.push_back(std::move(fault));
  note_truth(true, command);
  return Done{};
}

void DemoRoom::note_truth(bool begins, const FaultCommand& command) {
  truth_.push_back({now_ms_, begins, fault_row(command.kind).name, command.target, command.value});
}

void DemoRoom::end_fault(std::size_t index) {
  const ActiveFault fault = std::move(faults_[index]);
  faults_.erase(faults_.begin() + static_cast<std::ptrdiff_t>(index));
  apply(fault, false);
  // Another fault of the same kind may still hold one of the same things (rack and all): put it back.
  for (const ActiveFault& other : faults_) {
    const bool counted = other.command.kind == FaultKind::power_cut ||
                         other.command.kind == FaultKind::door_open ||
                         other.command.kind == FaultKind::cleaning;
    if (other.command.kind == fault.command.kind && !counted &&
        other.command.kind != FaultKind::thermostat_clock_off) {
      apply(other, true);
    }
  }
  note_truth(false, fault.command);
}

void DemoRoom::step_faults() {
  for (std::size_t i = 0; i < faults_.size();) {
    if (faults_[i].ends_ms != 0 && faults_[i].ends_ms <= now_ms_) {
      end_fault(i);
    } else {
      ++i;
    }
  }
  while (!scheduled_.empty() && scheduled_.front().at_ms <= now_ms_) {
    const FaultCommand command = scheduled_.front().command;
    scheduled_.erase(scheduled_.begin());
    const Outcome done = inject(command);
    CHECK(done.ok());  // it was resolved when it was scheduled, and the room has not changed
  }
}

Outcome DemoRoom::schedule(std::int64_t utc_ms, const FaultCommand& command) {
  if (utc_ms < now_ms_) return Error{"a fault cannot begin in the past"};
  const Result<Targets> targets = resolve(fault_row(command.kind), command.target);
  if (!targets) return targets.error();
  const auto after =
      std::upper_bound(scheduled_.begin(), scheduled_.end(), utc_ms,
                       [](std::int64_t when, const Scheduled& one) { return when < one.at_ms; });
  scheduled_.insert(after, Scheduled{utc_ms, command});
  return Done{};
}

void DemoRoom::apply(const ActiveFault& fault, bool on) {
  apply_to_heaters(fault, on);
  apply_to_thermostats(fault, on);
  apply_to_probes(fault, on);
  const int change = on ? 1 : -1;
  if (fault.command.kind == FaultKind::power_cut) {
    for (const int one : fault.targets.circuits) circuit_cuts_[at(one)] += change;
  } else if (fault.command.kind == FaultKind::door_open || fault.command.kind == FaultKind::cleaning) {
    for (const int one : fault.targets.enclosures) doors_open_[at(one)] += change;
  } else if (fault.command.kind == FaultKind::air_mixed) {
    for (const int one : fault.targets.enclosures) {
      enclosures_[at(one)].set_mixing_times(on ? fault.command.value : 1.0);
    }
  } else if (fault.command.kind == FaultKind::heat_wave) {
    weather_.heat_wave_k = on ? fault.command.value : 0.0;
    air_.cooling_off = on;
  } else if (fault.command.kind == FaultKind::room_heating_off) {
    air_.heating_off = on;
  }
}

void DemoRoom::apply_to_heaters(const ActiveFault& fault, bool on) {
  for (const int one : fault.targets.heaters) {
    HeaterState& heater = heaters_[at(one)];
    if (fault.command.kind == FaultKind::heater_off) heater.off = on;
    if (fault.command.kind == FaultKind::heater_stuck_on) heater.stuck_on = on;
    if (fault.command.kind == FaultKind::cutout_open) heater.forced_open = on;
    if (fault.command.kind == FaultKind::heater_weak) heater.weak_share = on ? fault.command.value : 1.0;
  }
}

void DemoRoom::apply_to_thermostats(const ActiveFault& fault, bool on) {
  const double value = fault.command.value;
  for (const int one : fault.targets.thermostats) {
    Thermostat& thermostat = thermostats_[at(one)];
    ThermostatFaults& faults = thermostat.faults;
    switch (fault.command.kind) {
      case FaultKind::thermostat_drift:
        faults.drift_k_per_day = on ? value : 0.0;
        faults.drift_since_s = now_ms_ / 1000;
        break;
      case FaultKind::thermostat_reset:
        faults.reset_degc = on ? std::optional<double>(value) : std::nullopt;
        break;
      case FaultKind::thermostat_hunting:
        faults.hunting = on ? value : 0.0;
        break;
      case FaultKind::thermostat_probe_out_of_place:
        faults.out_of_place = on ? value : 0.0;
        break;
      case FaultKind::thermostat_probe_fell_out:
        faults.fell_out = on;
        break;
      case FaultKind::thermostat_set:
        faults.set_by_k = on ? value : 0.0;
        break;
      case FaultKind::thermostat_clock_off:
        if (on) {
          thermostat.clock().make_late(std::llround(value * 60.0));
        } else {
          thermostat.clock().put_right();
        }
        break;
      default:
        break;
    }
  }
}

void DemoRoom::apply_to_probes(const ActiveFault& fault, bool on) {
  for (const int one : fault.targets.probes) {
    ProbeFaults& faults = probes_[at(one)].faults;
    if (fault.command.kind == FaultKind::probe_out_of_place)
      faults.out_of_place = on ? fault.command.value : 0.0;
    if (fault.command.kind == FaultKind::probe_fell_out) faults.fell_out = on;
    if (fault.command.kind == FaultKind::probe_dead) faults.dead = on;
    if (fault.command.kind == FaultKind::probe_frozen) faults.frozen = on;
    if (fault.command.kind == FaultKind::animal_on_probe) faults.animal = on;
    if (fault.command.kind == FaultKind::probe_bad_value) {
      faults.bad_value = on ? std::optional<double>(fault.command.value) : std::nullopt;
    }
  }
}

Result<std::string> DemoRoom::clear(const std::string& target) {
  int cleared = 0;
  const auto meant = [&](const std::string& one) {
    return target == "all" || one == target || one.starts_with(target + "/");
  };
  for (std::size_t i = 0; i < faults_.size();) {
    if (meant(faults_[i].command.target)) {
      end_fault(i);
      ++cleared;
    } else {
      ++i;
    }
  }
  int closed = 0;
  for (std::size_t i = 0; i < heaters_.size(); ++i) {
    const EnclosureSpec& first = spec_.enclosures[at(spec_.heaters[i].enclosures[0])];
    if (heaters_[i].cutout_open && (meant(first.id) || meant(first.group))) {
      heaters_[i].cutout_open = false;
      ++closed;
    }
  }
  int set_right = 0;
  for (std::size_t i = 0; i < timers_.size(); ++i) {
    if (timers_[i].clock.late_s() != 0 && (target == "all" || target == spec_.timers[i].id)) {
      timers_[i].clock.put_right();
      truth_.push_back({now_ms_, false, "timer-late", spec_.timers[i].id, 0.0});
      ++set_right;
    }
  }
  if (cleared + closed + set_right == 0) return Error{"no fault on '" + target + "'; 'faults' lists them"};
  std::string text = std::to_string(cleared) + " cleared";
  if (closed > 0) text += ", " + std::to_string(closed) + " cut-out closed";
  if (set_right > 0) text += ", " + std::to_string(set_right) + " timer set right";
  return text;
}

std::string DemoRoom::list_faults() const {
  if (faults_.empty()) return "no faults";
  std::string text;
  for (const ActiveFault& fault : faults_) {
    if (!text.empty()) text += "; ";
    text += std::string(fault_row(fault.command.kind).name) + " " + fault.command.target;
    if (fault.ends_ms != 0) text += " until " + rfc3339_ms(fault.ends_ms);
  }
  return text;
}

Result<std::string> DemoRoom::command(std::string_view line) {
  const Result<Command> parsed = parse_command(line);
  if (!parsed) return parsed.error();
  if (std::holds_alternative<ListCommand>(parsed.value())) return list_faults();
  if (const auto* clearing = std::get_if<ClearCommand>(&parsed.value())) return clear(clearing->target);
  const auto& fault = std::get<FaultCommand>(parsed.value());
  const Outcome done = inject(fault);
  if (!done) return done.error();
  std::string text = std::string(fault_row(fault.kind).name) + " on " + fault.target;
  if (fault.minutes > 0.0) text += " until " + rfc3339_ms(now_ms_ + minutes_ms(fault.minutes));
  return text;
}

}  // namespace baskwell::demoroom
