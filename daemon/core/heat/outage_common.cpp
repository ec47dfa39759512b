// What went together, and when it began and ended.

#include <algorithm>
#include <cmath>
#include <set>

#include "core/heat/outage_inside.h"

namespace baskwell::heat {
namespace {

// A fall that is no noise and no door: so far below its top, and below all that is normal.
constexpr double least_fall_k = 0.8;
// Slow places show late that they have been cooling.
constexpr std::int64_t late_witness_ms = 60 * minute_ms;
// Lights, meters and radios go within a moment of each other; plus the readings' own intervals.
constexpr std::int64_t same_moment_ms = 90 * second_ms;

bool is_heat(const Source& source) {
  return source.what != Source::What::silence;
}

bool went_with(const Source& source, std::int64_t when_e) {
  if (source.precise)
    return source.after_e - same_moment_ms <= when_e && when_e <= source.before_e + same_moment_ms;
  return source.after_e >= when_e - longest_cycle_ms && source.after_e <= when_e + 6 * minute_ms;
}

}  // namespace

Episode& OutageWatch::Inside::open(UtcMs from) {
  if (episodes.size() >= most_episodes) episodes.erase(episodes.begin());
  Episode& made = episodes.emplace_back();
  made.number = ++last_number;
  made.record.id = "O" + std::to_string(made.number);
  made.record.from = from;
  made.opened_e = now.elapsed.ms;
  for (Index i = 0; i < enclosures.size(); ++i) {
    if (enclosures[i].lead == none) continue;
    LineWatch& watch = made.lines.emplace_back();
    watch.enclosure = i;
    watch.line.enclosure = room.enclosures[i].id;
    watch.kept_before_k = enclosures[i].before_k;
  }
  return made;
}

std::vector<Source> OutageWatch::Inside::sources() const {
  std::vector<Source> found;
  for (std::size_t i = 0; i < unit_watches.size() && trusted; ++i) {
    const UnitWatch& unit = unit_watches[i];
    const UnitCourse& course = unit.course;
    constexpr std::int64_t lasting_ms = 3 * minute_ms;
    const bool falls = unit.any && course.judged && course.below && course.falls_since.ms != INT64_MIN &&
                       now.elapsed.ms - unit.below_since_e >= lasting_ms &&
                       course.fell_from_degc - course.degc >= least_fall_k &&
                       now.utc - course.falls_since < 12 * hour_ms;
    if (unit.out != 0 || !falls) continue;
    const std::int64_t top_e = elapsed(course.falls_since);
    found.push_back({Source::What::unit, i, units[i].enclosures.front(), false, top_e, top_e});
  }
  for (std::size_t i = 0; i < lights.size(); ++i) {
    const LightWatch& light = lights[i];
    if (light.out == 0 && light.dark && now.elapsed.ms - light.dark_before_e < 2 * hour_ms)
      found.push_back(
          {Source::What::light, i, light.enclosure, true, light.dark_after_e, light.dark_before_e});
  }
  for (std::size_t i = 0; i < powers.size(); ++i) {
    const PowerWatch& power = powers[i];
    constexpr int sure_after = 3;
    if (power.out == 0 && power.steady && power.nothing >= sure_after &&
        now.elapsed.ms - power.first_nothing_e < 2 * hour_ms &&
        !near_edge(utc(power.first_nothing_e), power.enclosure))
      found.push_back(
          {Source::What::power, i, power.enclosure, true, power.went_after_e, power.first_nothing_e});
  }
  for (std::size_t i = 0; i < instruments.size() && broker_connected; ++i) {
    const InstrumentWatch& one = instruments[i];
    constexpr std::uint32_t few = 10;
    const std::int64_t limit_ms = std::max(shortest_outage_ms, 4 * one.interval_ms);
    if (one.out != 0 || one.heard < few || now.elapsed.ms - one.last_e < limit_ms ||
        now.elapsed.ms - one.last_e > 2 * hour_ms)
      continue;
    found.push_back({Source::What::silence, i, static_cast<Index>(i), true, one.last_e,
                     one.last_e + one.interval_ms + one.interval_ms / 4});
  }
  return found;
}

// Two witnesses in different places are the least: one heater, lamp or probe that fails is no outage.
void OutageWatch::Inside::open_if_common() {
  const std::vector<Source> all = sources();
  std::size_t most = 1;
  std::int64_t when_e = 0;
  for (const Source& pivot : all) {
    const std::int64_t pivot_e = pivot.before_e;
    std::set<Index> heated, silent;
    bool sharp = false;
    for (const Source& one : all) {
      if (!went_with(one, pivot_e)) continue;
      (is_heat(one) ? heated : silent).insert(one.place);
      sharp = sharp || one.precise;
    }
    std::size_t count = std::max(heated.size(), silent.size());
    // Falls alone may be doors or a cold room: they must agree about the moment, or be many.
    if (!sharp && count == 2) {
      std::vector<std::vector<TimedValue>> places;
      for (const Source& one : all) {
        if (one.what != Source::What::unit || !went_with(one, pivot_e)) continue;
        unit_watches[one.index].ring.values_between(pivot_e - 40 * minute_ms, now.elapsed.ms,
                                                    places.emplace_back());
      }
      const auto pivot_s = static_cast<double>(pivot_e) / second_ms;
      const CommonChange change =
          find_common_change(places, pivot_s - 900, pivot_s + 300, 30, Bend::downwards);
      if (change.agree < 2) count = 1;
    }
    if (count > most || (count == most && most > 1 && pivot_e > when_e)) {
      most = count;
      when_e = pivot_e;
    }
  }
  if (most < 2) return;
  Episode& made = open(utc(when_e));
  for (const Source& one : all) {
    if (went_with(one, when_e)) join(made, one);
  }
  made.fit_due_e = now.elapsed.ms;
  made.pivot_e = when_e;
}

void OutageWatch::Inside::join(Episode& episode, const Source& source) {
  switch (source.what) {
    case Source::What::unit: {
      UnitWatch& unit = unit_watches[source.index];
      unit.out = episode.number;
      unit.lowest_degc = unit.course.degc;
      unit.lowest_e = now.elapsed.ms;
      break;
    }
    case Source::What::light:
      lights[source.index].out = episode.number;
      break;
    case Source::What::power:
      powers[source.index].out = episode.number;
      powers[source.index].back_e = 0;
      break;
    case Source::What::silence:
      instruments[source.index].out = episode.number;
      instruments[source.index].silent_since_e = instruments[source.index].last_e;
      instruments[source.index].back_e = 0;
      break;
  }
  episode.heat = episode.heat || is_heat(source);
  episode.changed = true;
}

void OutageWatch::Inside::join_more(Episode& episode) {
  const std::int64_t from_e = elapsed(episode.record.from);
  for (const Source& one : sources()) {
    bool fits = one.precise && went_with(one, from_e);
    if (!one.precise) {
      // Where it was cooling anyway, as after its night drop: below all that is normal only since.
      const std::int64_t below_e = unit_watches[one.index].below_since_e;
      const bool since = below_e >= from_e - 10 * minute_ms && below_e <= from_e + late_witness_ms;
      fits = (one.after_e >= from_e - longest_cycle_ms && one.after_e <= from_e + late_witness_ms) || since;
      fits = fits && (!episode.record.to || std::min(one.after_e, below_e) <= elapsed(*episode.record.to));
    }
    if (!fits) continue;
    join(episode, one);
    if (one.precise || now.elapsed.ms - episode.opened_e < late_witness_ms)
      episode.fit_due_e = now.elapsed.ms;
  }
  // What was cold anyway, and should have been warmed by now: the morning came without power.
  for (std::size_t i = 0; i < unit_watches.size() && !episode.record.to && trusted; ++i) {
    const UnitWatch& unit = unit_watches[i];
    constexpr double missing_k = 2.5;
    constexpr double warms_k_per_h = 1;
    if (unit.out == 0 && unit.any && unit.course.judged && unit.course.below &&
        unit.course.expected_degc - unit.course.degc > missing_k &&
        !(unit.course.warming_k_per_h > warms_k_per_h))
      join(episode, {Source::What::unit, i, units[i].enclosures.front(), false, from_e, from_e});
  }
}

// While nothing could be heard, places cooled: then it was more than that.
void OutageWatch::Inside::look_after_gap(Episode& episode) {
  if (!episode.gap || episode.heat || !episode.record.to || !trusted) return;
  const std::int64_t to_e = elapsed(*episode.record.to);
  if (now.elapsed.ms - episode.opened_e > after_gap_ms) return;
  constexpr double clear_k = 1.5;
  std::vector<std::size_t> fallen;
  std::set<Index> places;
  std::size_t can_tell = 0;
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    const UnitWatch& unit = unit_watches[i];
    const UnitCourse& course = unit.course;
    if (!unit.any || !course.judged || unit.out != 0 || !std::isfinite(course.expected_degc) ||
        elapsed(course.at) < to_e)
      continue;
    ++can_tell;
    const bool began_after = course.falls_since.ms != INT64_MIN &&
                             course.fell_from_degc - course.degc > least_fall_k &&
                             elapsed(course.falls_since) > to_e + 5 * minute_ms;
    if (began_after || !course.below || course.degc > course.expected_degc - clear_k) continue;
    fallen.push_back(i);
    places.insert(units[i].enclosures.front());
  }
  if (places.size() < 2 && !(places.size() == 1 && can_tell == 1)) return;
  for (const std::size_t i : fallen)
    join(episode, {Source::What::unit, i, units[i].enclosures.front(), false, to_e, to_e});
  // What else saw the power go says when.
  for (PowerWatch& power : powers) {
    if (power.nothing > 0 && power.steady && power.first_nothing_e >= to_e) power.out = episode.number;
  }
}

// The beginning: by what shows it sharply, else by the bend of the falls.
void OutageWatch::Inside::find_begin(Episode& episode) {
  if (episode.gap || now.elapsed.ms < episode.fit_due_e || episode.fit_due_e == 0) return;
  episode.fit_due_e = 0;
  std::int64_t after_e = INT64_MIN, before_e = INT64_MAX;
  bool missing = false;
  const auto narrow = [&](std::int64_t last_e, std::int64_t first_e) {
    after_e = std::max(after_e, last_e);
    before_e = std::min(before_e, first_e);
  };
  for (const LightWatch& one : lights) {
    if (one.out != episode.number || one.dark_before_e == 0) continue;
    narrow(one.dark_after_e, one.dark_before_e);
    missing = missing || one.missing;
  }
  for (const PowerWatch& one : powers) {
    if (one.out == episode.number) narrow(one.went_after_e, one.first_nothing_e);
  }
  for (const InstrumentWatch& one : instruments) {
    if (one.out == episode.number)
      narrow(one.silent_since_e, one.silent_since_e + one.interval_ms + one.interval_ms / 4);
  }
  if (after_e != INT64_MIN) {
    const std::int64_t at_e = before_e > after_e ? after_e + (before_e - after_e) / 2 : after_e;
    episode.record.from = utc(at_e);
    episode.record.from_within_ms = std::max(second_ms, std::abs(before_e - after_e) / 2);
    constexpr std::int64_t night_ms = 12 * hour_ms;
    if (missing) episode.record.from_within_ms = night_ms;
    episode.from_known_well = true;
    episode.changed = true;
    return;
  }
  if (episode.from_known_well) return;
  // The latest top of a fall: proportional ones all fall at once, on-off ones may have been off before.
  std::vector<std::vector<TimedValue>> places;
  std::int64_t latest_e = INT64_MIN, interval_ms = 30 * second_ms;
  for (const UnitWatch& one : unit_watches) {
    if (one.out != episode.number) continue;
    // A place that joined later may have another fall by now.
    const std::int64_t top_e =
        one.course.falls_since.ms == INT64_MIN ? INT64_MIN : elapsed(one.course.falls_since);
    if (top_e <= episode.pivot_e + 6 * minute_ms) latest_e = std::max(latest_e, top_e);
    interval_ms = std::max(interval_ms, one.ring.interval_ms());
  }
  if (latest_e == INT64_MIN || latest_e < episode.pivot_e - longest_cycle_ms) return;
  // What comes after its end is no fall.
  const std::int64_t until_e = episode.record.to ? elapsed(*episode.record.to) : now.elapsed.ms;
  // Where all cool anyway: what bends is how far they are from their course.
  bool cooling_anyway = false;
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    if (unit_watches[i].out == episode.number)
      cooling_anyway = cooling_anyway || soon_after_edge(utc(episode.pivot_e), units[i].enclosures.front());
  }
  const std::int64_t search_to_e =
      cooling_anyway ? std::min(latest_e + 75 * minute_ms, now.elapsed.ms) : latest_e;
  for (const UnitWatch& one : unit_watches) {
    if (one.out != episode.number) continue;
    std::vector<TimedValue>& place = places.emplace_back();
    if (cooling_anyway) {
      one.ring.residuals_between(latest_e - 40 * minute_ms, until_e, place);
    } else {
      one.ring.values_between(latest_e - 40 * minute_ms, until_e, place);
    }
  }
  const auto latest_s = static_cast<double>(std::min(latest_e, until_e - 5 * minute_ms)) / second_ms;
  const auto to_s = static_cast<double>(std::min(search_to_e, until_e - 5 * minute_ms)) / second_ms;
  const CommonChange change = find_common_change(
      places, latest_s - 900, to_s + 300, static_cast<double>(interval_ms) / second_ms, Bend::downwards);
  if (!change.found) return;
  episode.record.from = utc(static_cast<std::int64_t>(change.at_s * second_ms));
  episode.record.from_within_ms =
      std::max<std::int64_t>(interval_ms, static_cast<std::int64_t>(change.within_s * second_ms));
  if (cooling_anyway) episode.record.from_within_ms = std::max(episode.record.from_within_ms, 10 * minute_ms);
  // At lights-off they may have begun to fall of themselves: then it is only known that it was after that.
  constexpr std::int64_t unsure_ms = 30 * minute_ms;
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    if (unit_watches[i].out != episode.number || !near_edge(episode.record.from, units[i].enclosures.front()))
      continue;
    episode.record.from_within_ms = std::max(episode.record.from_within_ms, unsure_ms);
  }
  episode.changed = true;
}

bool OutageWatch::Inside::soon_after_edge(UtcMs at, Index enclosure) const {
  constexpr std::int64_t soon_ms = 75 * minute_ms;
  const LightPhase phase = light_phase(room.enclosures[enclosure].lights, room.clock, at);
  return !phase.day && phase.since.ms != INT64_MIN && at - phase.since < soon_ms;
}

void OutageWatch::Inside::end(Episode& episode, std::int64_t at_e, std::int64_t within_ms, bool well,
                              OutageNews& news) {
  if (utc(at_e) < episode.record.from) at_e = elapsed(episode.record.from);
  const bool first = !episode.record.to;
  episode.record.to = utc(at_e);
  episode.record.to_within_ms = within_ms;
  episode.to_known_well = well;
  episode.to_this_boot = true;
  if (first) episode.record.stage = OutageStage::ended;
  episode.changed = true;
  if (!first) return;
  episode.fit_due_e = now.elapsed.ms;
  for (std::size_t i = 0; i < unit_watches.size(); ++i) {
    if (unit_watches[i].out == episode.number)
      news.ended.push_back({static_cast<Index>(i), episode.record.from, *episode.record.to});
  }
}

// The end: what went dark, silent or to nothing is back, else the bend of the common rise.
void OutageWatch::Inside::find_end(Episode& episode, OutageNews& news) {
  if (episode.gap || (episode.record.to && (episode.to_known_well || episode.end_guess_e == 0))) return;
  std::int64_t after_e = INT64_MIN, before_e = INT64_MAX;
  for (const LightWatch& one : lights) {
    if (one.out != episode.number || one.lit_before_e == 0) continue;
    after_e = std::max(after_e, one.lit_after_e);
    before_e = std::min(before_e, one.lit_before_e);
  }
  for (const PowerWatch& one : powers) {
    if (one.out == episode.number && one.back_e != 0) before_e = std::min(before_e, one.back_e);
  }
  for (const InstrumentWatch& one : instruments) {
    if (one.out == episode.number && one.back_e != 0) before_e = std::min(before_e, one.back_e);
  }
  if (before_e != INT64_MAX) {
    const std::int64_t half_ms = after_e > INT64_MIN && after_e < before_e ? (before_e - after_e) / 2 : 0;
    end(episode, before_e - half_ms, std::max({half_ms, any_interval_ms, second_ms}), true, news);
    return;
  }
  // Full power after a cut: steeper than any room warms. First when half of them rise, once more ten minutes
  // later.
  const bool again = episode.record.to.has_value();
  if (again && now.elapsed.ms < episode.end_guess_e + 15 * minute_ms) return;
  std::vector<std::vector<TimedValue>> places;
  std::size_t out = 0;
  std::int64_t interval_ms = 30 * second_ms;
  constexpr double risen_k = 0.4;
  constexpr double steep_k_per_h = 1.5;
  constexpr double of_usual = 0.2;
  const std::int64_t now_e = now.elapsed.ms;
  // Only what rose since it began: in the morning it may have been warming up when the power went.
  const std::int64_t risen_from_e =
      std::max(elapsed(episode.record.from) + 3 * minute_ms, now_e - 20 * minute_ms);
  const std::int64_t from_e = again ? episode.end_guess_e - 12 * minute_ms : now_e - 30 * minute_ms;
  const std::int64_t to_e = again ? episode.end_guess_e + 6 * minute_ms : now_e - 3 * minute_ms;
  for (const UnitWatch& one : unit_watches) {
    if (one.out != episode.number) continue;
    ++out;
    const double steep =
        std::max(steep_k_per_h, std::isfinite(one.usual_k_per_h) ? of_usual * one.usual_k_per_h : 0);
    if (!again && (!(one.course.warming_k_per_h > steep) || !one.ring.rises_by(risen_k, risen_from_e, now_e)))
      continue;
    interval_ms = std::max(interval_ms, one.ring.interval_ms());
    one.ring.values_between(from_e - 30 * minute_ms, now_e, places.emplace_back());
  }
  if (places.empty() || 2 * places.size() < out) return;
  const CommonChange change = find_common_change(places, static_cast<double>(from_e) / second_ms,
                                                 static_cast<double>(to_e) / second_ms,
                                                 static_cast<double>(interval_ms) / second_ms, Bend::upwards);
  if (again && !change.found) {
    episode.end_guess_e = 0;
    return;
  }
  const std::int64_t at_e =
      change.found ? static_cast<std::int64_t>(change.at_s * second_ms) : now_e - 10 * minute_ms;
  const std::int64_t within_ms =
      change.found
          ? std::max<std::int64_t>(interval_ms, static_cast<std::int64_t>(change.within_s * second_ms))
          : 5 * minute_ms;
  end(episode, at_e, within_ms, false, news);
  episode.end_guess_e = again ? 0 : at_e;
}

}  // namespace baskwell::heat
