#include "core/heat/light_course.h"

#include <algorithm>
#include <cmath>

#include "core/state_lines.h"

namespace baskwell::heat {
namespace {

// Daylight through a window comes to tens of lux in a cage, lamps to hundreds and more: common practice, no
// source.
constexpr double least_lit_lux = 50;
constexpr double lit_over_dark = 3;
// A dimmed lamp among the lights moves the level; only most of the way down is dark.
constexpr double lit_share = 0.25;
// Levels creep towards what is seen, so that an ageing lamp or a moved probe is followed: about a day of
// half-minute readings.
constexpr double creep = 1.0 / 3000;
// Beyond it an edge is not the usual one moved about by a timer's own scatter. Proposal, no source.
constexpr double usual_min = 10;
constexpr double half_day_min = 720;

}  // namespace

void LightCourse::Usual::add(double minute) {
  minutes[count % days_kept] = static_cast<float>(minute);
  ++count;
}

double LightCourse::Usual::median() const {
  const std::size_t n = std::min<std::size_t>(count, days_kept);
  if (n == 0) return 0;
  auto sorted = minutes;
  std::sort(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(n));
  return static_cast<double>(n % 2 == 1 ? sorted[n / 2] : (sorted[n / 2 - 1] + sorted[n / 2]) / 2);
}

bool LightCourse::known() const {
  return any_ && lit_lux_ > least_lit_lux && lit_lux_ > lit_over_dark * std::max(dark_lux_, 1.0);
}

bool LightCourse::is_usual(const LightEdge& edge) {
  return std::abs(edge.late_min) <= usual_min;
}

void LightCourse::follow_levels(double lux) {
  if (!any_) dark_lux_ = lit_lux_ = lux;
  any_ = true;
  if (lux < dark_lux_) dark_lux_ = lux;
  if (lux > lit_lux_) lit_lux_ = lux;
  if (!known()) return;
  double& level = lux > dark_lux_ + lit_share * (lit_lux_ - dark_lux_) ? lit_lux_ : dark_lux_;
  level += creep * (lux - level);
}

double LightCourse::late_min(bool on, UtcMs at, const LightPlan& plan, const ZoneRules& clock) const {
  // The nearest edge of that kind, by the plan and the minute it usually keeps.
  const double usual = on ? on_.median() : off_.median();
  double best = 2 * half_day_min;
  const std::int64_t today = local_day(clock, at);
  for (std::int64_t day = today - 1; day <= today + 1; ++day) {
    const UtcMs planned = instant_of(clock, day, on ? plan.on_minute : plan.off_minute);
    const double late = static_cast<double>(at - planned) / minute_ms - usual;
    if (std::abs(late) < std::abs(best)) best = late;
  }
  return best;
}

std::optional<LightEdge> LightCourse::add(double lux, UtcMs at, const LightPlan& plan,
                                          const ZoneRules& clock) {
  const bool was_known = known();
  follow_levels(lux);
  const UtcMs before = last_at_;
  last_at_ = at;
  if (!known() || plan.on_minute == plan.off_minute) return std::nullopt;
  const bool lit_now = lux > dark_lux_ + lit_share * (lit_lux_ - dark_lux_);
  if (!was_known || before.ms == INT64_MIN) {
    // The reading that showed the difference between lit and dark is itself the first edge that was seen.
    lit_ = lit_now;
    if (!was_known && before.ms != INT64_MIN) {
      lit_ = !lit_now;
    } else {
      return std::nullopt;
    }
  }
  if (lit_now == lit_) {
    turning_ = false;
    return std::nullopt;
  }
  if (!turning_) {
    turning_ = true;
    turn_after_ = before;
    turn_before_ = at;
    return std::nullopt;
  }
  turning_ = false;
  lit_ = lit_now;
  LightEdge edge;
  edge.on = lit_;
  edge.after = turn_after_;
  edge.before = turn_before_;
  edge.late_min = late_min(lit_, edge.at(), plan, clock);
  return edge;
}

bool LightCourse::should_be_lit(UtcMs at, const LightPlan& plan, const ZoneRules& clock) const {
  const auto back = [&](const Usual& usual) {
    return at - static_cast<std::int64_t>(usual.median() * minute_ms);
  };
  const LightPhase by_on = light_phase(plan, clock, back(on_));
  const LightPhase by_off = light_phase(plan, clock, back(off_));
  return by_on.day && by_off.day;
}

void LightCourse::learn(const LightEdge& edge) {
  Usual& usual = edge.on ? on_ : off_;
  usual.add(edge.late_min + usual.median());
}

void LightCourse::shift_clock(std::int64_t step_ms) {
  for (UtcMs* at : {&last_at_, &turn_after_, &turn_before_}) {
    if (at->ms != INT64_MIN) *at = *at + step_ms;
  }
}

void LightCourse::save(LineWriter& line) const {
  line.flag(any_).flag(lit_).number(dark_lux_).number(lit_lux_);
  for (const Usual& usual : {on_, off_}) {
    line.number(usual.count);
    for (const float minute : usual.minutes) line.number(minute);
  }
}

void LightCourse::load(LineReader& line) {
  any_ = line.flag();
  lit_ = line.flag();
  dark_lux_ = line.finite();
  lit_lux_ = line.finite();
  for (Usual* usual : {&on_, &off_}) {
    usual->count = line.number<std::uint32_t>();
    for (float& minute : usual->minutes) minute = static_cast<float>(line.finite());
  }
}

}  // namespace baskwell::heat
