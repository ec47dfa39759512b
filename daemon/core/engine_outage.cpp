// What was away from when to when (heat/outage_watch): facts go in as they come, about once a minute of
// readings it is judged. By readings only, so the outcome does not depend on how often time is told.

#include <algorithm>
#include <cmath>

#include "core/engine_state.h"
#include "core/heat/heat_watch.h"
#include "core/heat/outage_watch.h"
#include "core/heat/outage_words.h"

namespace baskwell {
namespace {

constexpr std::int64_t judge_every_ms = minute_ms;
// The courses of enclosures change slowly; after an outage they are looked at each time.
constexpr std::int64_t courses_every_ms = 10 * minute_ms;

double lower(double a, double b) {
  if (std::isnan(a)) return b;
  return std::isnan(b) ? a : std::min(a, b);
}

}  // namespace

void Engine::State::add_outage_watch() {
  outages = std::make_unique<heat::OutageWatch>(*room);
}

void Engine::State::heard_for_outages(const ReadingEvent& event, double value, Effects& effects) {
  // What a kept session brings may be of the past: then it says nothing of who can be heard now.
  constexpr std::int64_t just_now_ms = 2 * minute_ms;
  if (event.queued && clock_trusted && event.at.utc - measured_at(event) > just_now_ms) return;
  outages->heard(event.channel, value, event.at);
  if (event.at.elapsed >= outages_due) judge_outages(event.at, effects);
}

void Engine::State::judge_outages(Stamp at, Effects& effects) {
  outages_due = at.elapsed + judge_every_ms;
  const std::vector<heat::Unit>& units = outages->units();
  for (Index unit = 0; unit < units.size(); ++unit) outages->unit(unit, heating->course(unit));
  if (outages->busy() || at.elapsed >= outage_courses_due) {
    outage_courses_due = at.elapsed + courses_every_ms;
    for (const heat::Unit& unit : units) courses_for_outages(unit, at);
  }
  heat::OutageNews news;
  outages->judge(at, news);
  for (const heat::OutageNews::Ended& one : news.ended) heating->outage_ended(one.unit, one.from, one.to);
  std::move(news.changed.begin(), news.changed.end(), std::back_inserter(effects.outages));
  for (const OutageRecord& one : news.to_tell) tell_of_outage(one, at, effects);
}

void Engine::State::courses_for_outages(const heat::Unit& unit, Stamp at) {
  const auto belief = heating->belief(unit.enclosures.front(), at.utc);
  if (!belief) return;
  for (const Index enclosure : unit.enclosures) {
    const Index channel = outages->probe_of(enclosure);
    if (channel == none) continue;
    const auto probe =
        std::find_if(belief->probes.begin(), belief->probes.end(),
                     [&](const heat::ProbeBelief& one) { return one.channel == room->channels[channel].id; });
    if (probe == belief->probes.end()) continue;
    heat::EnclosureCourse course;
    course.judged = belief->judged;
    course.degc = probe->now_degc;
    course.expected_degc = probe->expected_degc;
    course.low_k = lower(belief->day.low_k, belief->night.low_k);
    course.day_degc = belief->day.level_degc;
    course.night_degc = belief->night.level_degc;
    course.swing_k = -lower(-belief->day.swing_k, -belief->night.swing_k);
    outages->enclosure(enclosure, course);
  }
}

// Nobody is woken: what cooled has come back or has alarms of its own.
void Engine::State::tell_of_outage(const OutageRecord& outage, Stamp at, Effects& effects) {
  const OutageMessage words = outage_message(outage, *room, at.utc);
  for (const Person& person : room->people) {
    MessageDraft message;
    message.id = "M" + std::to_string(++last_message);
    message.occurrence = outage.id;
    message.person = person.id;
    message.reason = TellReason::over;
    message.priority = outage.needs_look() ? Priority::medium : Priority::low;
    message.written = at.utc;
    message.not_before = waking_moment(person, room->clock, at.utc);
    message.headline = words.headline;
    message.body = words.body;
    message.json = words.json;
    effects.messages.push_back(std::move(message));
  }
}

void Engine::service_was_alive_until(UtcMs at) {
  state_->outages->service_alive_until(at);
}

}  // namespace baskwell
