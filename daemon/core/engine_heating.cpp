// What core/heat finds, as facts about alarm points.

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

std::optional<heat::Belief> Engine::heat_belief(Index enclosure, Stamp now) const {
  return state_->heating->belief(enclosure, now.utc);
}

}  // namespace baskwell
