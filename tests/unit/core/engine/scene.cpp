#include "engine/scene.h"

#include <cmath>
#include <iterator>
#include <utility>
#include <variant>

namespace baskwell::test {

std::string text_of(const TransitionRecord& record) {
  return rfc3339(record.at) + " " + (record.occurrence.empty() ? "-" : record.occurrence) + " " +
         std::string(row_of(record.kind).name) + " " + record.subject + ": " +
         std::string(name_of(record.from)) + " -> " + std::string(name_of(record.to)) + " (" +
         std::string(name_of(record.input)) + ", " + std::string(name_of(record.priority)) + ", level " +
         std::to_string(static_cast<int>(record.level)) + ", " + std::to_string(record.value) + " against " +
         std::to_string(record.limit) + ") " + record.who + ": " + record.why;
}

std::string outline_of(const MessageDraft& message) {
  return message.id + " " + message.occurrence + " to " + message.person + ": " +
         std::string(name_of(message.reason)) + ", " + std::string(name_of(message.priority)) + " " +
         rfc3339(message.written) + " not before " + rfc3339(message.not_before) +
         (message.only_if_told ? " if told" : "");
}

std::string text_of(const MessageDraft& message) {
  return outline_of(message) + "\n" + message.headline + "\n" + message.body + "\n" + message.json;
}

Scene::Scene(std::shared_ptr<const Room> room, std::string_view start)
    : now{utc(start), ElapsedMs{50 * hour_ms}}, engine(std::make_unique<Engine>(std::move(room), now)) {
  broker(true);
}

void Scene::tick(std::int64_t after_ms) {
  pass(after_ms);
  step(TickEvent{});
}

void Scene::hear(Index channel, std::string_view value) {
  ReadingEvent event;
  event.at = now;
  event.channel = channel;
  event.unit = engine->room().channels[channel].unit;
  if (const auto decimal = decimal_from(value)) {
    event.value = *decimal;
  } else {
    event.not_a_number = true;
  }
  Effects one;
  engine->step_reading(event, one);
  gather(std::move(one));
}

void Scene::keep(Index channel, double value, std::int64_t for_ms, std::int64_t every_ms) {
  keep({{channel, value}}, for_ms, every_ms);
}

void Scene::keep(const std::vector<std::pair<Index, double>>& values, std::int64_t for_ms,
                 std::int64_t every_ms) {
  for (std::int64_t passed = 0; passed < for_ms; passed += every_ms) {
    for (const auto& [channel, value] : values) {
      const std::int64_t digits = std::llround(value * 10000) + flicker_;
      hear(channel, to_text({digits, 4}));
    }
    flicker_ = 1 - flicker_;
    pass(every_ms);
  }
}

void Scene::step(Event event) {
  std::visit([this](auto& one) { one.at = now; }, event);
  Effects effects_of_it;
  engine->step(event, effects_of_it);
  gather(std::move(effects_of_it));
}

Outcome Scene::restore(std::string_view snapshot, std::string_view boot_id) {
  Effects one;
  Outcome outcome = engine->restore(snapshot, now, boot_id, one);
  gather(std::move(one));
  return outcome;
}

void Scene::gather(Effects one) {
  const auto append = [](auto& to, auto& from) {
    to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
  };
  append(effects.readings, one.readings);
  append(effects.transitions, one.transitions);
  append(effects.messages, one.messages);
  append(effects.withdrawn, one.withdrawn);
  append(effects.notes, one.notes);
  effects.answer = one.answer;
}

std::string Scene::ask(RequestEvent::What what, std::string_view target, std::string_view why,
                       std::int64_t duration_ms) {
  RequestEvent event;
  event.what = what;
  event.target = target;
  event.who = "Kim";
  event.why = why;
  event.duration_ms = duration_ms;
  step(event);
  return effects.answer;
}

void Scene::broker(bool connected) {
  BrokerEvent event;
  event.connected = connected;
  event.detail = connected ? "" : "connection refused";
  step(event);
}

std::vector<std::string> Scene::news() {
  std::vector<std::string> lines;
  for (; seen_transitions_ < effects.transitions.size(); ++seen_transitions_)
    lines.push_back(text_of(effects.transitions[seen_transitions_]));
  for (; seen_messages_ < effects.messages.size(); ++seen_messages_)
    lines.push_back(outline_of(effects.messages[seen_messages_]));
  return lines;
}

int Scene::count(AlarmKind kind, AlarmState to) const {
  int found = 0;
  for (const TransitionRecord& record : effects.transitions)
    found += record.kind == kind && record.to == to ? 1 : 0;
  return found;
}

const TransitionRecord* Scene::last(AlarmKind kind) const {
  for (auto record = effects.transitions.rbegin(); record != effects.transitions.rend(); ++record) {
    if (record->kind == kind) return &*record;
  }
  return nullptr;
}

int Scene::told(TellReason reason) const {
  int found = 0;
  for (const MessageDraft& message : effects.messages) found += message.reason == reason ? 1 : 0;
  return found;
}

AlarmState Scene::state_of(AlarmKind kind) const {
  for (const AlarmView& alarm : engine->view(now).alarms) {
    if (alarm.kind == kind) return alarm.state;
  }
  return AlarmState::normal;
}

ThreeProbes::ThreeProbes(std::vector<Band> bands) : enclosure(builder.enclosure("shelf-1")) {
  builder.animal("asha", std::move(bands), enclosure);
  hot = builder.probe("hot-probe", enclosure, Zone::hot);
  middle = builder.probe("middle-probe", enclosure, Zone::middle);
  cool = builder.probe("cool-probe", enclosure, Zone::cool);
  builder.person("kim");
}

ThreeProbes with_medium_heat() {
  ThreeProbes three;
  three.builder.settings(AlarmKind::too_hot).priority = Priority::medium;
  three.builder.settings(AlarmKind::too_hot).repeat_ms = hour_ms;
  return three;
}

}  // namespace baskwell::test
