// Lights: dark when they should be lit, late because a timer stood still.

#include <algorithm>
#include <cmath>

#include "core/heat/outage_inside.h"

namespace baskwell::heat {

void OutageWatch::Inside::hear_light(LightWatch& light, double lux, Stamp at) {
  const LightPlan& plan = room.enclosures[light.enclosure].lights;
  light.last_e = at.elapsed.ms;
  const auto edge = light.course.add(lux, at.utc, plan, room.clock);
  if (!edge) return;
  const std::int64_t after_e = elapsed(edge->after);
  const std::int64_t before_e = elapsed(edge->before);
  constexpr std::int64_t ahead_ms = 15 * minute_ms;  // a timer may be that early
  if (!edge->on && trusted && light.course.should_be_lit(edge->at() + ahead_ms, plan, room.clock) &&
      light.course.should_be_lit(edge->at(), plan, room.clock)) {
    light.dark = true;
    light.missing = false;
    light.dark_after_e = after_e;
    light.dark_before_e = before_e;
    light.lit_after_e = light.lit_before_e = 0;
  } else if (edge->on && light.dark) {
    light.dark = false;
    light.lit_after_e = after_e;
    light.lit_before_e = before_e;
    if (light.out != 0) return;  // the power came back: no timer's doing
  } else if (edge->on && trusted && light.out == 0 &&
             light.course.should_be_lit(edge->at() - minute_ms * 10, plan, room.clock)) {
    // It should have come on while the power was away, and came on with it.
    for (Episode& one : episodes) {
      if (!one.heat || one.record.stage != OutageStage::open) continue;
      light.out = one.number;
      light.dark_after_e = light.dark_before_e = 0;
      light.lit_after_e = after_e;
      light.lit_before_e = before_e;
      return;
    }
  }
  if (!(light.dark && !edge->on)) note_edge(light, *edge);
}

// A lights-on or lights-off as timers make them: the check of an outage looks at it, else it is learned from.
void OutageWatch::Inside::note_edge(LightWatch& light, const LightEdge& edge) {
  if (!trusted) return;
  constexpr std::int64_t return_ms = 3 * minute_ms;  // lamps that start with the power itself
  bool taken = false;
  for (Episode& one : episodes) {
    if (one.record.stage == OutageStage::closed || one.held) continue;
    taken = true;
    if (!one.record.to || edge.at() < *one.record.to + return_ms) continue;
    for (LineWatch& watch : one.lines) {
      if (watch.enclosure != light.enclosure) continue;
      watch.line.lights_late_min = edge.late_min;
      one.changed = true;
      settle_by_timer(one, light, edge.late_min);
    }
  }
  if (taken) return;
  double& odd = edge.on ? light.odd_on_min : light.odd_off_min;
  constexpr double again_min = 10;  // what comes again the next day is the timer's new minute
  if (LightCourse::is_usual(edge) || std::abs(edge.late_min - odd) < again_min) light.course.learn(edge);
  odd = edge.late_min;
}

// A timer that stood still for as long as the outage lasted was without power too: the other circuit as well.
void OutageWatch::Inside::settle_by_timer(Episode& episode, const LightWatch& light, double late_min) {
  OutageRecord& record = episode.record;
  constexpr double least_min = 10;  // below it a timer's own scatter might do it
  constexpr double same_min = 5;
  const auto lasted_min = static_cast<double>(*record.to - record.from) / minute_ms;
  if (record.kind != OutageKind::mains || record.other != OutageKind::circuit || light.circuits.empty() ||
      late_min < least_min || std::abs(late_min - lasted_min) > same_min)
    return;
  for (const Index circuit : light.circuits) {
    if (record.circuit == room.circuits[circuit].id) return;
  }
  record.other.reset();
  record.circuit.clear();
  record.confidence = 0.95;
  record.evidence += "; a timer on another circuit stood still for as long: that of " +
                     place_name_of(room.enclosures[light.enclosure]);
}

// By the plan something may go off or on of itself now.
bool OutageWatch::Inside::near_edge(UtcMs at, Index enclosure) const {
  constexpr std::int64_t near_ms = 25 * minute_ms;
  const LightPhase phase = light_phase(room.enclosures[enclosure].lights, room.clock, at);
  if (phase.since.ms == INT64_MIN) return false;
  return at - phase.since < near_ms || phase.until - at < near_ms;
}

// Lights that should have come on and did not. Not while timers may be late after an outage.
void OutageWatch::Inside::look_for_missing_lights() {
  if (!trusted) return;
  Episode* open_one = nullptr;
  for (Episode& one : episodes) {
    if (one.record.to) return;
    if (one.heat) open_one = &one;
  }
  constexpr std::int64_t patience_ms = 12 * minute_ms;
  constexpr double timer_off_min = 10;
  for (LightWatch& light : lights) {
    const LightPlan& plan = room.enclosures[light.enclosure].lights;
    const LightPhase phase = light_phase(plan, room.clock, now.utc);
    if (!phase.day || phase.since.ms == INT64_MIN || light.dark || light.out != 0 || !light.course.known() ||
        light.course.lit() || std::abs(light.odd_on_min) >= timer_off_min ||
        now.elapsed.ms - light.last_e > patience_ms || now.utc - phase.since > 2 * hour_ms ||
        !light.course.should_be_lit(now.utc - patience_ms, plan, room.clock))
      continue;
    light.dark = true;
    light.lit_after_e = light.lit_before_e = 0;
    light.dark_after_e = light.dark_before_e = 0;
    if (open_one != nullptr) {  // it says nothing of the beginning
      light.out = open_one->number;
      open_one->changed = true;
      continue;
    }
    // The power may have gone at any time since they went off the evening before.
    light.dark_before_e = elapsed(phase.since) + minute_ms;
    light.dark_after_e = light.dark_before_e - 2 * minute_ms;
    light.missing = true;
  }
}

}  // namespace baskwell::heat
