#pragma once
// Everything that core wants done. The shell turns one step's effects into one store transaction and then
// tells people. Reused from step to step: clear() keeps the memory. Bounded by what one event can cause.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/alarm/machine.h"
#include "core/heat/outage_record.h"
#include "core/note.h"
#include "core/probe/quality.h"
#include "core/room.h"
#include "core/time.h"
#include "core/units.h"

namespace baskwell {

struct StoredReading {
  Index channel = none;
  Decimal value;  // as it came
  Unit unit = Unit::degc;
  Quality quality = Quality::good;
  bool own_time = false;  // `measured` is the payload's own clock
  std::uint16_t calibration_version = 0;
  UtcMs measured;
  UtcMs received;
  ElapsedMs elapsed;  // of arrival
};

// One line of the alarm record, kept for ever.
struct TransitionRecord {
  std::string occurrence;  // "A1042"
  AlarmKind kind = AlarmKind::too_cold;
  std::string subject;  // "enclosure/zone/medium", a channel id, "broker", a delivery channel's id ...
  AlarmState from = AlarmState::normal;
  AlarmState to = AlarmState::normal;
  AlarmInput input = AlarmInput::occurs;
  Priority priority = Priority::medium;
  Level level = Level::none;
  std::optional<AlarmKind> other;  // a second explanation that the evidence cannot tell apart
  UtcMs at;
  double value = 0;  // judged unit; NaN where it means nothing
  double limit = 0;
  std::string who;  // a person's name, or "baskwell"
  std::string why;
};

enum class TellReason : std::uint8_t { raised, worse, reached_harm, repeated, over };
[[nodiscard]] std::string_view name_of(TellReason reason);

// A message for one person: a row of the outbox.
struct MessageDraft {
  std::string id;  // "M317": the same for every attempt, unique in the store
  std::string occurrence;
  std::string person;  // id
  TellReason reason = TellReason::raised;
  Priority priority = Priority::medium;
  UtcMs written;
  UtcMs not_before;           // `medium` waits for waking hours
  bool only_if_told = false;  // "over" goes only to those who heard of the alarm
  std::string headline;       // one line; the first 100 characters can be acted on
  std::string body;
  std::string json;
};

struct Effects {
  std::vector<StoredReading> readings;
  std::vector<TransitionRecord> transitions;
  std::vector<MessageDraft> messages;
  std::vector<std::string> withdrawn;  // occurrences whose undelivered messages (but "over") no longer matter
  std::vector<NoteRecord> notes;
  std::vector<OutageRecord> outages;  // the newest state of each that changed; the same id comes again
  std::string answer;                 // to a RequestEvent or a NoteEvent: "" when done, else why not

  // What was to be told of this occurrence, but that it is over, no longer matters: neither what went out
  // before nor what these effects hold. Several steps may share one Effects, so order is kept here.
  void withdraw(const std::string& occurrence) {
    std::erase_if(messages, [&](const MessageDraft& message) {
      return message.occurrence == occurrence && message.reason != TellReason::over;
    });
    withdrawn.push_back(occurrence);
  }

  void clear() {
    readings.clear();
    transitions.clear();
    messages.clear();
    withdrawn.clear();
    notes.clear();
    outages.clear();
    answer.clear();
  }
};

}  // namespace baskwell
