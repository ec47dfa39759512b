// Decisions: what the alarm points' facts lead to. Facts are in engine.cpp.

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/check.h"
#include "core/engine_state.h"

namespace baskwell {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr std::int64_t longest_shelving_ms = 8 * hour_ms;          // proposal, husbandry defaults
constexpr std::int64_t longest_high_shelving_ms = 60 * minute_ms;  // a `high` is never quiet for longer
constexpr std::string_view self = "baskwell";

// `medium` waits for this person's waking hours; `high` never.
UtcMs not_before(const Person& person, const ZoneRules& clock, Priority priority, UtcMs at) {
  return priority == Priority::high ? at : waking_moment(person, clock, at);
}

}  // namespace

UtcMs waking_moment(const Person& person, const ZoneRules& clock, UtcMs at) {
  const int minute = local_minute(clock, at);
  const bool over_midnight = person.wakes_minute > person.sleeps_minute;
  const bool awake = over_midnight ? minute >= person.wakes_minute || minute < person.sleeps_minute
                                   : minute >= person.wakes_minute && minute < person.sleeps_minute;
  if (awake || person.wakes_minute == person.sleeps_minute) return at;
  const std::int64_t today = local_day(clock, at);
  const UtcMs wake = instant_of(clock, today, person.wakes_minute);
  return wake > at ? wake : instant_of(clock, today + 1, person.wakes_minute);
}

bool is_high_side(AlarmKind kind) {
  return kind == AlarmKind::too_hot || kind == AlarmKind::no_refuge || kind == AlarmKind::too_damp;
}

std::string occurrence_name(std::uint64_t occurrence) {
  return occurrence == 0 ? std::string() : "A" + std::to_string(occurrence);
}

const AlarmSettings& Engine::State::settings_of(const Point& point) const {
  return room->alarm_settings[static_cast<std::size_t>(point.kind)];
}

Priority Engine::State::priority_of(const Point& point) const {
  const AlarmSettings& settings = settings_of(point);
  return point.state.level == Level::harm ? settings.harm_priority : settings.priority;
}

std::int64_t Engine::State::repeat_ms_of(const Point& point) const {
  const AlarmSettings& settings = settings_of(point);
  return point.state.level == Level::harm ? settings.harm_repeat_ms : settings.repeat_ms;
}

void Engine::State::fact(Index index, const Fact& fact, Stamp at, Effects& effects) {
  Point& point = points[index];
  const AlarmSettings& settings = settings_of(point);
  if (!settings.enabled) return;
  const bool harm_before = point.state.harm.active;
  const auto change = update(point.state, settings, fact, at);
  if (change) {
    changed(index, *change, harm_before, at, effects);
  } else if (point.state.target.beyond != point.state.target.active ||
             point.state.harm.beyond != point.state.harm.active) {
    queue_point(index);  // a delay runs
  }
}

void Engine::State::fault(Index index, bool present, bool long_lasting, std::string_view detail, Stamp at,
                          Effects& effects) {
  if (present && !detail.empty()) points[index].detail = detail;
  Fact one;
  one.target_excess = present ? 1.0 : -infinity;
  one.harm_excess = present && long_lasting ? 1.0 : -infinity;
  one.value = std::numeric_limits<double>::quiet_NaN();
  one.limit = std::numeric_limits<double>::quiet_NaN();
  one.one_is_enough = true;
  fact(index, one, at, effects);
}

void Engine::State::changed(Index index, const PointChange& change, bool harm_before, Stamp at,
                            Effects& effects) {
  Point& point = points[index];
  if (change.input == AlarmInput::occurs && point.kind == AlarmKind::probe_silent && broker_loss_says_it()) {
    // One loss, one alarm: the broker's own says it all.
    apply(index, AlarmInput::suppress, TellReason::raised, at, self, "the broker is away; see its own alarm",
          effects);
    return;
  }
  if ((change.input == AlarmInput::occurs || change.input == AlarmInput::realarm) && grace_covers(point)) {
    suppress_by_grace(index, at, self, effects);
    return;
  }
  std::string_view why;
  TellReason reason = TellReason::raised;
  const bool reached_harm = point.state.harm.active && !harm_before;
  switch (change.input) {
    case AlarmInput::occurs:
      why = is_heating_kind(point.kind) ? std::string_view(point.detail) : "held for its on-delay";
      break;
    case AlarmInput::returns:
      why = "normal for its off-delay";
      // Its end is recorded and told with the priority it had.
      point.state.level = change.level;
      break;
    case AlarmInput::realarm:
    case AlarmInput::worsens:
      why = reached_harm ? "reached the harm limit" : "became worse";
      reason = reached_harm ? TellReason::reached_harm : TellReason::worse;
      break;
    case AlarmInput::unshelve:
    case AlarmInput::unsuppress:
      why = "reached the harm limit: nothing covers that";
      reason = TellReason::reached_harm;
      break;
    default:
      break;
  }
  const bool applied = apply(index, change.input, reason, at, self, why, effects);
  CHECK(applied);
}

// `reason`: what people are told where this puts it in front of them. False: the table has no such
// transition.
bool Engine::State::apply(Index index, AlarmInput input, TellReason reason, Stamp at, std::string_view who,
                          std::string_view why, Effects& effects) {
  Point& point = points[index];
  PointState& state = point.state;
  const bool condition = condition_holds(state);
  const AlarmState from = state.state;
  const auto to = next_state(from, input, condition);
  if (!to) return false;

  const bool raised = *to == AlarmState::unacknowledged && from != AlarmState::unacknowledged;
  state.state = *to;
  if (raised) {
    if (state.occurrence == 0) {
      state.occurrence = ++last_occurrence;
      state.raised = at.utc;
    }
    if (condition && state.level == Level::none)
      state.level = state.harm.active ? Level::harm : Level::target;
  }
  if (input == AlarmInput::acknowledge) take_acknowledgement(state);
  if (*to != AlarmState::shelved) state.shelved_until = ElapsedMs{INT64_MAX};

  TransitionRecord record;
  record.occurrence = occurrence_name(state.occurrence);
  record.kind = point.kind;
  record.subject = point.subject;
  record.from = from;
  record.to = *to;
  record.input = input;
  record.priority = priority_of(point);
  record.level = state.level;
  record.other = point.other;
  record.at = at.utc;
  record.value = state.value;
  record.limit = state.limit;
  record.who = who;
  record.why = why;
  effects.transitions.push_back(std::move(record));

  const std::int64_t repeat_ms = repeat_ms_of(point);
  const bool waits = *to == AlarmState::unacknowledged && repeat_ms > 0;
  state.repeat_at = waits ? at.elapsed + repeat_ms : ElapsedMs{INT64_MAX};

  if (raised || input == AlarmInput::worsens) {
    tell(point, reason, at, effects);
  } else if (input == AlarmInput::returns) {
    effects.withdraw(occurrence_name(state.occurrence));
    tell(point, TellReason::over, at, effects);
  } else if (from == AlarmState::unacknowledged && state.occurrence != 0) {
    effects.withdraw(occurrence_name(state.occurrence));  // somebody is on it, or took it out
  }
  // What comes after a return starts at the bottom again, also where the occurrence is still open.
  if (input == AlarmInput::returns) state.level = Level::none;
  if (*to == AlarmState::normal) {
    state.occurrence = 0;
    state.level = Level::none;
  }
  queue_point(index);
  return true;
}

void Engine::State::tell(const Point& point, TellReason reason, Stamp at, Effects& effects) {
  const Priority priority = priority_of(point);
  if (priority == Priority::low || room->people.empty()) return;  // `low` is for the page and the report
  const Words words = words_for(describe(point, at), reason, room->name, room->clock);
  for (const Person& person : room->people) {
    const UtcMs due = not_before(person, room->clock, priority, at.utc);
    if (reason == TellReason::repeated && due > at.utc) continue;  // the first telling waits for them already
    MessageDraft message;
    message.id = "M" + std::to_string(++last_message);
    message.occurrence = occurrence_name(point.state.occurrence);
    message.person = person.id;
    message.reason = reason;
    message.priority = priority;
    message.written = at.utc;
    message.not_before = due;
    message.only_if_told = reason == TellReason::over;
    message.headline = words.headline;
    message.body = words.body;
    message.json = words.json;
    effects.messages.push_back(std::move(message));
  }
}

void Engine::State::point_due(Index index, Stamp at, Effects& effects) {
  Point& point = points[index];
  PointState& state = point.state;
  if (point.grace_until <= at.elapsed) end_grace(index, at, effects);
  if (state.shelved_until <= at.elapsed) {
    state.shelved_until = ElapsedMs{INT64_MAX};
    apply(index, AlarmInput::unshelve, TellReason::raised, at, self, "the time of shelving is over", effects);
    suppress_in_grace(index, at, self, effects);
  }
  const bool harm_before = state.harm.active;
  if (const auto change = pass_time(state, settings_of(point), at))
    changed(index, *change, harm_before, at, effects);
  if (state.repeat_at <= at.elapsed) {
    const std::int64_t repeat_ms = repeat_ms_of(point);  // the settings may have changed meanwhile
    state.repeat_at = repeat_ms > 0 ? at.elapsed + repeat_ms : ElapsedMs{INT64_MAX};
    if (repeat_ms > 0) tell(point, TellReason::repeated, at, effects);
  }
  queue_point(index);
}

void Engine::State::queue_point(Index index) {
  const Point& point = points[index];
  dues.look_by(owner_of_point(index),
               std::min({baskwell::next_due(point.state, settings_of(point)), point.state.repeat_at,
                         point.state.shelved_until, point.grace_until}));
}

std::string Engine::State::request(const RequestEvent& event, Effects& effects) {
  using What = RequestEvent::What;
  if (event.who.empty()) return "who asks is missing: give a name";
  if (event.what == What::out_of_service || event.what == What::return_to_service)
    return service(event, effects);
  const bool all = event.what == What::acknowledge && event.target == "all";
  const AlarmInput input = event.what == What::acknowledge ? AlarmInput::acknowledge
                           : event.what == What::shelve    ? AlarmInput::shelve
                                                           : AlarmInput::unshelve;
  bool found = all;
  AlarmState found_in = AlarmState::normal;
  std::vector<Index> meant;
  for (Index i = 0; i < points.size(); ++i) {
    const PointState& state = points[i].state;
    if (state.occurrence == 0) continue;
    if (!all && occurrence_name(state.occurrence) != event.target && !concerns(points[i], event.target))
      continue;
    found = true;
    found_in = state.state;
    if (next_state(state.state, input, condition_holds(state))) meant.push_back(i);
  }
  if (!found) return "no open alarm '" + event.target + "': `baskwell alarms` lists them";
  if (meant.empty() && !all) {
    const bool again = input == AlarmInput::shelve && found_in == AlarmState::shelved;
    return "nothing to do: '" + event.target + "' is " + std::string(name_of(found_in)) +
           (again ? " already; `baskwell unshelve` ends that" : "");
  }
  if (input == AlarmInput::shelve) {
    // All or none: what was asked for is refused as a whole.
    for (const Index i : meant) {
      if (std::string refused = why_not_shelve(points[i], event); !refused.empty()) return refused;
    }
  }
  for (const Index i : meant) {
    apply(i, input, TellReason::raised, event.at, event.who, event.why, effects);
    if (input == AlarmInput::unshelve) suppress_in_grace(i, event.at, self, effects);
    if (input != AlarmInput::shelve) continue;
    points[i].state.shelved_until = event.at.elapsed + event.duration_ms;
    queue_point(i);
  }
  return {};
}

// Empty: it can be shelved as asked.
std::string Engine::State::why_not_shelve(const Point& point, const RequestEvent& event) const {
  if (event.why.empty()) return "a reason is missing: say why";
  if (event.duration_ms <= 0 || event.duration_ms > longest_shelving_ms)
    return "the time must be more than 0 and at most 8 h";
  const std::string name = occurrence_name(point.state.occurrence);
  if (point.state.harm.active || point.state.harm.beyond)
    return name + " is beyond a harm limit: that cannot be shelved";
  if (priority_of(point) == Priority::high && event.duration_ms > longest_high_shelving_ms) {
    return name + " is high: it can be shelved for 60 min at most";
  }
  return {};
}

// Whether a point belongs to the enclosure, rack, instrument or channel of this id, or has this subject.
bool Engine::State::concerns(const Point& point, std::string_view target) const {
  if (point.subject == target) return true;
  Index enclosure = none;
  if (point.spot != none) enclosure = spots[point.spot].key.enclosure;
  if (point.channel != none) {
    const Channel& channel = room->channels[point.channel];
    if (channel.id == target || room->instruments[channel.instrument].id == target) return true;
    // A channel that was never heard has not been placed by a reading yet.
    Index placement = channels[point.channel].placement;
    if (placement == none) placement = placement_at(point.channel, now.utc);
    if (placement != none) enclosure = channel.placements[placement].enclosure;
  }
  if (enclosure == none) return false;
  const Enclosure& place = room->enclosures[enclosure];
  return place.id == target || (place.rack != none && room->racks[place.rack].id == target);
}

std::string Engine::State::service(const RequestEvent& event, Effects& effects) {
  const bool out = event.what == RequestEvent::What::out_of_service;
  if (out && event.why.empty()) return "a reason is missing: say why";
  std::size_t found = 0;
  std::size_t applied = 0;
  for (Index i = 0; i < points.size(); ++i) {
    if (!concerns(points[i], event.target)) continue;
    ++found;
    if (!settings_of(points[i]).enabled) continue;
    const AlarmInput input = out ? AlarmInput::take_out_of_service : AlarmInput::return_to_service;
    if (!apply(i, input, TellReason::raised, event.at, event.who, event.why, effects)) continue;
    ++applied;
    if (!out) suppress_in_grace(i, event.at, self, effects);
  }
  if (found == 0)
    return "nothing is called '" + event.target + "': give an enclosure, rack, instrument or channel id";
  if (applied == 0) return out ? "it is out of service already" : "it is not out of service";
  return {};
}

}  // namespace baskwell
