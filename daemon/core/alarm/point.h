#pragma once
// One alarm point: a kind on a subject, with its delays, deadband and state. Facts go in (how far beyond a
// limit), the state machine's inputs come out. Durations in ms by the elapsed clock; excess in the judged
// unit, positive = beyond. Pure; one thread.

#include <cstdint>
#include <optional>

#include "core/alarm/kinds.h"
#include "core/alarm/machine.h"
#include "core/time.h"

namespace baskwell {

// A fact about one point at one moment. Excess is value beyond the limit in the harmful direction (negative:
// inside); -infinity where there is no such limit. For faults without a number: +1 there is the fault,
// -infinity there is not.
struct Fact {
  double target_excess;
  double harm_excess;
  double value;
  double limit;  // the target limit in force
};

// One of the two limits of a point while it waits or holds.
struct LimitTimer {
  bool beyond = false;        // latest fact, with the deadband where `active`
  bool active = false;        // after the on-delay, until after the off-delay
  std::uint16_t samples = 0;  // facts in a row that said beyond, saturating
  ElapsedMs since;            // of the latest change of `beyond`
};

struct PointState {
  LimitTimer target;
  LimitTimer harm;
  AlarmState state = AlarmState::normal;
  Level level = Level::none;     // highest reached in this occurrence
  std::uint64_t occurrence = 0;  // 0: none open
  double value = 0;              // of the latest fact
  double limit = 0;
  double worst_excess = 0;  // since the occurrence began
  double told_excess = 0;   // excess when last told or acknowledged
  UtcMs began;              // when the condition began
  UtcMs raised;
  ElapsedMs repeat_at{INT64_MAX};  // next telling while unacknowledged
  ElapsedMs shelved_until{INT64_MAX};
};

// What update() and due() found; the engine records, tells and counts.
struct PointChange {
  AlarmInput input;
  Level level;
};

// Take in a fact. At most one change: occurs, returns, realarm or worsens.
[[nodiscard]] std::optional<PointChange> update(PointState& point, const AlarmSettings& settings,
                                                const Fact& fact, Stamp now);

// Let time pass without a new fact: on-delays and off-delays that end. Call at next_due().
[[nodiscard]] std::optional<PointChange> pass_time(PointState& point, const AlarmSettings& settings,
                                                   Stamp now);

// When pass_time() could next change something; INT64_MAX: never. Repeats and shelving are not included.
[[nodiscard]] ElapsedMs next_due(const PointState& point, const AlarmSettings& settings);

}  // namespace baskwell
