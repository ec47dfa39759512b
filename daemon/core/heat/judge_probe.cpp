// What one probe says against the others of its enclosure: that it alone changed, at one stroke; and what the
// room's air says of the room. Thresholds and where they come from: decisions/0012.

#include <algorithm>
#include <cmath>

#include "core/alarm/message_text.h"
#include "core/heat/inside.h"

namespace baskwell::heat {
namespace {

// A door or a hand is over by then; an animal on a probe moves on (common practice, no source).
constexpr std::int64_t lasts_ms = 4 * hour_ms;
constexpr double least_step_k = 0.7;

}  // namespace

void HeatWatch::Inside::judge_probe(Probe& probe) {
  Track& track = probe.track;
  const Residual& rest = track.residual;
  const UtcMs at = track.sample.at;
  if (!rest.known || !track.judged()) return;
  const double beside = std::max(7.0, 2.2 * track.sample.minutes);
  const double before = track.recent.mean_residual_k(beside + 12.0, beside);
  const double now = track.recent.mean_residual_k(std::max(2.0, 1.1 * track.sample.minutes), 0.0);
  if (probe.step.at == never && !holds(probe.moved_point)) {
    const double usual = track.usual_jump_k();
    if (std::isnan(before) || std::isnan(now) || std::isnan(usual)) return;
    const double size = now - before;
    if (std::fabs(size) < std::max(least_step_k, 1.25 * usual + 0.25)) return;
    // A leading probe that jumps up is taken for heat: that is judged in judge_unit, and safer.
    if (size > 0 && &probe == &probes[units[probe.unit].lead]) return;
    // From normal to not normal: an animal that leaves the probe brings it back.
    if (before < rest.low_k - 0.2 || before > rest.high_k + 0.2) return;
    if (now >= rest.low_k - 0.1 && now <= rest.high_k + 0.1) return;
    probe.step = {at, before, size, 0};
    return;
  }
  if (probe.step.at != never) {
    StepSeen& step = probe.step;
    const std::int64_t since = at - step.at;
    // The full size of it is known a little later.
    if (since < 15 * minute_ms && std::fabs(now - step.before_k) > std::fabs(step.size_k))
      step.size_k = now - step.before_k;
    const double recent = track.recent.mean_residual_k(20.0, 0.0);
    if (std::isnan(recent)) return;
    const bool back = (recent - step.before_k) / step.size_k < 0.45 ||
                      (recent > rest.low_k - 0.2 && recent < rest.high_k + 0.2);
    // A stroke is over in minutes; what goes on falling or rising is heat.
    if (since > 12 * minute_ms && since < 16 * minute_ms) {
      const double later = track.recent.mean_residual_k(4.0, 0.0) - track.recent.mean_residual_k(11.0, 7.0);
      if (std::isfinite(later) && later * step.size_k > 0 &&
          std::fabs(later) > std::max(0.3 * std::fabs(step.size_k), 0.4)) {
        step = StepSeen();
        return;
      }
    }
    if (since > 20 * minute_ms && back) {
      step = StepSeen();
      return;
    }
    if (since < lasts_ms) return;
    // The others of the enclosure did not change.
    double others = 0;
    for (const std::size_t p : units[probe.unit].probes) {
      const Probe* other = fresh(p, at);
      if (other == nullptr || other == &probe || other->spot.enclosure != probe.spot.enclosure) continue;
      if (!other->track.residual.known || !other->track.judged()) continue;
      const Residual& theirs = other->track.residual;
      const double mean = other->track.recent.mean_residual_k(60.0, 0.0);
      if (std::isnan(mean)) continue;
      const double beyond =
          mean > 0 ? std::max(0.0, mean - theirs.high_k) : std::min(0.0, mean - theirs.low_k);
      if (std::fabs(beyond) > std::fabs(others)) others = beyond;
    }
    // It stays: an enclosure that was cleaned comes back, however slowly.
    const double then = track.recent.mean_residual_k(185.0, 125.0),
                 lately = track.recent.mean_residual_k(60.0, 0.0);
    const bool stays = std::fabs(lately - step.before_k) > 0.6 * std::fabs(step.size_k) &&
                       std::fabs(lately - then) < std::max(0.25 * std::fabs(step.size_k), 0.3);
    const bool alone = stays && std::fabs(others) < 0.35 * std::fabs(step.size_k);
    const double size = step.size_k;
    step = StepSeen();
    if (!alone) return;
    set(probe.moved_point, true, false, std::nullopt, track.sample.degc, at,
        "It changed by " + k_text(size) + (size > 0 ? " up" : " down") +
            " within minutes and has stayed there for " +
            duration_words(static_cast<double>(lasts_ms) / minute_ms) +
            ", while the enclosure's other probes are as usual. To tell: lay a second thermometer where it "
            "belongs.");
    return;
  }
  const double back = track.recent.mean_residual_k(90.0, 0.0);
  if (std::isfinite(back) && back > rest.low_k && back < rest.high_k && std::fabs(back) < 0.5)
    set(probe.moved_point, false, false, std::nullopt, track.sample.degc, at, {});
}

// Once for the room: beyond all that its own past knows, or so warm that no thermostat can keep a cool end.
void HeatWatch::Inside::judge_room(Probe& probe) {
  Track& track = probe.track;
  const Residual& rest = track.residual;
  const Sample& sample = track.sample;
  if (rest.known && track.judged() && sample.minutes > 0) {
    const double least = track.course.low() + rest.low_k;
    const double most = track.course.high() + rest.high_k;
    const double minutes = std::min(sample.minutes, 6.0);
    // Beyond the coldest and warmest hour of the whole day by more than a degree, for twenty minutes at one
    // degree more.
    room_below.step(value_for(room_plan, least - sample.degc, room_plan.allowance, minutes));
    room_above.step(value_for(room_plan, sample.degc - most, room_plan.allowance, minutes));
    if (room_below.high_signal())
      set(room_cold_point, true, false, std::nullopt, sample.degc, sample.at,
          "The room is at " + degc_text(sample.degc) + ", " + k_text(least - sample.degc) +
              " below the coldest hour of its past weeks. No enclosure is at fault.");
    else if (holds(room_cold_point) && sample.degc > least - 0.5)
      set(room_cold_point, false, false, std::nullopt, sample.degc, sample.at, {});
    if (room_above.high_signal())
      set(room_hot_point, true, false, std::nullopt, sample.degc, sample.at,
          "The room is at " + degc_text(sample.degc) + ", " + k_text(sample.degc - most) +
              " above the warmest hour of its past weeks. No enclosure is at fault.");
    else if (holds(room_hot_point) && sample.degc < most + 0.5)
      set(room_hot_point, false, false, std::nullopt, sample.degc, sample.at, {});
  }
  // A season changes the room: what is odd for days is learned after all, slowly.
  track.learn(true, 0.0, not_known);
}

}  // namespace baskwell::heat
