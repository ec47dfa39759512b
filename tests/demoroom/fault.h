#pragma once
// The faults of the demo room: their names, the one-line commands that make and clear them, and the record of
// what was true when. `KIND TARGET [VALUE] [for MINUTES]`, `clear TARGET`, `faults`. Errors come back as text
// for a person. Pure; any thread.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "core/result.h"

namespace baskwell::demoroom {

enum class FaultKind {
  heater_off,
  heater_stuck_on,
  heater_weak,
  thermostat_drift,
  thermostat_reset,
  thermostat_hunting,
  thermostat_probe_out_of_place,
  thermostat_clock_off,
  cutout_open,
  probe_out_of_place,
  probe_dead,
  probe_frozen,
  probe_bad_value,
  animal_on_probe,
  power_cut,
  door_open,
  misting,
  heat_wave,
  room_heating_off,
  thermostat_probe_fell_out,
  probe_fell_out,
  thermostat_set,  // a keeper's doing, not a fault: so are misting, door-open and cleaning
  cleaning,
  air_mixed,
};

enum class TargetKind { heater, thermostat, probe, circuit, enclosure, room };

struct FaultRow {
  FaultKind kind;
  const char* name;
  TargetKind target;
  double default_value;
  double min_value;  // both 0: takes no value
  double max_value;
  double default_minutes;  // 0: until cleared
  bool value_is_minutes;   // VALUE says how long, not how much
};

[[nodiscard]] const std::vector<FaultRow>& fault_rows();
[[nodiscard]] const FaultRow& fault_row(FaultKind kind);

struct FaultCommand {
  FaultKind kind = FaultKind::heater_off;
  std::string target;
  double value = 0.0;    // in the unit the fault's row says
  double minutes = 0.0;  // 0: until cleared
};

struct ClearCommand {
  std::string target;  // or "all"
};

struct ListCommand {};

using Command = std::variant<FaultCommand, ClearCommand, ListCommand>;

[[nodiscard]] Result<Command> parse_command(std::string_view line);

// What was true: kept for ever, in the order it happened. `kind` is a fault's name, or `timer-late` (value:
// minutes).
struct TruthEntry {
  std::int64_t utc_ms = 0;
  bool begins = true;
  std::string kind;
  std::string target;
  double value = 0.0;
};

}  // namespace baskwell::demoroom
