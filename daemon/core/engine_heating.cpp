// What core/heat finds, as facts about alarm points.

#include <algorithm>
#include <limits>

#include "core/check.h"
#include "core/engine_state.h"
#include "core/heat/heat_watch.h"

namespace baskwell {

void Engine::State::add_heating_points() {
  heating = std::make_unique<heat::HeatWatch>(*room);
  first_heating_point = static_cast<Index>(points.size());
  for (const heat::Point& found : heating->points()) {
    Point point;
    point.kind = found.kind;
    point.subject = found.subject;
    point.channel = found.channel;
    point.state.value = point.state.limit = std::numeric_limits<double>::quiet_NaN();
    points.push_back(std::move(point));
  }
}

void Engine::State::feed_heating(Index channel, double degc, UtcMs measured, Effects& effects) {
  const Spot& spot = spots[channels[channel].spot];
  if (spot.key.quantity != Quantity::temperature) return;
  heating_facts.clear();
  heating->reading(channel, spot.key, degc, measured, spot.segment.at(measured), heating_facts);
  if (!heating_facts.empty()) take_heating_facts(effects);
}

void Engine::State::note_to_heating(const NoteEvent& event, Effects& effects) {
  heating_facts.clear();
  heating->note(event.type, event.subject, event.at.utc, heating_facts);
  take_heating_facts(effects);
}

void Engine::State::take_heating_facts(Effects& effects) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  for (const heat::Fact& found : heating_facts) {
    const Index index = first_heating_point + static_cast<Index>(found.point);
    CHECK(index < points.size());
    Point& point = points[index];
    if (found.present) {
      point.detail = found.detail;
      point.other = found.other;
    }
    Fact one;
    one.target_excess = found.present ? 1.0 : -infinity;
    one.harm_excess = found.present && found.harm_near ? 1.0 : -infinity;
    one.value = found.value;
    one.limit = std::numeric_limits<double>::quiet_NaN();
    one.one_is_enough = true;
    fact(index, one, now, effects);
  }
  heating_facts.clear();
}

// After a restart: what the snapshot says was found is found still, so that its end is told too. The latest
// fact counts, not the alarm: an alarm whose off-delay runs has ended already as far as the heating goes.
void Engine::State::hold_heating_fact(Index index) {
  const Point& point = points[index];
  if (index < first_heating_point || index - first_heating_point >= heating->points().size()) return;
  if (!point.state.target.beyond) return;
  heat::Fact found;
  found.point = index - first_heating_point;
  found.present = true;
  found.harm_near = point.state.harm.beyond;
  found.other = point.other;
  found.value = point.state.value;
  found.detail = point.detail;
  heating->hold(found, now.utc - std::max<std::int64_t>(0, now.elapsed - point.state.target.since));
}

std::string Engine::learned() const {
  return state_->heating->learned();
}

Outcome Engine::take_learned(std::string_view text) {
  return state_->heating->take_learned(text);
}

std::optional<heat::Belief> Engine::heat_belief(Index enclosure, Stamp now) const {
  return state_->heating->belief(enclosure, now.utc);
}

}  // namespace baskwell
