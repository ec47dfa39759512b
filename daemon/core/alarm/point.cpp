#include "core/alarm/point.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "core/check.h"

namespace baskwell {
namespace {

constexpr double no_limit = -std::numeric_limits<double>::infinity();
constexpr std::uint16_t samples_needed = 2;

bool busy(const PointState& point) {
  return point.target.beyond || point.target.active || point.harm.beyond || point.harm.active;
}

// Enter the latest fact about one limit; no delay ends here.
void take_fact(LimitTimer& timer, double excess, const AlarmSettings& settings, bool one_is_enough,
               ElapsedMs now) {
  const bool beyond = timer.active ? excess > -settings.deadband : excess > 0;
  if (beyond != timer.beyond) {
    timer.beyond = beyond;
    timer.since = now;
    timer.samples = 0;
  }
  if (!beyond) return;
  if (one_is_enough) {
    timer.samples = std::max(timer.samples, samples_needed);
  } else if (timer.samples < UINT16_MAX) {
    ++timer.samples;
  }
}

// When this timer's delay ends; INT64_MAX: it does not wait.
ElapsedMs due(const LimitTimer& timer, std::int64_t on_delay_ms, std::int64_t off_delay_ms) {
  if (timer.beyond == timer.active) return ElapsedMs{INT64_MAX};
  if (timer.active) return timer.since + off_delay_ms;
  return timer.samples >= samples_needed ? timer.since + on_delay_ms : ElapsedMs{INT64_MAX};
}

void end_delay(LimitTimer& timer, std::int64_t on_delay_ms, std::int64_t off_delay_ms, ElapsedMs now) {
  if (due(timer, on_delay_ms, off_delay_ms) <= now) timer.active = timer.beyond;
}

// The condition begins: everything that is kept for one occurrence starts here.
void begin(PointState& point, Stamp now) {
  ElapsedMs since = now.elapsed;
  if (point.target.beyond) since = std::min(since, point.target.since);
  if (point.harm.beyond) since = std::min(since, point.harm.since);
  point.began = now.utc - (now.elapsed - since);
  point.raised = now.utc;
  point.level = Level::none;
  point.told_excess = point.excess;
}

// What the end or the start of a limit, or a worse value, means in this state.
std::optional<PointChange> decide(PointState& point, const AlarmSettings& settings, bool held_before,
                                  bool harm_before, Stamp now) {
  const bool holds = condition_holds(point);
  const bool harm_reached = point.harm.active && !harm_before;
  const Level before = point.level;
  if (holds && !held_before) begin(point, now);
  if (holds) point.level = std::max(point.level, point.harm.active ? Level::harm : Level::target);

  switch (point.state) {
    case AlarmState::normal:
    case AlarmState::returned_unacknowledged:
      if (!holds) return std::nullopt;
      return PointChange{AlarmInput::occurs, point.level};
    case AlarmState::unacknowledged:
      if (!holds) return PointChange{AlarmInput::returns, point.level};
      if (!harm_reached || before == Level::harm) return std::nullopt;
      point.told_excess = point.excess;
      return PointChange{AlarmInput::worsens, point.level};
    case AlarmState::acknowledged: {
      if (!holds) {
        const Level highest = std::exchange(point.level, Level::none);
        return PointChange{AlarmInput::returns, highest};
      }
      const bool worse = settings.worsen_step > 0 && point.excess >= point.told_excess + settings.worsen_step;
      if (!harm_reached && !worse) return std::nullopt;
      point.told_excess = point.excess;
      return PointChange{AlarmInput::realarm, point.level};
    }
    case AlarmState::shelved:
    case AlarmState::suppressed:
      if (!holds) point.level = Level::none;
      if (!point.harm.active) return std::nullopt;
      return PointChange{point.state == AlarmState::shelved ? AlarmInput::unshelve : AlarmInput::unsuppress,
                         point.level};
    case AlarmState::out_of_service:
      if (!holds) point.level = Level::none;
      return std::nullopt;
  }
  CHECK(false);
}

}  // namespace

std::optional<PointChange> update_busy(PointState& point, const AlarmSettings& settings, const Fact& fact,
                                       Stamp now) {
  CHECK(!std::isnan(fact.target_excess) && !std::isnan(fact.harm_excess));
  const bool held_before = condition_holds(point);
  const bool harm_before = point.harm.active;
  if (!busy(point)) point.worst_excess = no_limit;
  point.excess = fact.target_excess == no_limit ? fact.harm_excess : fact.target_excess;
  if (point.excess > point.worst_excess) {
    point.worst_excess = point.excess;
    point.worst_value = fact.value;
  }
  take_fact(point.target, fact.target_excess, settings, fact.one_is_enough, now.elapsed);
  take_fact(point.harm, fact.harm_excess, settings, fact.one_is_enough, now.elapsed);
  end_delay(point.target, settings.on_delay_ms, settings.off_delay_ms, now.elapsed);
  end_delay(point.harm, settings.harm_on_delay_ms, settings.off_delay_ms, now.elapsed);
  return decide(point, settings, held_before, harm_before, now);
}

std::optional<PointChange> pass_time(PointState& point, const AlarmSettings& settings, Stamp now) {
  if (next_due(point, settings) > now.elapsed) return std::nullopt;
  const bool held_before = condition_holds(point);
  const bool harm_before = point.harm.active;
  end_delay(point.target, settings.on_delay_ms, settings.off_delay_ms, now.elapsed);
  end_delay(point.harm, settings.harm_on_delay_ms, settings.off_delay_ms, now.elapsed);
  return decide(point, settings, held_before, harm_before, now);
}

ElapsedMs next_due(const PointState& point, const AlarmSettings& settings) {
  return std::min(due(point.target, settings.on_delay_ms, settings.off_delay_ms),
                  due(point.harm, settings.harm_on_delay_ms, settings.off_delay_ms));
}

std::optional<PointChange> raise_pending_harm(PointState& point, const AlarmSettings& settings, Stamp now) {
  if (!point.harm.beyond || point.harm.active) return std::nullopt;
  const bool held_before = condition_holds(point);
  point.harm.active = true;
  return decide(point, settings, held_before, false, now);
}

void take_acknowledgement(PointState& point) {
  point.told_excess = std::max(point.excess, 0.0);
  if (!condition_holds(point)) point.level = Level::none;
}

}  // namespace baskwell
