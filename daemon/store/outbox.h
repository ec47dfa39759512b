#pragma once
// A message on its way to one person, as the store keeps it, and what came of each attempt. Times are UTC
// milliseconds. Plain values. An attempt is written down before the channel is called: whoever finds
// `attempted` after a crash cannot know whether the person heard, and does not tell again by itself.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/effects.h"
#include "core/time.h"

namespace baskwell::store {

enum class MessageState : std::uint8_t {
  waiting,    // to be sent at `next_try`; also between two attempts
  attempted,  // a channel was called, its outcome is not known (yet)
  delivered,  // a channel took it
  failed,     // given up
  withdrawn,  // no longer matters
};
inline constexpr int message_state_count = 5;
[[nodiscard]] std::string_view name_of(MessageState state);
[[nodiscard]] std::optional<MessageState> message_state_from(std::string_view name);

struct OutboxMessage {
  MessageDraft draft;
  MessageState state = MessageState::waiting;
  UtcMs next_try;  // at first `draft.not_before`
  std::uint32_t attempts = 0;
};

// A channel is about to be called. (message, channel, at) names the attempt.
struct Attempt {
  std::string message;  // MessageDraft::id
  std::string channel;  // id of the delivery channel
  UtcMs at;
};

// What came of it, and what becomes of the message.
struct AttemptOutcome {
  Attempt attempt;
  UtcMs ended;
  bool delivered = false;
  std::string answer;                              // the channel's own words
  MessageState becomes = MessageState::delivered;  // waiting: try again at `next_try`
  UtcMs next_try;                                  // read only where it becomes waiting
};

// A message whose life ended without an attempt's answer: given up, replaced by a newer text, without a
// channel.
struct MessageEnd {
  std::string message;                          // MessageDraft::id
  MessageState becomes = MessageState::failed;  // failed or withdrawn
  UtcMs at;
};

// An attempt as kept; `ended` is empty while the outcome is unknown.
struct AttemptRow {
  Attempt attempt;
  std::optional<UtcMs> ended;
  bool delivered = false;
  std::string answer;
};

// What a start finds in the outbox.
struct PendingMessages {
  std::vector<OutboxMessage> waiting;          // oldest first; to be sent
  std::vector<OutboxMessage> unknown_outcome;  // attempted before a crash; not to be sent again by itself
};

}  // namespace baskwell::store
