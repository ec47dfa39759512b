#pragma once
// What passes between the outbox and a delivery channel: one message on its way to one address, what the
// channel answered, and how a message's life in the outbox ended. Plain values.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include "core/alarm/kinds.h"
#include "core/time.h"

namespace baskwell::notify {

// One message for one address, as a channel gets it. `id` is the same for every attempt at the same message.
struct Letter {
  std::string id;
  std::string person_name;  // display name
  std::string address;      // as the settings give it for this person; may be ""
  Priority priority = Priority::medium;
  std::string headline;
  std::string body;
  std::string json;
  UtcMs written;
};

// Same numbers as bw_delivery in the plugin interface.
enum class Answer : std::uint8_t {
  delivered = 0,    // the other side took responsibility
  try_again = 1,    // may work later
  refused = 2,      // will not work until somebody changes something
  acknowledged = 3  // delivered, and the person answered that they are on it
};
[[nodiscard]] std::string_view name_of(Answer answer);
[[nodiscard]] inline bool arrived(Answer answer) {
  return answer == Answer::delivered || answer == Answer::acknowledged;
}

struct ChannelAnswer {
  Answer answer = Answer::try_again;
  std::string text;  // one line: what the other side said, or the cause of the failure
};

// A delivery channel: hands the letter over and returns within `timeout_ms` of real time. Called from one
// thread of its own, never twice at once. An exception counts as try_again.
using ChannelCall = std::function<ChannelAnswer(const Letter& letter, std::uint32_t timeout_ms)>;

// How a message's life in the outbox ended.
enum class Ending : std::uint8_t {
  delivered,
  acknowledged,
  withdrawn,   // its alarm was acknowledged or is over before it got out
  replaced,    // a newer text of the same alarm for the same person took its place
  gave_up,     // tried for PlanSettings::give_up_ms (never one of `high` priority)
  refused,     // every channel of the person refused it (never one of `high` priority)
  not_needed,  // "over" of an alarm that this person never heard of
  unsure,      // the daemon ended during the attempt; not sent again by itself, the alarm's repeat is
  dropped,     // the outbox was full
  no_channel   // the person is unknown or has no channel
};
[[nodiscard]] std::string_view name_of(Ending ending);

// An ending that came from no attempt's answer.
struct Settlement {
  std::string id;  // of the message
  std::string occurrence;
  std::string person;  // id
  Ending ending = Ending::withdrawn;
  std::string why;  // one line for people
};

// What becomes of a message after one attempt.
struct Aftermath {
  std::optional<Ending> ending;  // its life is over (or was, before this answer came)
  bool in_flight = false;        // another channel is being tried at this moment
  std::int64_t again_in_ms = 0;  // where neither: when it is tried next
  std::string words;             // for people: "goes on to webhook", "tried again in 10 s", or ""
};

}  // namespace baskwell::notify
