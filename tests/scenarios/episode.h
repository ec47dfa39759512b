#pragma once
// One episode: a drawn room runs for some weeks in the simulator beside its healthy twin, every reading goes
// to core's engine and to what runs beside it, and what was said is held against what was true. Times UTC ms,
// K, degC, seconds of CPU of the calling thread. Same request, same result. One episode, one thread; episodes
// share nothing.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/alarm/kinds.h"
#include "scenarios/beside.h"
#include "scenarios/plan.h"
#include "scenarios/room_draw.h"

namespace baskwell::scenarios {

struct EpisodeRequest {
  std::uint64_t seed = 0;
  bool varied_interval = false;
  PlanRequest plan;
  NaiveSettings naive;
  bool verbose = false;  // gather what was going on at each false alarm
};

struct SaidAlarm {
  std::int64_t at_ms = 0;
  AlarmKind kind = AlarmKind::not_heating;
  std::optional<AlarmKind> other;
  Priority priority = Priority::low;  // the highest it reached
  std::string occurrence;
  std::string subject;
  std::string why;
  int unit = -1;  // -1: the room; -2: no such subject
};

// How a fault went.
struct FaultResult {
  PlannedFault planned;
  std::optional<HeaterClass> heater_class;  // none: the room
  bool after_outage = false;                // nobody planned it: a clock that runs late since
  bool counts = false;                      // it had an effect: it is to be found
  double effect_k = 0;                      // furthest from the healthy twin
  double size_k = 0;           // reset: of the step; probe moved: of what it reads wrong; drift: K a day
  std::int64_t onset_ms = -1;  // first effect
  std::int64_t found_ms = -1;
  AlarmKind found_as = AlarmKind::not_heating;
  std::optional<AlarmKind> found_other;
  Priority priority = Priority::low;
  bool named_first = false;  // the first alarm names it, among at most two
  bool named_ever = false;
  bool band_at_start = false;  // the plain band alarm was already on: no lead can be told
  std::int64_t band_ms = -1;
  std::int64_t naive_ms = -1;
  std::optional<AlarmKind> naive_as;
  std::string why;
};

struct FalseAlarm {
  SaidAlarm said;
  std::optional<HeaterClass> heater_class;
  std::string going_on;
};

struct OutageResult {  // the truth; what core says of it is compared once there is a record of it
  PlannedOutage planned;
};

struct EpisodeResult {
  std::uint64_t seed = 0;
  bool healthy = false;
  int enclosures = 0;             // with a probe
  double enclosure_years = 0;     // all that was simulated
  double watched_years = 0;       // after the learning days
  double watched_free_years = 0;  // of these, without a fault or its recovery
  std::vector<FaultResult> faults;
  std::vector<FalseAlarm> false_alarms;
  std::vector<OutageResult> outages;
  std::int64_t room_alarms_true = 0;  // the room was really out of its ways, nobody's fault
  std::int64_t unknown_subjects = 0;
  std::int64_t band_alarms_free = 0;  // plain band alarms without a fault
  std::int64_t naive_false = 0;
  double simulator_s = 0;
  double engine_s = 0;
  std::int64_t readings = 0;
  std::string room_text;  // what was drawn, one line
};

[[nodiscard]] EpisodeResult run_episode(const EpisodeRequest& request);

}  // namespace baskwell::scenarios
