#pragma once
// One alarm point: a kind on a subject, with its delays, deadband and state. Facts go in (how far beyond a
// limit), the state machine's inputs come out. Durations in ms by the elapsed clock; excess in the judged
// unit, positive = beyond. Pure; one thread.
//
// Who changes what: update(), pass_time() and raise_pending_harm() change everything in PointState but
// `state`, `occurrence`, `repeat_at` and `shelved_until`; those are the engine's, by next_state() with
// condition_holds(). The change they return is always a transition of the table from `state`. The engine
// calls pass_time() at every next_due() up to a fact's stamp before it hands in the fact; so an alarm comes
// and goes at the moment a delay ends, however seldom time is told. AlarmSettings::enabled is the engine's to
// read.
//
// The rules
//   on-delay   the limit (excess strictly above 0) is exceeded by every fact for the whole delay, and by two
//              facts at least (by one, where Fact::one_is_enough). One fact inside starts it anew.
//   deadband   only on return: once active, a limit counts as beyond until excess <= -deadband.
//   off-delay  back inside by the deadband for the whole delay; one fact not so starts it anew.
//   two limits each with its own timer. The condition holds while either is active; it begins (`occurs`) with
//              the first and ends (`returns`) with the last. Level rises and stays for the occurrence.
//   telling    B: `worsens` once, on reaching harm. C: `realarm` on reaching harm (also once more, after it
//              was back from harm for the off-delay), or when worse by worsen_step than told_excess. Falling
//              back from harm to target is never told.
//   G, H, I    timers go on in silence, so that the condition is known on leaving. A harm limit is never
//              covered by G or H: `unshelve` or `unsuppress` is returned for as long as it is active there. I
//              covers it: a person took the point out of service.

#include <cstdint>
#include <optional>

#include "core/alarm/kinds.h"
#include "core/alarm/machine.h"
#include "core/time.h"

namespace baskwell {

// A fact about one point at one moment. Excess is value beyond the limit in the harmful direction (negative:
// inside); -infinity where there is no such limit; never NaN (CHECK). For faults without a number: +1 there
// is the fault, -infinity there is not, and one_is_enough.
struct Fact {
  double target_excess;
  double harm_excess;
  double value;
  double limit;                // the target limit in force
  bool one_is_enough = false;  // need not be seen twice: not a measurement that may be a single slip
};

// One of the two limits of a point while it waits or holds.
struct LimitTimer {
  bool beyond = false;        // latest fact, with the deadband where `active`
  bool active = false;        // after the on-delay, until after the off-delay
  std::uint16_t samples = 0;  // facts in a row that said beyond, saturating; one_is_enough counts as two
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
  double excess = 0;        // of the latest fact while anything is beyond or active: beyond target, else harm
  double worst_excess = 0;  // since the condition began, its on-delay included
  double worst_value = 0;   // the value then
  double told_excess = 0;   // excess when last told or acknowledged
  UtcMs began;              // when the condition began
  UtcMs raised;             // when its on-delay ended
  ElapsedMs repeat_at{INT64_MAX};  // next telling while unacknowledged
  ElapsedMs shelved_until{INT64_MAX};
};

// What update() and pass_time() found; the engine records, tells and counts.
struct PointChange {
  AlarmInput input;
  Level level;  // of the occurrence after it; on `returns` the highest it had
};

// The alarm condition: what next_state() asks for on leaving G, H and I.
[[nodiscard]] inline bool condition_holds(const PointState& point) {
  return point.target.active || point.harm.active;
}

// update() where something is beyond, waits or holds.
[[nodiscard]] std::optional<PointChange> update_busy(PointState& point, const AlarmSettings& settings,
                                                     const Fact& fact, Stamp now);

// Take in a fact. At most one change: occurs, returns, realarm, worsens, unshelve or unsuppress.
[[nodiscard]] inline std::optional<PointChange> update(PointState& point, const AlarmSettings& settings,
                                                       const Fact& fact, Stamp now) {
  point.value = fact.value;
  point.limit = fact.limit;
  const bool waits_or_holds =
      point.target.beyond || point.target.active || point.harm.beyond || point.harm.active;
  // Written so that NaN is not quiet and meets its CHECK.
  if (!waits_or_holds && fact.target_excess <= 0 && fact.harm_excess <= 0) [[likely]]
    return std::nullopt;
  return update_busy(point, settings, fact, now);
}

// Let time pass without a new fact: on-delays and off-delays that end. Call at next_due(); earlier it does
// nothing. Where the latest fact is old, it is taken to hold still.
[[nodiscard]] std::optional<PointChange> pass_time(PointState& point, const AlarmSettings& settings,
                                                   Stamp now);

// When pass_time() next changes something, to the millisecond; INT64_MAX: never. Repeats and shelving are not
// included. A limit that still wants its second fact is not due by time alone.
[[nodiscard]] ElapsedMs next_due(const PointState& point, const AlarmSettings& settings);

// The probe went silent: a harm limit that was beyond and still waiting is raised at once, because nobody
// will see it end. Nothing pending, nothing happens.
[[nodiscard]] std::optional<PointChange> raise_pending_harm(PointState& point, const AlarmSettings& settings,
                                                            Stamp now);

// A person acknowledged: from here on only what is worse than now counts as worse.
void take_acknowledgement(PointState& point);

}  // namespace baskwell
