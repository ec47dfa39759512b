// What one sample of a unit's leading probe says of its heater, within minutes: not heating, stuck on, too
// weak. Slower faults are in judge_slow.cpp. Thresholds and where they come from: decisions/0012.

#include <algorithm>
#include <cmath>

#include "core/alarm/message_text.h"
#include "core/heat/inside.h"

namespace baskwell::heat {
namespace {

// Beyond the 1 % and 99 % of its own past, by a margin: readings of the trade are good to 0.1 K and steps of
// up to 0.1 K; a quarter of the usual spread is added because quantiles of a few days are not exact.
constexpr double least_margin_k = 0.25;
constexpr double margin_share = 0.12;

// A door, a hand, a probe that falls: faster than heat can leave by itself. Held back for so long: cleaning
// takes half an hour (common practice, no source) and warming up again some minutes more.
constexpr std::int64_t fast_hold_ms = 22 * minute_ms;
constexpr double dips_kept_min = 45.0 * 1440.0;  // a month and a half
constexpr std::int64_t overshoot_ms = 45 * minute_ms;
constexpr std::int64_t settle_ms = 4 * minute_ms;  // a probe's fault value and its noise are over by then
// Where nothing tells a door from a dead heater, its end does: few are open for longer (common practice, no
// source).
constexpr std::int64_t door_ms = 16 * minute_ms;
constexpr std::int64_t weak_ms = 45 * minute_ms;  // a slow fall is looked at for longer
constexpr std::int64_t recovery_ms = 6 * hour_ms;

double margin_k(const Track& track) {
  const Residual& rest = track.residual;
  // Two days make the quantiles less sure than ten.
  const double young = 1.0 + 1.5 / std::max(1.0, track.days_learned() - 2.0);
  return (least_margin_k + margin_share * (rest.high_k - rest.low_k)) * young;
}

// How long a slope must be looked at for this probe: eight minutes, more for one that reports seldom.
double window_min(const Track& track) {
  return std::max(8.0, 3.3 * track.sample.minutes);
}

struct Forecast {
  UtcMs at = never;  // when the limit is reached; never: not within a day
  double limit_degc = 0;
  bool harm = false;
};

// Falling towards its surroundings as its own past falls; `share`: how much of that it does now.
Forecast falling(const Track& track, double around_degc, double share, const Wanted& wanted) {
  Forecast found;
  const double now = track.sample.degc;
  if (std::isnan(around_degc) || now <= around_degc) return found;
  const double an_hour = track.free_fall_share(60.0);
  const double rate_per_h = std::isnan(an_hour) ? 0.7 : -std::log1p(-std::min(an_hour, 0.98));
  const double rate = std::max(rate_per_h * std::clamp(share, 0.1, 1.5), 0.05);
  for (const bool harm : {false, true}) {
    const double limit = harm ? wanted.harm_low : wanted.low;
    if (!std::isfinite(limit) || limit <= around_degc || limit >= now) continue;
    const double hours = std::log((now - around_degc) / (limit - around_degc)) / rate;
    if (hours > 24.0) continue;
    found = {track.sample.at + static_cast<std::int64_t>(hours * hour_ms), limit, harm};
    if (!harm) break;
  }
  return found;
}

bool harm_low_near(const Track& track, double around_degc, double share, const Wanted& wanted) {
  if (!std::isfinite(wanted.harm_low)) return false;
  if (track.sample.degc <= wanted.harm_low) return true;
  Wanted only = wanted;
  only.low = -std::numeric_limits<double>::infinity();
  const Forecast at = falling(track, around_degc, share, only);
  return at.at != never && at.at - track.sample.at <= respond_ms;
}

std::string forecast_words(const Forecast& forecast, const ZoneRules& clock) {
  if (forecast.at == never) return {};
  return " " + degc_text(forecast.limit_degc) + (forecast.harm ? " (harm limit)" : "") + " by about " +
         clock_words(clock, forecast.at) + " if nothing changes.";
}

std::string_view sureness(const Track& track) {
  const double days = track.days_learned();
  return days < 5    ? "Confidence: fair, few days are learned."
         : days < 14 ? "Confidence: good."
                     : "Confidence: high.";
}

// Keeps what was expected when it last was as expected: a timer that is late leaves it there.
void agree(UnitState& unit, const Residual& rest, double degc) {
  const bool moved =
      std::isnan(unit.agreed_degc) || rest.phase != Phase::moving || std::fabs(degc - unit.agreed_degc) > 1.0;
  if (moved) unit.agreed_degc = rest.expected_degc;
}

// By how much a probe fell within the last minutes; NaN: not known.
double drop_of(const Track& track) {
  const double beside = std::max(7.5, 2.2 * track.sample.minutes);
  return track.recent.mean_degc(beside, std::max(4.0, track.sample.minutes)) - track.sample.degc;
}

// The pace of its last minutes against that of its own cooling with the heater off, `minutes` into a fall.
double pace_of(const Track& track, double around_degc, double minutes) {
  const double beside = std::max(9.0, 2.2 * track.sample.minutes);
  const double was = track.recent.mean_degc(beside, std::max(6.0, track.sample.minutes));
  const double now = track.recent.mean_degc(std::max(1.2, 1.1 * track.sample.minutes), 0.0);
  const double passed = 0.5 * (beside + std::max(6.0, track.sample.minutes)) - 0.5;
  const double later = std::max(minutes, passed);
  const double left_then = 1.0 - track.free_fall_share(later - passed),
               left_now = 1.0 - track.free_fall_share(later);
  const double free_k = (was - around_degc) * (1.0 - left_now / left_then);
  return free_k > 0.15 ? (was - now) / free_k : not_known;
}

}  // namespace

// What the other probes say of a fall of the leading one.
HeatWatch::Inside::Witness HeatWatch::Inside::witness_of(const UnitState& unit, double drop_k) const {
  Witness seen;
  const Probe& lead = probes[unit.lead];
  const UtcMs at = lead.track.sample.at;
  if (const Probe* cool = fresh(unit.cool, at); cool != nullptr && cool->track.recent.count() > 3) {
    seen.cool_k_per_h = cool->track.recent.slope_k_per_h(30.0);
    seen.cool_k = cool->track.residual.known ? cool->track.residual.k : not_known;
  }
  int fellows = 0, with_it = 0;
  const double lead_slope = lead.track.recent.slope_k_per_h(10.0);
  for (const std::size_t p : unit.probes) {
    const Probe* other = fresh(p, at);
    if (other == nullptr || other == &lead || other->spot.zone != lead.spot.zone ||
        other->spot.enclosure == lead.spot.enclosure || !other->track.residual.known)
      continue;
    ++fellows;
    const Residual& theirs = other->track.residual;
    const double slope = other->track.recent.slope_k_per_h(10.0);
    const bool same_way = drop_k >= 0
                              ? slope < std::min(-0.5, 0.35 * lead_slope) || theirs.k < theirs.low_k - 0.2
                              : slope > std::max(0.5, 0.35 * lead_slope) || theirs.k > theirs.high_k + 0.2;
    if (same_way) ++with_it;
  }
  seen.alone = fellows > 0 && with_it == 0;
  seen.together = with_it > 0;
  return seen;
}

void HeatWatch::Inside::follow(UnitState& unit, Look& now) {
  const Track& track = probes[unit.lead].track;
  const Residual& rest = track.residual;
  const Sample& sample = track.sample;
  now.around = around_degc(unit, sample.at);
  now.margin_k = margin_k(track);
  const double agreed = std::isnan(unit.agreed_degc) ? rest.expected_degc : unit.agreed_degc;
  now.below_k = std::min(rest.expected_degc, agreed) + rest.low_k - sample.degc;
  now.above_k = sample.degc - std::max(rest.expected_degc, agreed) - rest.high_k;
  if (rest.k >= rest.low_k && rest.k <= rest.high_k) {
    agree(unit, rest, sample.degc);
    unit.last_normal = sample.at;
    unit.recovering_since = never;
  }
  if (unit.recovering_since != never && sample.at - unit.recovering_since > recovery_ms)
    unit.recovering_since = never;
  if (now.below_k <= 0) unit.below.reset(), unit.below_since = never;
  if (now.above_k <= 0) unit.above.reset(), unit.above_since = never;
  if (now.below_k > 0 && unit.below_since == never) unit.below_since = sample.at;
  if (now.above_k > 0 && unit.above_since == never) unit.above_since = sample.at;
  const double minutes = std::min(sample.minutes, 6.0);
  unit.below.step(value_for(beyond_plan, now.below_k, now.margin_k, minutes));
  unit.above.step(value_for(beyond_plan, now.above_k, now.margin_k, minutes));
  if (now.above_k > now.margin_k) unit.last_above = sample.at;

  now.slope = track.recent.slope_k_per_h(window_min(track));
  now.below_min =
      unit.last_normal == never ? 60.0 : static_cast<double>(sample.at - unit.last_normal) / minute_ms;
  now.of_free = pace_of(track, now.around, now.below_min + 4.0);
  now.drop_k = drop_of(track);
  now.witness = witness_of(unit, now.drop_k);
  // A fall much faster than its own cooling is a door, a hand or a probe. With its own not known: than that
  // of an enclosure that cools with a time constant of 16 min. Looked at over three minutes, more for a probe
  // that reports seldom.
  const double look = std::max(3.0, sample.minutes);
  const double fell = track.recent.mean_degc(look + 1.6, look - 0.4) - sample.degc;
  const double free_share = track.free_fall_share(look);
  const double most = (free_share > 0.01 ? 2.0 * free_share : 1.0 - std::exp(-look / 16.0)) *
                          std::max(sample.degc + fell - now.around, 2.0) +
                      0.3;
  if (fell > most) unit.fast_at = sample.at;
  now.fast = unit.fast_at != never && sample.at - unit.fast_at < fast_hold_ms;
  now.was_fast = unit.fast_at != never && sample.at - unit.fast_at < hour_ms;
  // After any fall a thermostat overshoots.
  const bool proportional = track.normal_swing_k(rest.phase) < 0.5;
  if (now.below_k > (proportional ? 0.1 : now.margin_k) || fell > most) unit.last_below = sample.at;
  // The cool end may show it where the hot end hardly does.
  if (const Probe* cool = fresh(unit.cool, sample.at); cool != nullptr && cool->track.residual.known) {
    const Residual& theirs = cool->track.residual;
    if (theirs.k < theirs.low_k - 0.25 || drop_of(cool->track) > 0.6) unit.last_below = sample.at;
  }
  now.overshoots = unit.last_below != never && sample.at - unit.last_below < overshoot_ms;
}

// Falls below (and rises above) all that is normal that came to nothing: doors, mostly. Where there are some,
// a fall is not told before it has lasted longer than a door is open.
void HeatWatch::Inside::count_dips(UnitState& unit) {
  const Track& track = probes[unit.lead].track;
  const double kept = std::exp(-track.sample.minutes / dips_kept_min);
  unit.dips *= kept;
  unit.bumps *= kept;
  if (unit.dip_waits && track.residual.k >= track.residual.low_k) {
    unit.dip_waits = false;
    unit.dips += 1.0;
  }
  if (unit.bump_waits && track.residual.k <= track.residual.high_k) {
    unit.bump_waits = false;
    unit.bumps += 1.0;
  }
}

// Below all that is normal, and not on its way back.
void HeatWatch::Inside::judge_cold(UnitState& unit, const Look& now) {
  const Track& track = probes[unit.lead].track;
  const UtcMs at = track.sample.at;
  const std::int64_t lasts = at - unit.below_since;
  // One tub of a rack that falls alone may stand open.
  const bool doors = unit.dips > 0.5 || unit.unit.enclosures.size() > 1;
  const std::int64_t wait = doors && !now.witness.together ? door_ms : settle_ms;
  const bool rises = now.slope > 0.4;
  const bool idle = now.around > track.sample.degc - 0.7;  // nothing to heat against
  if (!unit.below.high_signal() || rises || lasts < settle_ms || now.witness.alone || idle) return;
  // Slower than with a time constant of seven hours it is no dead heater: through an open door it has
  // settled.
  const double slowest = (now.was_fast ? 0.3 : 0.15) * std::max(track.sample.degc - now.around, 1.0);
  if (!(now.slope < -std::max(0.25, slowest)) || now.fast) return;
  if (lasts < wait) {
    unit.dip_waits = true;
    return;
  }
  unit.dip_waits = false;
  const double pace = std::isfinite(now.of_free) ? now.of_free : 1.0;
  // Nobody is woken before a door would be shut again.
  const bool near = lasts >= 12 * minute_ms && harm_low_near(track, now.around, pace, unit.wanted);
  for (const AlarmKind held_kind :
       {AlarmKind::not_heating, AlarmKind::heating_weak, AlarmKind::high_cutout_open}) {
    const std::size_t point = point_of(unit, held_kind);
    if (!holds(point)) continue;
    if (near && !held[point].harm_near)
      set(point, true, true, held[point].other, track.sample.degc, at, held[point].detail);
    return;
  }
  if (holds(point_of(unit, AlarmKind::thermostat_reset)) ||
      holds(point_of(unit, AlarmKind::thermostat_probe_moved)))
    return;
  if (pace < 0.4 && lasts < weak_ms) return;
  AlarmKind kind = pace < 0.4 ? AlarmKind::heating_weak : AlarmKind::not_heating;
  std::optional<AlarmKind> other;
  if (unit.unit.has_cut_out && unit.last_above != never && at - unit.last_above < 2 * hour_ms) {
    kind = AlarmKind::high_cutout_open;
    other = AlarmKind::not_heating;
  } else if (pace >= 0.25 && pace < 0.5) {
    other = kind == AlarmKind::heating_weak ? AlarmKind::not_heating : AlarmKind::heating_weak;
  }
  std::string detail = "Falling " + k_text(now.slope) + " an hour, " + k_text(now.below_k) +
                       " below all that is normal at this hour";
  if (std::isfinite(now.of_free))
    detail += ", at " + whole_text(now.of_free * 100) + " % of the pace of its own cooling";
  if (unit.unit.has_cut_out && kind == AlarmKind::not_heating) detail += "; its high cut-out may have opened";
  detail += "." + forecast_words(falling(track, now.around, pace, unit.wanted), room.clock) + " ";
  set(point_of(unit, kind), true, near, other, track.sample.degc, at, detail + std::string(sureness(track)));
}

// Above all that is normal, and still rising, with the room as usual.
void HeatWatch::Inside::judge_warm(UnitState& unit, const Look& now) {
  const Track& track = probes[unit.lead].track;
  const UtcMs at = track.sample.at;
  const bool room_explains = room_deviation_k(at) > 2.5 || now.around > track.sample.degc - 2.0;
  const std::int64_t lasts = at - unit.above_since;
  // Far above it is told whatever a door may have done before.
  const bool far_above = now.above_k > 3.0 && lasts >= 10 * minute_ms;
  if (!unit.above.high_signal() || (now.overshoots && !far_above) || room_explains) return;
  if (now.witness.alone) return;
  const double hour_ahead = track.sample.degc + std::max(now.slope, 0.0);
  const bool near = (lasts >= 9 * minute_ms || far_above) &&
                    (hour_ahead >= unit.wanted.harm_high || track.sample.degc > unit.wanted.high + 1.0);
  const std::size_t point = point_of(unit, AlarmKind::heating_stuck_on);
  if (holds(point)) {
    if (near && !held[point].harm_near)
      set(point, true, true, held[point].other, track.sample.degc, at, held[point].detail);
    return;
  }
  // Slowly rising it may be an animal on the probe: the cool end must warm too, or it must last.
  const bool cool_too = now.witness.cool_k_per_h > 0.3 && now.witness.cool_k > 0.3;
  const bool cool_against = now.witness.cool_k_per_h < -0.3;
  const bool fast = now.slope > 2.5 && lasts >= settle_ms;
  const bool slow = now.slope > 0.8 && ((cool_too && now.above_k > 1.0 && lasts > 25 * minute_ms) ||
                                        (now.above_k > 1.5 && lasts > 45 * minute_ms));
  if (!fast && !slow && !far_above) return;
  if (cool_against && !far_above) return;
  if (unit.bumps > 0.5 && lasts < door_ms && !far_above) {
    unit.bump_waits = true;
    return;
  }
  unit.bump_waits = false;
  if (holds(point_of(unit, AlarmKind::thermostat_reset)) ||
      holds(point_of(unit, AlarmKind::thermostat_probe_moved)))
    return;
  const bool after_outage = unit.outage_to != never && at - unit.outage_to < 8 * hour_ms;
  std::optional<AlarmKind> other;
  if (unit.unit.thermostat != none)
    other = after_outage ? AlarmKind::thermostat_reset : AlarmKind::thermostat_probe_moved;
  std::string detail = "Rising " + k_text(now.slope) + " an hour, " + k_text(now.above_k) +
                       " above all that is normal at this hour, the room is as usual.";
  const double limit = track.sample.degc < unit.wanted.high ? unit.wanted.high : unit.wanted.harm_high;
  const double hours = (limit - track.sample.degc) / now.slope;
  if (hours > 0 && hours < 12)
    detail += " " + degc_text(limit) + " by about " +
              clock_words(room.clock, at + static_cast<std::int64_t>(hours * hour_ms)) +
              " if nothing changes.";
  set(point, true, near, other, track.sample.degc, at, detail + " " + std::string(sureness(track)));
}

void HeatWatch::Inside::judge_unit(UnitState& unit) {
  const Track& track = probes[unit.lead].track;
  const Residual& rest = track.residual;
  if (rest.known) count_dips(unit);
  if (!rest.known || !track.judged()) return;
  if (track.sample.minutes <= 0) {  // after a gap: what happened meanwhile is not known
    unit.below.reset();
    unit.above.reset();
    unit.recovering_since = track.sample.at;
  }
  Look now;
  follow(unit, now);
  if (!holds(point_of(unit, AlarmKind::thermostat_hunting))) {
    judge_cold(unit, now);
    judge_warm(unit, now);
  }
  if (rest.k >= rest.low_k - now.margin_k && rest.k <= rest.high_k + now.margin_k) {
    for (const AlarmKind kind : {AlarmKind::not_heating, AlarmKind::heating_stuck_on,
                                 AlarmKind::high_cutout_open, AlarmKind::heating_weak}) {
      const std::size_t point = point_of(unit, kind);
      if (!holds(point) || track.sample.at - held[point].since <= 10 * minute_ms) continue;
      // Told, and over by itself within the hour: that was a door after all.
      const bool short_lived = track.sample.at - held[point].since < hour_ms;
      if (kind == AlarmKind::not_heating && short_lived) unit.dips += 1.0;
      if (kind == AlarmKind::heating_stuck_on && short_lived) unit.bumps += 1.0;
      set(point, false, false, std::nullopt, track.sample.degc, track.sample.at, {});
    }
  }
  judge_level(unit);
  judge_gradient(unit);
  judge_hourly(unit);
}

}  // namespace baskwell::heat
