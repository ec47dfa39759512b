// The enclosures after an outage: how far they fell, when they were back, what they keep since, how late
// their lights and their night drop run; and when it is time to say so.

#include <algorithm>
#include <cmath>

#include "core/alarm/message_text.h"
#include "core/heat/outage_inside.h"

namespace baskwell::heat {
namespace {

// Proposals, no source.
constexpr double least_normal_k = 0.8;
constexpr std::int64_t back_for_ms = 10 * minute_ms;   // so long within its range: it is back
constexpr std::int64_t kept_from_ms = 45 * minute_ms;  // after its return the thermostat has found its level
constexpr int kept_enough = 60;                        // looks, two minutes apart at the most
constexpr double kept_differs_k = 1.0;
constexpr double kept_differs_of_swing = 0.35;
constexpr double slow_times = 2;
constexpr double slow_more_min = 20;
// A timer's own scatter is a minute or two; less than that after an outage needs no ladder.
constexpr double lights_late_min = 3;
constexpr double drop_late_min = 20;
constexpr std::int64_t fresh_ms = 15 * minute_ms;
constexpr std::int64_t quiet_settles_ms = 60 * minute_ms;  // a gap in which nothing cooled
constexpr std::int64_t heat_settles_ms = 2 * hour_ms;      // at the soonest
constexpr std::int64_t gather_ms = 30 * minute_ms;         // lights of one morning come one after another
constexpr std::int64_t forgotten_ms = 7 * day_ms;

// Held to a year, so that whatever stood in a damaged snapshot stays a number.
std::string minutes_text(double minutes) {
  constexpr double most = 366.0 * 1440.0;
  const double held = std::isfinite(minutes) ? std::min(std::abs(minutes), most) : 0.0;
  return duration_text(static_cast<std::int64_t>(std::llround(held)) * minute_ms);
}

std::string k_words(double kelvin) {
  return number_text(std::abs(kelvin)) + " °C";
}

std::string late_words(double minutes) {
  return minutes_text(minutes) + (minutes < 0 ? " early" : " late");
}

}  // namespace

double normal_below_k(const EnclosureCourse& course) {
  const double strays = std::isfinite(course.low_k) ? -course.low_k : course.swing_k;
  return std::isfinite(strays) ? std::max(least_normal_k, strays) : least_normal_k;
}

// ---- Night drop ------------------------------------------------------------------------------------------

// Both what is and what is expected cross the middle between day and night; the difference is how late it
// runs.
void OutageWatch::Inside::follow_drop(EnclosureWatch& enclosure) const {
  const EnclosureCourse& course = enclosure.course;
  const double drop_k = course.day_degc - course.night_degc;
  const double strays_k = std::isfinite(course.swing_k) ? course.swing_k : 0;
  constexpr double clear_k = 1.5;
  if (!trusted || !course.judged || !std::isfinite(course.degc) || !std::isfinite(course.expected_degc) ||
      !(std::abs(drop_k) > strays_k + clear_k)) {
    enclosure.sides_known = false;
    return;
  }
  const double middle = 0.5 * (course.day_degc + course.night_degc);
  constexpr double newest = 0.3;
  const auto smooth = [&](double& value, double seen) {
    value = std::isnan(value) || !enclosure.sides_known ? seen : value + newest * (seen - value);
  };
  smooth(enclosure.smooth_k, course.degc - middle);
  smooth(enclosure.smooth_expected_k, course.expected_degc - middle);
  const double hysteresis_k = 0.1 * std::abs(drop_k);
  const auto side = [&](bool& above, double k, std::array<std::int64_t, 2>& crossed_e) {
    const bool now_above = above ? k > -hysteresis_k : k > hysteresis_k;
    if (now_above != above && enclosure.sides_known) crossed_e[now_above ? 1 : 0] = now.elapsed.ms;
    above = enclosure.sides_known ? now_above : k > 0;
  };
  side(enclosure.above, enclosure.smooth_k, enclosure.crossed_e);
  side(enclosure.expected_above, enclosure.smooth_expected_k, enclosure.expected_crossed_e);
  enclosure.sides_known = true;
}

void OutageWatch::Inside::follow_drop_of(const Episode& episode, LineWatch& watch) const {
  const EnclosureWatch& enclosure = enclosures[watch.enclosure];
  const UtcMs from =
      watch.line.back_at ? std::max(*watch.line.back_at, *episode.record.to) : *episode.record.to;
  const std::int64_t after_e = elapsed(from) + kept_from_ms;
  constexpr std::int64_t same_edge_ms = 8 * hour_ms;
  for (std::size_t i = 0; i < 2; ++i) {
    const std::int64_t is_e = enclosure.crossed_e[i], expected_e = enclosure.expected_crossed_e[i];
    if (is_e < after_e || expected_e < after_e || is_e - expected_e > same_edge_ms ||
        expected_e - is_e > same_edge_ms)
      continue;
    watch.line.drop_late_min = static_cast<double>(is_e - expected_e) / minute_ms;
  }
}

// ---- Lines -----------------------------------------------------------------------------------------------

void OutageWatch::Inside::follow_lines(Episode& episode) {
  if (episode.record.stage == OutageStage::closed) return;
  for (LineWatch& watch : episode.lines) follow_line(episode, watch);
}

void OutageWatch::Inside::follow_line(Episode& episode, LineWatch& watch) {
  const EnclosureWatch& enclosure = enclosures[watch.enclosure];
  const EnclosureCourse& course = enclosure.course;
  OutageLine& line = watch.line;
  const std::int64_t from_e = elapsed(episode.record.from);
  if (!trusted || enclosure.last_e < from_e || now.elapsed.ms - enclosure.last_e > fresh_ms) return;
  // What comes later than this is not the outage's doing.
  constexpr std::int64_t still_falls_ms = 20 * minute_ms;
  const bool settled = episode.record.to && now.utc - *episode.record.to > still_falls_ms;
  if (!settled && !(enclosure.last_degc >= line.lowest_degc)) line.lowest_degc = enclosure.last_degc;
  line.judged = course.judged && std::isfinite(course.expected_degc) && std::isfinite(course.degc) &&
                enclosure.course_e > from_e;
  if (!line.judged) return;
  const double below_k = course.expected_degc - course.degc;
  if (!settled && below_k > 0 && !line.back_at && !(below_k <= line.fell_k)) line.fell_k = below_k;
  const double normal_k = normal_below_k(course);
  line.fell = line.fell || (!settled && line.fell_k > normal_k + 0.3);
  if (!episode.record.to) return;
  for (std::size_t i = 0; i < units.size() && line.fell; ++i) {
    const auto& fed = units[i].enclosures;
    if (std::find(fed.begin(), fed.end(), watch.enclosure) == fed.end()) continue;
    const UnitWatch& unit = unit_watches[i];
    const double usual = std::isfinite(unit.course.usual_warming_k_per_h) ? unit.course.usual_warming_k_per_h
                                                                          : unit.usual_k_per_h;
    if (usual > 0) line.usual_min = 60 * line.fell_k / usual;
    break;
  }
  if (line.fell && !line.back_at) {
    if (below_k > normal_k) watch.normal_since_e = 0;
    if (below_k <= normal_k && watch.normal_since_e == 0) watch.normal_since_e = now.elapsed.ms;
    if (watch.normal_since_e != 0 && now.elapsed.ms - watch.normal_since_e >= back_for_ms) {
      line.back_at = std::max(utc(watch.normal_since_e), *episode.record.to);
      watch.back_this_boot = true;
      line.took_min = static_cast<double>(*line.back_at - *episode.record.to) / minute_ms;
    }
  }
  const UtcMs level_from = line.back_at ? *line.back_at : *episode.record.to;
  if ((!line.fell || line.back_at) && now.utc - level_from >= kept_from_ms && watch.kept_n < 100'000) {
    watch.kept_sum_k += -below_k;
    ++watch.kept_n;
    if (watch.kept_n >= kept_enough) line.shift_k = watch.kept_sum_k / watch.kept_n - watch.kept_before_k;
  }
  follow_drop_of(episode, watch);
}

bool OutageWatch::Inside::within_reach(const Episode& episode, Index enclosure) const {
  if (episode.record.kind != OutageKind::circuit || episode.record.circuit.empty()) return true;
  const auto on_it = [&](const std::vector<Index>& circuits) {
    return std::any_of(circuits.begin(), circuits.end(), [&](Index c) {
      return ("+" + episode.record.circuit + "+").find("+" + room.circuits[c].id + "+") != std::string::npos;
    });
  };
  for (std::size_t i = 0; i < units.size(); ++i) {
    const auto& fed = units[i].enclosures;
    if (std::find(fed.begin(), fed.end(), enclosure) != fed.end() && on_it(unit_watches[i].circuits))
      return true;
  }
  return std::any_of(lights.begin(), lights.end(), [&](const LightWatch& one) {
    return one.enclosure == enclosure && (on_it(one.circuits) || one.out == episode.number);
  });
}

void OutageWatch::Inside::write_words(Episode& episode, LineWatch& watch, bool final_words) const {
  OutageLine& line = watch.line;
  std::vector<std::string> looks, says;
  const EnclosureCourse& course = enclosures[watch.enclosure].course;
  if (!line.judged) {
    says.emplace_back(std::isnan(line.lowest_degc) ? "nothing was heard of it"
                                                   : "its heating is not judged yet: still learning");
  } else if (!line.fell) {
    says.emplace_back("did not cool");
  } else {
    says.push_back("fell " + k_words(line.fell_k) + " below its usual, to " +
                   quantity_text(line.lowest_degc, Quantity::temperature));
  }
  if (line.fell && line.back_at) {
    std::string back = "back after " + minutes_text(line.took_min);
    if (std::isfinite(line.usual_min)) back += " (its usual warm-up: " + minutes_text(line.usual_min) + ")";
    const bool slow =
        std::isfinite(line.usual_min) && line.took_min > slow_times * line.usual_min + slow_more_min;
    (slow ? looks : says).push_back(slow ? back + ": look at its heater" : back);
  } else if (line.fell && final_words) {
    looks.push_back("has not come back: " + quantity_text(course.degc, Quantity::temperature) + ", " +
                    quantity_text(course.expected_degc, Quantity::temperature) +
                    " is usual now: look at its heater, plug and thermostat");
  }
  const double swing_k = std::isfinite(course.swing_k) ? course.swing_k : 0;
  if (std::isfinite(line.shift_k)) {
    if (std::abs(line.shift_k) > std::max(kept_differs_k, kept_differs_of_swing * swing_k)) {
      looks.push_back("kept " + k_words(line.shift_k) + (line.shift_k < 0 ? " lower" : " higher") +
                      " than before: look at the thermostat's setting");
    } else if (line.fell) {
      says.emplace_back("keeps its old setting");
    }
  }
  if (std::abs(line.lights_late_min) >= lights_late_min) {
    looks.push_back("lights run " + late_words(line.lights_late_min) + ": set their timer");
  } else if (std::isfinite(line.lights_late_min)) {
    says.emplace_back("lights on time");
  } else if (episode.heat) {
    // One timer stopped: those beside it, which nothing sees, may have stopped too.
    const bool seen = std::any_of(lights.begin(), lights.end(),
                                  [&](const LightWatch& one) { return one.enclosure == watch.enclosure; });
    const LightPlan& plan = room.enclosures[watch.enclosure].lights;
    for (const LineWatch& other : episode.lines) {
      if (seen || plan.on_minute == plan.off_minute ||
          !(std::abs(other.line.lights_late_min) >= lights_late_min))
        continue;
      looks.push_back("no light probe here, and the lights of " +
                      place_name_of(room.enclosures[other.enclosure]) + " run late: look at its timer too");
      break;
    }
  }
  if (std::abs(line.drop_late_min) >= drop_late_min) {
    const bool same_timer = std::abs(line.drop_late_min - line.lights_late_min) < drop_late_min;
    if (same_timer) says.push_back("so does its night drop");
    if (!same_timer)
      looks.push_back("night drop runs " + late_words(line.drop_late_min) + ": set the thermostat's clock");
  } else if (std::isfinite(line.drop_late_min)) {
    says.emplace_back("night drop on time");
  }
  line.look = !looks.empty();
  line.words.clear();
  for (const auto* part : {&looks, &says}) {
    for (const std::string& one : *part) line.words += (line.words.empty() ? "" : "; ") + one;
  }
}

OutageRecord OutageWatch::Inside::record_of(Episode& episode, bool final_words) const {
  OutageRecord record = episode.record;
  record.lines.clear();
  for (LineWatch& watch : episode.lines) {
    if (!within_reach(episode, watch.enclosure) && !watch.line.fell) continue;
    write_words(episode, watch, final_words);
    record.lines.push_back(watch.line);
  }
  return record;
}

// ---- Stages ----------------------------------------------------------------------------------------------

void OutageWatch::Inside::move_on(Episode& episode, OutageNews& news) {
  OutageRecord& record = episode.record;
  const bool heat = episode.heat || record.kind == OutageKind::room_heating;
  if (record.stage == OutageStage::ended && trusted) {
    const std::int64_t since_ms = now.utc - *record.to;
    const bool all_back = std::all_of(episode.lines.begin(), episode.lines.end(), [](const LineWatch& watch) {
      return !watch.line.judged || (watch.kept_n >= kept_enough && (!watch.line.fell || watch.line.back_at));
    });
    const bool done = heat ? all_back && since_ms >= heat_settles_ms : since_ms >= quiet_settles_ms;
    if (done || since_ms >= settled_by_ms) {
      record.stage = OutageStage::settled;
      episode.changed = true;
      news.changed.push_back(record_of(episode, true));
      const OutageRecord& settled = news.changed.back();
      if (heat || settled.needs_look()) news.to_tell.push_back(settled);
      episode.told = true;
      episode.looks_told = static_cast<int>(std::count_if(settled.lines.begin(), settled.lines.end(),
                                                          [](const OutageLine& line) { return line.look; }));
      episode.changed = false;
      return;
    }
  }
  const bool forgotten =
      record.stage == OutageStage::open && now.elapsed.ms - episode.opened_e > forgotten_ms;
  const bool over = record.stage == OutageStage::settled && now.utc - *record.to >= closed_after_ms;
  if (forgotten || over) {
    record.stage = OutageStage::closed;
    episode.changed = true;
  }
  if (record.stage >= OutageStage::settled && !episode.told_again) {
    const OutageRecord now_so = record_of(episode, true);
    const auto looks = static_cast<int>(std::count_if(now_so.lines.begin(), now_so.lines.end(),
                                                      [](const OutageLine& line) { return line.look; }));
    if (looks <= episode.looks_told) {
      episode.look_since_e = 0;
    } else if (episode.look_since_e == 0) {
      episode.look_since_e = now.elapsed.ms;
    }
    const bool ripe = episode.look_since_e != 0 && now.elapsed.ms - episode.look_since_e >= gather_ms;
    if (looks > episode.looks_told && (ripe || record.stage == OutageStage::closed)) {
      news.to_tell.push_back(now_so);
      episode.told_again = true;
      episode.looks_told = looks;
      episode.changed = true;
    }
  }
  if (!episode.changed) return;
  episode.changed = false;
  news.changed.push_back(record_of(episode, record.stage >= OutageStage::settled));
}

void OutageWatch::judge(Stamp now, OutageNews& news) {
  Inside& in = *inside_;
  in.now = now;
  in.judge_room();
  std::erase_if(in.episodes, [&](Episode& one) {
    if (one.opened_e == 0) one.opened_e = now.elapsed.ms;
    if (!one.held) return one.record.stage == OutageStage::closed;
    const std::int64_t length_ms = *one.record.to - one.record.from;
    in.look_after_gap(one);  // what has cooled proves it, whatever the clock says of its length
    if (one.heat || (in.trusted && length_ms >= shortest_outage_ms)) {
      one.held = false;
      return false;
    }
    // Too short, as far as the clock can be believed; until then it may yet turn out longer.
    return (in.trusted && in.sure) || now.elapsed.ms - one.opened_e > day_ms;
  });
  for (Episode& one : in.episodes) {
    if (one.held) continue;
    const bool young = !one.record.to || now.elapsed.ms - one.opened_e < after_gap_ms;
    if (one.record.stage < OutageStage::settled && young && one.record.kind != OutageKind::room_heating)
      in.join_more(one);
  }
  in.look_for_missing_lights();
  in.open_if_common();
  for (Episode& one : in.episodes) {
    if (one.held) continue;
    const bool told = one.record.stage >= OutageStage::settled;
    if (!told) {
      in.look_after_gap(one);
      in.find_begin(one);
      in.find_end(one, news);
    }
    in.follow_lines(one);
    if (!told) in.name_kind(one);
    in.move_on(one, news);
    if (one.record.stage < OutageStage::settled) continue;
    // Settled: what it held is free for the next one.
    for (UnitWatch& unit : in.unit_watches) unit.out = unit.out == one.number ? 0 : unit.out;
    for (LightWatch& light : in.lights) light.out = light.out == one.number ? 0 : light.out;
    for (PowerWatch& power : in.powers) power.out = power.out == one.number ? 0 : power.out;
    for (InstrumentWatch& one_of : in.instruments) one_of.out = one_of.out == one.number ? 0 : one_of.out;
  }
}

}  // namespace baskwell::heat
