// What hours and days say of a unit: another setting kept, a drift, a wider swing, right temperatures at the
// wrong hours, the ends grown alike. Thresholds and where they come from: decisions/0012.

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "core/alarm/message_text.h"
#include "core/heat/inside.h"
#include "core/heat/statistics/robust.h"

namespace baskwell::heat {
namespace {

constexpr double level_step_k = 0.5;  // a smaller change of level is told by nobody's thermometer
constexpr double level_sigmas = 4.5;  // of two-hour means: once in some 30 years by chance, if normal
constexpr double plateau_minutes = 75.0;
// How long it must keep the other level. With the usual swing of its on-off thermostat nothing but a
// thermostat does that; else an animal may lie on the probe, for hours (common practice, no source: five at
// most).
constexpr std::int64_t level_swinging_ms = 100 * minute_ms;
constexpr std::int64_t level_alone_ms = 300 * minute_ms;
constexpr std::int64_t level_small_ms = 390 * minute_ms;
constexpr std::int64_t level_known_ms = 80 * minute_ms;  // something is found already: only its name is asked
constexpr std::int64_t look_ms = 5 * minute_ms;

// Between the tenth and the ninetieth of a hundred samples of so many minutes: a door of a quarter of an hour
// in three hours is left out.
struct Swing {
  double k = not_known;
  double middle_degc = not_known;
  int rises = 0;  // through its middle, from a quarter below to a quarter above
};

Swing swing_of(const Recent& recent, double minutes) {
  Swing swing;
  std::array<double, Recent::size> values{};
  std::size_t n = 0;
  for (; n < recent.count() && static_cast<double>(recent.at(0) - recent.at(n)) <= minutes * minute_ms; ++n)
    values[n] = recent.degc(n);
  if (n < 10) return swing;
  std::array<double, Recent::size> sorted = values;
  const auto high = quantile_in_place({sorted.data(), n}, 0.9);
  const auto low = quantile_in_place({sorted.data(), n}, 0.1);
  if (!high || !low) return swing;
  swing.k = *high - *low;
  swing.middle_degc = 0.5 * (*high + *low);
  bool above = values[n - 1] > swing.middle_degc;
  for (std::size_t i = n; i-- > 0;) {
    if (!above && values[i] > swing.middle_degc + 0.25 * swing.k) above = true, ++swing.rises;
    if (above && values[i] < swing.middle_degc - 0.25 * swing.k) above = false;
  }
  return swing;
}

}  // namespace

// It keeps another temperature than before, steadily: reset, wrong place, or too weak to do more.
void HeatWatch::Inside::judge_level(UnitState& unit) {
  const Probe& probe = probes[unit.lead];
  const Track& track = probe.track;
  const Residual& rest = track.residual;
  const UtcMs at = track.sample.at;
  if (unit.level_looked != never && at - unit.level_looked < look_ms) return;
  unit.level_looked = at;
  if (rest.phase == Phase::moving) return;  // goes on being what it was
  const double slope = track.recent.slope_k_per_h(plateau_minutes);
  const double level = track.recent.mean_residual_k(plateau_minutes, 0.0);
  const double around = around_degc(unit, at);
  const double beyond = std::max(level_step_k, level_sigmas * track.level_scatter_k());
  const bool room_says = level < 0 ? around > track.sample.degc - 0.7
                                   : around > rest.expected_degc - 2.5 || room_deviation_k(at) > 2.5;
  const bool keeps = std::fabs(slope) < 0.5 && std::fabs(level) > beyond && !room_says &&
                     unit.shift_agrees == 0 && probe.step.at == never && level * unit.level_k >= 0;
  if (!keeps) {
    unit.level_since = never;
    unit.level_k = 0;
    return;
  }
  // Close to what it would cool to anyway it is not kept at all: that is a dead heater's end, whatever it is
  // called.
  const double span = rest.expected_degc - around;
  if (level < 0 && span > 1.0 && track.sample.degc - around < 0.3 * span) {
    unit.level_since = never;
    unit.level_k = 0;
    return;
  }
  unit.level_k = level;
  if (unit.level_since == never)
    unit.level_since = at - static_cast<std::int64_t>(plateau_minutes) * minute_ms;
  // The level of the other half of the day at the wrong hour is a clock's, until it has lasted for a day.
  const double kept = track.recent.mean_degc(plateau_minutes, 0.0);
  const double other_half = level > 0 ? track.course.high() : track.course.low();
  const bool clock =
      std::fabs(track.course.high() - track.course.low()) > 1.5 && std::fabs(kept - other_half) < 0.8;
  if (clock && at - unit.level_since < 26 * hour_ms) return;
  // What came a little every day is a drift.
  const double earlier = unit.levels.mean(34, 10);
  if (earlier * level > 0 && std::fabs(earlier) > 0.4 * std::fabs(level)) return;

  const double usual = track.normal_swing_k(rest.phase);
  // No further back than it keeps this level: the way there is no swing.
  const double kept_min = static_cast<double>(at - unit.level_since) / minute_ms;
  const Swing swing = swing_of(track.recent, std::min(150.0, kept_min));
  const bool swings = usual > 0.5;  // an on-off thermostat; a proportional one hardly moves
  const double ratio = swings ? swing.k / usual : 1.0;
  const bool same_swing = swings && ratio > 0.6 && ratio < 1.5 && swing.rises >= 2;
  const bool known = holds(point_of(unit, AlarmKind::not_heating)) ||
                     holds(point_of(unit, AlarmKind::heating_stuck_on)) ||
                     holds(point_of(unit, AlarmKind::high_cutout_open));
  const bool large =
      std::fabs(level) > 1.2;  // an animal on the probe is seldom that far from what it lies on
  const std::int64_t needed = known                 ? level_known_ms
                              : large && same_swing ? level_swinging_ms
                              : large               ? level_alone_ms
                                                    : level_small_ms;
  if (at - unit.level_since < needed) return;
  for (const AlarmKind told : {AlarmKind::thermostat_reset, AlarmKind::thermostat_probe_moved,
                               AlarmKind::heating_weak, AlarmKind::thermostat_drift}) {
    if (holds(point_of(unit, told))) return;
  }
  name_level(unit, level, swings, same_swing, ratio);
}

void HeatWatch::Inside::name_level(UnitState& unit, double level_k, bool swings, bool same_swing,
                                   double ratio) {
  const Track& track = probes[unit.lead].track;
  const UtcMs at = track.sample.at;
  AlarmKind kind = AlarmKind::thermostat_reset;
  std::optional<AlarmKind> other;
  if (unit.unit.thermostat == none || (level_k < 0 && swings && ratio < 0.45)) {
    if (level_k > 0) return;
    kind = AlarmKind::heating_weak;
  } else if (swings && !same_swing) {
    kind = AlarmKind::thermostat_probe_moved;
    other = AlarmKind::thermostat_reset;
  } else if (!swings && level_k < 0) {
    other = AlarmKind::heating_weak;
  }
  set(point_of(unit, kind), true, false, other, track.sample.degc, at,
      "For " + duration_words(static_cast<double>(at - unit.level_since) / minute_ms) + " it keeps " +
          degc_text(track.recent.mean_degc(plateau_minutes, 0.0)) + " steadily, " + k_text(level_k) +
          (level_k > 0 ? " above" : " below") + " what it kept before" +
          (swings ? ", its swing is " + whole_text(ratio * 100) + " % of the usual" : "") +
          ". To tell: read the thermostat's display, and lay a second thermometer beside the probe for ten "
          "minutes.");
  // What was said of a fast change is now known better.
  for (const AlarmKind fast :
       {AlarmKind::not_heating, AlarmKind::heating_stuck_on, AlarmKind::high_cutout_open}) {
    set(point_of(unit, fast), false, false, std::nullopt, track.sample.degc, at, {});
  }
}

void HeatWatch::Inside::judge_hourly(UnitState& unit) {
  Probe& probe = probes[unit.lead];
  Track& track = probe.track;
  const Residual& rest = track.residual;
  const UtcMs at = track.sample.at;
  const bool held_phase = rest.phase != Phase::moving;
  if (!held_phase)
    unit.held_since = never;
  else if (unit.held_since == never)
    unit.held_since = at;
  const bool sudden = unit.last_below != never && at - unit.last_below < 90 * minute_ms;
  const bool room_as_usual =
      std::fabs(room_deviation_k(at)) < 3.0 && !(around_degc(unit, at) > rest.expected_degc - 4.0);
  unit.levels.add(at.ms / hour_ms, rest.k,
                  held_phase && !sudden && room_as_usual && unit.recovering_since == never);

  const int bin = track.sample.minute_of_day / 15;
  if (bin != unit.quarter) {
    if (unit.quarter >= 0 && unit.quarter_n >= 1) {
      unit.last_day[static_cast<std::size_t>(unit.quarter)] =
          static_cast<float>(unit.quarter_sum / unit.quarter_n);
      unit.last_day_at[static_cast<std::size_t>(unit.quarter)] = at.ms;
    }
    unit.quarter = bin;
    unit.quarter_sum = 0;
    unit.quarter_n = 0;
  }
  unit.quarter_sum += track.sample.degc;
  ++unit.quarter_n;

  const std::int64_t hour = at.ms / hour_ms;
  if (hour == unit.hour) return;
  unit.hour = hour;
  judge_shift(unit);
  judge_swing(unit);
  judge_drift(unit);
  // Back to its old level, for two hours: the setting is right again.
  const double level = unit.levels.mean(1, 0);
  const double back = std::max(0.6 * level_step_k, 2.5 * track.level_scatter_k());
  for (const AlarmKind kind :
       {AlarmKind::thermostat_reset, AlarmKind::thermostat_probe_moved, AlarmKind::thermostat_drift}) {
    if (holds(point_of(unit, kind)) && std::isfinite(level) && std::fabs(level) < back)
      set(point_of(unit, kind), false, false, std::nullopt, track.sample.degc, at, {});
  }
  bool quiet = true;
  for (const std::size_t point : unit.point) quiet = quiet && !holds(point);
  const double two = unit.levels.mean(1, 0);
  const double day = unit.levels.median_of_day(0);
  if (quiet && std::isfinite(two) && std::isfinite(day) && std::isfinite(unit.levels.at(0)) &&
      std::isfinite(unit.levels.at(1)))
    track.see_level(two - day);
}

// Days: what is kept moves a little every day, all one way.
void HeatWatch::Inside::judge_drift(UnitState& unit) {
  const std::size_t point = point_of(unit, AlarmKind::thermostat_drift);
  Probe& probe = probes[unit.lead];
  const Track& track = probe.track;
  if (point == SIZE_MAX || holds(point) || holds(point_of(unit, AlarmKind::thermostat_reset))) return;
  if (track.days_learned() < 6 || (unit.hour % 3) != 0) return;
  constexpr std::size_t days = 10;
  std::vector<double> x, y;
  for (std::size_t day = 0; day < days; ++day) {
    const double mean = unit.levels.median_of_day(day);
    if (std::isnan(mean)) continue;
    x.push_back(-static_cast<double>(day));
    y.push_back(mean);
  }
  if (y.size() < 3) return;
  const double now = y.front();
  const double sigma = std::max(0.06, 0.7 * track.level_scatter_k());
  if (std::fabs(now) < std::max(0.35, 3.0 * sigma)) return;
  std::array<double, pairs_of(days) + days> scratch{};
  // The days on which it moved: from the newest back to where it was still at its old level.
  std::size_t moved = 1;
  while (moved < y.size() && std::fabs(y[moved]) > 1.2 * sigma && y[moved] * now > 0) ++moved;
  const std::size_t used = std::min(y.size(), moved + 1);
  if (used < (std::fabs(now) < 0.8 ? 4U : 3U)) return;  // at one stroke: not a drift
  const auto trend = theil_sen({x.data(), used}, {y.data(), used}, scratch, 0.9);
  if (!trend || trend->slope * now <= 0 || std::fabs(trend->slope) < 0.04) return;
  const double steepest = std::fabs(y[0] - y[1]);
  if (steepest > 0.65 * std::fabs(now)) return;
  set(point, true, false, std::nullopt, track.sample.degc, track.sample.at,
      "What it keeps has moved " + k_text(now) + (now > 0 ? " up" : " down") + " in " +
          std::to_string(used - 1) + " days, about " + k_text(trend->slope) +
          " a day, day after day. To tell the thermostat from our own probe: lay a second thermometer beside "
          "the "
          "probe for ten minutes.");
}

void HeatWatch::Inside::judge_swing(UnitState& unit) {
  const std::size_t point = point_of(unit, AlarmKind::thermostat_hunting);
  const Probe& lead = probes[unit.lead];
  Track& track = probes[unit.lead].track;
  const UtcMs at = track.sample.at;
  const Phase phase = track.residual.phase;
  const bool held_long = unit.held_since != never && at - unit.held_since >= 3 * hour_ms;
  const bool door = unit.fast_at != never && at - unit.fast_at < 3 * hour_ms;
  if (!held_long || door || unit.recovering_since != never || lead.step.at != never) return;
  const Swing swing = swing_of(track.recent, 180.0);
  if (std::isnan(swing.k)) return;
  const double usual = track.normal_swing_k(phase);
  // To and fro: a door or an animal is one excursion.
  const bool wide = swing.k > 1.6 * usual + 0.35 && swing.rises >= 3;
  bool quiet = true;
  for (const std::size_t other : unit.point) quiet = quiet && !holds(other);
  if (track.swings_seen(phase) < 12 || !wide) {
    unit.wide_hours = 0;
    if (holds(point) && swing.k < 1.3 * usual + 0.2)
      set(point, false, false, std::nullopt, track.sample.degc, at, {});
    if (quiet) track.see_swing(phase, swing.k);
    return;
  }
  if (holds(point) || ++unit.wide_hours < 3) return;
  set(point, true, false, std::nullopt, track.sample.degc, at,
      "For hours it swings " + k_text(swing.k) + " where " + k_text(usual) +
          " was usual, with no door open and the room as usual.");
  // What heats and cools by turns is neither dead nor stuck.
  for (const AlarmKind fast :
       {AlarmKind::not_heating, AlarmKind::heating_stuck_on, AlarmKind::high_cutout_open})
    set(point_of(unit, fast), false, false, std::nullopt, track.sample.degc, at, {});
}

// The whole day later or earlier than it was.
void HeatWatch::Inside::judge_shift(UnitState& unit) {
  const std::size_t point = point_of(unit, AlarmKind::night_drop_shifted);
  Probe& probe = probes[unit.lead];
  const Track& track = probe.track;
  const UtcMs at = track.sample.at;
  const double amplitude = track.course.high() - track.course.low();
  if (!(amplitude > 2.0) || track.course.days() < 4) return;
  const auto miss_of = [&](int late_bins, double& seen) {
    double sum = 0;
    seen = 0;
    for (int i = 0; i < bins_per_day; ++i) {
      const auto bin = static_cast<std::size_t>(i);
      if (unit.last_day_at[bin] == INT64_MIN || at.ms - unit.last_day_at[bin] > day_ms) continue;
      const int was = ((i - late_bins) % bins_per_day + bins_per_day) % bins_per_day;
      const double miss = static_cast<double>(unit.last_day[bin]) - track.course.bin(was);
      sum += std::min(miss * miss, amplitude * amplitude);
      seen += 1;
    }
    return seen > 0 ? sum / seen : not_known;
  };
  double seen = 0;
  const double as_usual = miss_of(0, seen);
  if (seen < 80) return;
  int best = 0;
  double least = as_usual;
  for (int late = -40; late <= 40; ++late) {
    double n = 0;
    const double miss = miss_of(late, n);
    if (miss < least) least = miss, best = late;
  }
  const bool shifted =
      std::abs(best) >= 2 && least < 0.6 * as_usual && as_usual - least > 0.015 * amplitude * amplitude;
  unit.shift_agrees = shifted ? std::min(unit.shift_agrees + 1, 24) : 0;
  if (shifted) unit.shift_min = best * 15;
  if (holds(point)) {
    if (std::abs(best) <= 1) set(point, false, false, std::nullopt, track.sample.degc, at, {});
    return;
  }
  if (unit.shift_agrees < 3) return;
  set(point, true, false, std::nullopt, track.sample.degc, at,
      "The last day ran its usual course about " + duration_words(std::abs(unit.shift_min)) +
          (unit.shift_min > 0 ? " late" : " early") + ": the temperatures are right, the hours are not.");
  // Two words for one thing: it is not a wrong setting.
  for (const AlarmKind kind : {AlarmKind::thermostat_reset, AlarmKind::not_heating, AlarmKind::heating_weak,
                               AlarmKind::heating_stuck_on})
    set(point_of(unit, kind), false, false, std::nullopt, track.sample.degc, at, {});
}

void HeatWatch::Inside::judge_gradient(UnitState& unit) {
  const std::size_t point = point_of(unit, AlarmKind::gradient_lost);
  if (point == SIZE_MAX) return;
  const Track& hot = probes[unit.lead].track;
  const UtcMs at = hot.sample.at;
  const Probe* cool = fresh(unit.cool, at);
  if (cool == nullptr || !cool->track.judged() || !cool->track.residual.known) return;
  const Residual& cold_end = cool->track.residual;
  const double usual = hot.residual.expected_degc - cold_end.expected_degc;
  const double now = hot.sample.degc - cool->track.sample.degc;
  const double cool_up = cold_end.k - cold_end.high_k;
  const bool alike = usual > 2.5 && std::fabs(room_deviation_k(at)) < 2.5 &&
                     !(around_degc(unit, at) > hot.residual.expected_degc - 3.0) && now < 0.5 * usual &&
                     cool_up > 0.3 && hot.residual.k > hot.residual.low_k - 1.0 && cool->step.at == never &&
                     !holds(cool->moved_point) && !holds(room_hot_point);
  if (!alike) {
    unit.narrow_since = never;
    if (holds(point) && now > 0.65 * usual)
      set(point, false, false, std::nullopt, cool->track.sample.degc, at, {});
    return;
  }
  if (unit.narrow_since == never) unit.narrow_since = at;
  if (at - unit.narrow_since < 90 * minute_ms || holds(point)) return;
  set(point, true, false, std::nullopt, cool->track.sample.degc, at,
      "Hot and cool end are " + k_text(now) + " apart where " + k_text(usual) +
          " was usual; the cool end is " + k_text(cold_end.k) +
          " warmer than at this hour before, the room is as usual.");
}

}  // namespace baskwell::heat
