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
// The sum of degrees beyond the margin at which it is told. With samples of a minute: two minutes at 0.5 K.
constexpr double told_k_min = 1.0;

// A door, a hand, a probe that falls: faster than heat can leave by itself. Held back for so long: cleaning
// takes half an hour (common practice, no source) and warming up again some minutes more.
constexpr std::int64_t sudden_hold_ms = 50 * minute_ms;
constexpr std::int64_t sudden_rise_hold_ms = 20 * minute_ms;
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
  const double now = rest.expected_degc;
  const bool moved =
      std::isnan(unit.agreed_low) || rest.phase != Phase::moving || std::fabs(degc - unit.agreed_low) > 1.0;
  if (!moved) return;
  unit.agreed_low = now;
  unit.agreed_high = now;
}

}  // namespace

void HeatWatch::Inside::judge_unit(UnitState& unit) {
  Probe& probe = probes[unit.lead];
  const Track& track = probe.track;
  const Residual& rest = track.residual;
  const Sample& sample = track.sample;
  const auto point_of = [&](AlarmKind kind) { return unit.point[static_cast<std::size_t>(kind)]; };
  if (!rest.known || !track.judged()) return;
  if (sample.minutes <= 0) {  // after a gap: what happened meanwhile is not known
    unit.below_k_min = unit.above_k_min = 0;
    unit.recovering_since = sample.at;
  }
  const double room_k = room_deviation_k(sample.at);
  const double around = around_degc(unit, sample.at);
  const double margin = margin_k(track);
  const double low_line =
      std::min(rest.expected_degc, std::isnan(unit.agreed_low) ? rest.expected_degc : unit.agreed_low);
  const double high_line =
      std::max(rest.expected_degc, std::isnan(unit.agreed_high) ? rest.expected_degc : unit.agreed_high);
  const double below_k = low_line + rest.low_k - sample.degc;
  const double above_k = sample.degc - high_line - rest.high_k;
  const bool normal = rest.k >= rest.low_k - margin && rest.k <= rest.high_k + margin;

  if (rest.k >= rest.low_k && rest.k <= rest.high_k) {
    agree(unit, rest, sample.degc);
    unit.last_normal = sample.at;
    unit.recovering_since = never;
  }
  if (unit.recovering_since != never && sample.at - unit.recovering_since > recovery_ms)
    unit.recovering_since = never;
  if (below_k <= 0) unit.below_k_min = 0, unit.below_since = never;
  if (above_k <= 0) unit.above_k_min = 0, unit.above_since = never;
  if (below_k > 0 && unit.below_since == never) unit.below_since = sample.at;
  if (above_k > 0 && unit.above_since == never) unit.above_since = sample.at;
  const double minutes = std::min(sample.minutes, 6.0);
  unit.below_k_min = std::clamp(unit.below_k_min + (below_k - margin) * minutes, 0.0, 60.0);
  unit.above_k_min = std::clamp(unit.above_k_min + (above_k - margin) * minutes, 0.0, 60.0);

  const double slope = track.recent.slope_k_per_h(window_min(track));
  const double fall_minutes = static_cast<double>(sample.at - track.fall().since) / minute_ms;
  const double span = track.fall().from_degc - around;
  const double free_share = track.free_fall_share(std::max(fall_minutes, 3.0));
  const double share = (track.fall().from_degc - sample.degc) / (span > 1.0 ? span : 1.0);
  const double of_free =
      std::isnan(free_share) || free_share <= 0 || std::isnan(share) ? not_known : share / free_share;
  // Faster than heat can leave by itself: a door, a hand, a probe that fell. The cool end tells it best:
  // without its heater an enclosure cools from the hot end.
  const double beside = std::max(7.0, 2.2 * sample.minutes);
  const double drop = track.recent.mean_degc(beside, std::max(4.0, sample.minutes)) - sample.degc;
  const double free_five = track.free_fall_share(6.0);
  const double fastest = (std::isnan(free_five) ? 0.26 : 1.7 * free_five) * std::max(span, 2.0) + 0.4;
  if (std::fabs(drop) > fastest) unit.sudden_at = sample.at;
  const Probe* cool = fresh(unit.cool, sample.at);
  if (cool != nullptr && cool->track.recent.count() > 3) {
    const double cool_drop =
        cool->track.recent.mean_degc(beside + 1.0, std::max(4.0, sample.minutes)) - cool->track.sample.degc;
    if (cool_drop > std::max(0.45, 0.6 * drop)) unit.sudden_at = sample.at;
  }
  const bool sudden = unit.sudden_at != never && sample.at - unit.sudden_at < sudden_hold_ms;
  const bool sudden_rise = unit.sudden_at != never && sample.at - unit.sudden_at < sudden_rise_hold_ms;
  // Where its own cooling is not known, a door is told from a dead heater by its end.
  const bool long_enough =
      std::isfinite(of_free) || (unit.below_since != never && sample.at - unit.below_since >= 15 * minute_ms);
  const bool like_free = std::isfinite(of_free) && of_free > 0.55 && of_free < 1.7;
  const bool falls = std::isfinite(slope) && slope < -0.25;
  const bool flat = std::isfinite(slope) && std::fabs(slope) < 0.6;
  const bool rises = std::isfinite(slope) && slope > 0.4;

  // ---- too cold for what its heater does
  if (unit.below_k_min > told_k_min && !sudden && !rises && long_enough &&
      (like_free || probe.step.at == never)) {
    const bool weak_like = flat || (std::isfinite(of_free) && of_free < 0.45);
    const bool level_only = flat && !falls;
    // Room far above its usual and nothing to do for a heater: not its fault. Cold room: see heating-weak.
    const bool heater_idle = std::isfinite(around) && around > sample.degc - 0.7;
    if (falls && !heater_idle) {
      const double of = std::isfinite(of_free) ? of_free : 1.0;
      const bool pair_weak = weak_like && of_free < 0.45;
      const AlarmKind kind = pair_weak ? AlarmKind::heating_weak : AlarmKind::not_heating;
      const bool cut =
          unit.unit.has_cut_out && unit.last_above != never && sample.at - unit.last_above < 2 * hour_ms;
      const AlarmKind told = cut ? AlarmKind::high_cutout_open : kind;
      std::optional<AlarmKind> other;
      if (cut)
        other = AlarmKind::not_heating;
      else if (std::isfinite(of_free) && of_free >= 0.3 && of_free < 0.6)
        other = pair_weak ? AlarmKind::not_heating : AlarmKind::heating_weak;
      if (!holds(point_of(AlarmKind::not_heating)) && !holds(point_of(AlarmKind::heating_weak)) &&
          !holds(point_of(AlarmKind::high_cutout_open)) && !holds(point_of(AlarmKind::thermostat_reset)) &&
          !holds(point_of(AlarmKind::thermostat_probe_moved))) {
        set(point_of(told), true, harm_low_near(track, around, of, unit.wanted), other, sample.degc,
            sample.at,
            "Falling " + k_text(-slope) + " an hour, " + k_text(below_k) +
                " below all that is normal at this hour" +
                (std::isfinite(of_free)
                     ? ", at " + number_text(std::round(of_free * 100)) + " % of the pace of its own cooling"
                     : "") +
                "." + forecast_words(falling(track, around, of, unit.wanted), room.clock) + " " +
                std::string(sureness(track)));
      } else {
        for (const AlarmKind again :
             {AlarmKind::not_heating, AlarmKind::heating_weak, AlarmKind::high_cutout_open}) {
          const std::size_t point = point_of(again);
          if (holds(point) && !held[point].harm_near && harm_low_near(track, around, of, unit.wanted))
            set(point, true, true, held[point].other, sample.degc, sample.at, held[point].detail);
        }
      }
    } else if (level_only && !heater_idle) {
      judge_level(unit);
    }
  }

  // ---- warmer than it should be
  const bool room_explains = std::isfinite(around) && (room_k > 2.5 || around > high_line - 1.5);
  if (above_k > margin) unit.last_above = sample.at;
  if (unit.above_k_min > told_k_min && !sudden_rise && !room_explains && probe.step.at == never) {
    const double cool_slope = cool == nullptr ? not_known : cool->track.recent.slope_k_per_h(30.0);
    const bool cool_against = std::isfinite(cool_slope) && cool_slope < -0.3;
    const bool climbing = std::isfinite(slope) && slope > 0.3 && (slope > 1.0 || above_k > 1.0);
    if (climbing && !cool_against && !holds(point_of(AlarmKind::heating_stuck_on)) &&
        !holds(point_of(AlarmKind::thermostat_reset)) &&
        !holds(point_of(AlarmKind::thermostat_probe_moved))) {
      const bool after_outage = unit.outage_to != never && sample.at - unit.outage_to < 8 * hour_ms;
      std::optional<AlarmKind> other;
      if (unit.unit.thermostat != none)
        other = after_outage ? AlarmKind::thermostat_reset : AlarmKind::thermostat_probe_moved;
      const double hour_ahead = sample.degc + slope;
      const bool near = (std::isfinite(unit.wanted.harm_high) && hour_ahead >= unit.wanted.harm_high) ||
                        sample.degc > unit.wanted.high + 1.0;
      std::string forecast;
      for (const double limit : {unit.wanted.high, unit.wanted.harm_high}) {
        if (!std::isfinite(limit) || limit <= sample.degc) continue;
        const double hours = (limit - sample.degc) / slope;
        if (hours < 12)
          forecast = " " + degc_text(limit) + " by about " +
                     clock_words(room.clock, sample.at + static_cast<std::int64_t>(hours * hour_ms)) +
                     " if nothing changes.";
        break;
      }
      set(point_of(AlarmKind::heating_stuck_on), true, near, other, sample.degc, sample.at,
          "Rising " + k_text(slope) + " an hour, " + k_text(above_k) +
              " above all that is normal at this hour" +
              (cool != nullptr ? ", cool end " + degc_text(cool->track.sample.degc) : "") +
              ", the room is as usual." + forecast + " " + std::string(sureness(track)));
    } else if (holds(point_of(AlarmKind::heating_stuck_on))) {
      const std::size_t point = point_of(AlarmKind::heating_stuck_on);
      const bool near = (std::isfinite(unit.wanted.harm_high) &&
                         sample.degc + std::max(slope, 0.0) >= unit.wanted.harm_high) ||
                        sample.degc > unit.wanted.high + 1.0;
      if (near && !held[point].harm_near)
        set(point, true, true, held[point].other, sample.degc, sample.at, held[point].detail);
    }
    if (!climbing) judge_level(unit);
  }

  // ---- over
  if (normal) {
    for (const AlarmKind kind : {AlarmKind::not_heating, AlarmKind::heating_stuck_on,
                                 AlarmKind::high_cutout_open, AlarmKind::heating_weak}) {
      const std::size_t point = point_of(kind);
      if (holds(point) && sample.at - held[point].since > 10 * minute_ms)
        set(point, false, false, std::nullopt, sample.degc, sample.at, {});
    }
  }
  judge_gradient(unit);
  judge_hourly(unit);
}

}  // namespace baskwell::heat
