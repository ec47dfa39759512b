#pragma once
// What happens in one episode, drawn before it runs: disturbances, notes, gaps, faults, outages. From the
// issue's list of faults and its paragraph on the evaluation alone. Times are UTC ms. Pure; any thread.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/note.h"
#include "demoroom/fault.h"
#include "scenarios/room_draw.h"
#include "scenarios/swarm.h"

namespace baskwell::scenarios {

enum class ValueIs {
  as_drawn,
  share_of_need,  // heater-weak: of the power it needed at most over the day before
  above_setting,  // thermostat-reset: K from the setting in force when it happens
};

struct PlannedFault {
  AlarmKind kind = AlarmKind::not_heating;
  int unit = -1;   // -1: the room
  int probe = -1;  // probe_moved
  std::int64_t start_ms = 0;
  std::int64_t end_ms = 0;
  demoroom::FaultKind sim = demoroom::FaultKind::heater_off;
  std::string target;
  double value = 0;
  ValueIs value_is = ValueIs::as_drawn;
  int circuit = -1;  // not_heating because this circuit is off; one entry for each unit on it
  std::optional<NoteType> repair_note;  // the keeper writes it down when it is mended
};

struct PlannedOutage {
  std::int64_t start_ms = 0;
  std::int64_t end_ms = 0;
  int circuit = -1;  // -1: mains, all of them
};

struct PlannedEvent {  // a disturbance
  std::int64_t at_ms = 0;
  demoroom::FaultCommand command;
  int unit = -1;
};

struct PlannedNote {
  std::int64_t at_ms = 0;
  NoteType type = NoteType::other;
  std::string subject;
};

struct Gap {  // nothing arrives
  std::int64_t from_ms = 0;
  std::int64_t to_ms = 0;
  bool broker = false;  // and core is told that the broker is away
};

struct Plan {
  std::vector<PlannedEvent> events;  // these four ascending
  std::vector<PlannedNote> notes;
  std::vector<Gap> gaps;
  std::vector<PlannedFault> faults;
  std::vector<PlannedOutage> outages;
};

struct PlanRequest {
  bool healthy = false;
  int days = 45;
  std::optional<AlarmKind> only;  // this fault alone
};

inline constexpr std::int64_t kLearning_days = 10;  // no fault before, not counted as watched

[[nodiscard]] Plan draw_plan(const DrawnRoom& room, const Swarm& swarm, std::uint64_t seed,
                             const PlanRequest& request);

}  // namespace baskwell::scenarios
