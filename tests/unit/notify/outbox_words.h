#pragma once
// Short words for the outbox's tests: people, messages, moments.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/effects.h"
#include "core/room.h"
#include "core/time.h"
#include "notify/letter.h"

namespace baskwell::notify {

inline constexpr UtcMs test_start{1'790'000'000'000};  // some day of 2026

// The moment `after_ms` after the start of the test, by both clocks.
inline Stamp at(std::int64_t after_ms) {
  return {test_start + after_ms, ElapsedMs{5000 + after_ms}};
}

inline Person person(std::string id, const std::vector<std::string>& channels) {
  Person made;
  made.id = std::move(id);
  made.name = "Person " + made.id;
  for (const std::string& channel : channels) made.channels.push_back({channel, made.id + "@" + channel});
  return made;
}

struct Wanted {
  std::string id;
  std::string occurrence = "A1";
  std::string person = "anna";
  TellReason reason = TellReason::raised;
  Priority priority = Priority::high;
  std::int64_t not_before_ms = 0;  // after the start
};

inline MessageDraft message(const Wanted& wanted) {
  MessageDraft draft;
  draft.id = wanted.id;
  draft.occurrence = wanted.occurrence;
  draft.person = wanted.person;
  draft.reason = wanted.reason;
  draft.priority = wanted.priority;
  draft.written = test_start;
  draft.not_before = test_start + wanted.not_before_ms;
  draft.only_if_told = wanted.reason == TellReason::over;
  draft.headline = "headline of " + wanted.id;
  draft.body = draft.headline + "\nbody";
  draft.json = "{\"id\":\"" + wanted.id + "\"}";
  return draft;
}

inline const ChannelAnswer took{Answer::delivered, "250 taken"};
inline const ChannelAnswer busy{Answer::try_again, "connection refused"};
inline const ChannelAnswer refusal{Answer::refused, "550 no such mailbox"};
inline const ChannelAnswer on_it{Answer::acknowledged, "on it"};

}  // namespace baskwell::notify
