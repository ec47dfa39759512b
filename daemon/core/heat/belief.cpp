// What is believed of one enclosure, gathered for people.

#include <algorithm>
#include <cmath>

#include "core/heat/inside.h"

namespace baskwell::heat {
namespace {

// Time constant of an exponential that falls by `share` in `minutes`.
double minutes_of(double minutes, double share) {
  return share > 0.005 && share < 0.999 ? -minutes / std::log1p(-share) : not_known;
}

PhaseBelief phase_belief(const Track& track, Phase phase) {
  PhaseBelief belief{not_known, not_known, not_known, not_known};
  double sum = 0, n = 0;
  for (int minute = 0; minute < 1440; minute += 15) {
    if (track.phase_of(minute) != phase) continue;
    const double degc = track.course.at(minute);
    if (std::isnan(degc)) continue;
    sum += degc;
    n += 1;
  }
  if (n == 0) return belief;
  belief.level_degc = sum / n;
  if (track.swings_seen(phase) > 0) belief.swing_k = track.normal_swing_k(phase);
  belief.low_k = track.low_k(phase);
  belief.high_k = track.high_k(phase);
  return belief;
}

// Period and share of warming of what has been seen in the latest hours: from the crossings of the middle.
void cycle_of(const Track& track, Belief& belief) {
  belief.cycle_minutes = belief.duty = not_known;
  const Recent& recent = track.recent;
  const double range = recent.range_k(180, 0);
  if (!(range > 0.6) || recent.count() < 20) return;
  const double middle = recent.mean_degc(180, 0);
  int upwards = 0;
  double warm = 0, all = 0;
  UtcMs first = never, last = never;
  bool above = recent.degc(0) > middle;
  for (std::size_t i = 1; i < recent.count() && recent.at(0) - recent.at(i) < 180 * minute_ms; ++i) {
    const auto minutes = static_cast<double>(recent.at(i - 1) - recent.at(i)) / minute_ms;
    all += minutes;
    if (recent.degc(i - 1) > recent.degc(i)) warm += minutes;
    const bool here = recent.degc(i) > middle + (above ? -0.15 * range : 0.15 * range);
    if (here != above) {
      above = here;
      if (!above) {  // going back in time it went below: forward it rose through the middle
        ++upwards;
        if (last == never) last = recent.at(i);
        first = recent.at(i);
      }
    }
  }
  if (upwards >= 3) belief.cycle_minutes = static_cast<double>(last - first) / minute_ms / (upwards - 1);
  if (all > 60 && upwards >= 3) belief.duty = warm / all;
}

}  // namespace

std::optional<Belief> HeatWatch::belief(Index enclosure, UtcMs now) const {
  const Inside& in = *inside_;
  const auto found = std::find_if(in.units.begin(), in.units.end(), [&](const UnitState& unit) {
    return std::find(unit.unit.enclosures.begin(), unit.unit.enclosures.end(), enclosure) !=
           unit.unit.enclosures.end();
  });
  if (found == in.units.end() || found->lead == SIZE_MAX) return std::nullopt;
  const UnitState& unit = *found;
  const Track& lead = in.probes[unit.lead].track;
  Belief belief;
  belief.unit = unit.unit.id;
  if (unit.unit.thermostat != none) belief.thermostat = in.room.thermostats[unit.unit.thermostat].id;
  for (const Index heater : unit.unit.heaters) belief.heaters.push_back(in.room.heaters[heater].id);
  for (const Index fed : unit.unit.enclosures) {
    belief.feeds.push_back(in.room.enclosures[fed].id);
    const bool probed = std::any_of(unit.probes.begin(), unit.probes.end(),
                                    [&](std::size_t p) { return in.probes[p].spot.enclosure == fed; });
    if (!probed) belief.unprobed.push_back(in.room.enclosures[fed].id);
  }
  belief.judged = lead.judged();
  belief.judged_from =
      belief.judged ? now : now + static_cast<std::int64_t>((3.0 - lead.days_exact()) * day_ms);
  belief.day = phase_belief(lead, Phase::day);
  belief.night = phase_belief(lead, Phase::night);
  const double ten = lead.free_fall_share(10), twenty = lead.free_fall_share(20),
               eighty = lead.free_fall_share(80);
  belief.fast_minutes = minutes_of(10, ten);
  belief.slow_minutes =
      eighty > twenty && twenty < 1 ? minutes_of(60, 1 - (1 - eighty) / (1 - twenty)) : not_known;
  belief.falls_seen = lead.falls_seen();
  cycle_of(lead, belief);
  std::vector<std::size_t> order{unit.lead};
  for (const std::size_t p : unit.probes) {
    if (p != unit.lead) order.push_back(p);
  }
  for (const std::size_t p : order) {
    const Probe& probe = in.probes[p];
    ProbeBelief one;
    one.channel = in.room.channels[probe.channel].id;
    one.zone = name_of(probe.spot.zone);
    one.now_degc = probe.track.recent.count() > 0 ? probe.track.sample.degc : not_known;
    one.expected_degc = probe.track.residual.known ? probe.track.residual.expected_degc : not_known;
    one.room_share = probe.track.room_share();
    one.days_learned = probe.track.days_exact();
    for (int bin = 0; bin < bins_per_day; ++bin) {
      one.course_degc.push_back(probe.track.course.at(bin * 15 + 7.5));
      const Phase phase = probe.track.phase_of(bin * 15);
      one.low_k.push_back(probe.track.low_k(phase));
      one.high_k.push_back(probe.track.high_k(phase));
    }
    belief.probes.push_back(std::move(one));
  }
  belief.changes.assign(unit.changes.rbegin(), unit.changes.rend());
  for (std::size_t i = 0; i < in.points.size(); ++i) {
    if (in.held[i].present && in.points[i].unit != none && &in.units[in.points[i].unit] == &unit)
      belief.evidence.push_back(std::string(row_of(in.points[i].kind).name) + ": " + in.held[i].detail);
  }
  return belief;
}

}  // namespace baskwell::heat
