#pragma once
// The outbox's way out: one thread for each delivery channel, so that a hanging mail server delays no other
// channel. What is tried when is decided by DeliveryPlan (plan.h); here are the threads, the waiting and the
// order of writing down: before_attempt - the channel call - after_attempt - post.
//
// Times: `clock` gives both clocks. All waiting is by it; `pace` says how many of its milliseconds pass in a
// real one (a demo may run 60 times faster). A channel call's timeout and the patience with a hanging one are
// real time, because the other side is.
// Threads: start(), tell(), wake(), stop() and counts() from any thread. Callbacks come from the delivery
// threads, at most one at a time from each channel's thread, never after stop() has returned; they must
// return within a bounded time and must not call stop(). tell() may be called from inside a callback. Errors:
// a store that is down stops nobody from being told (counted in counts().unrecorded). Bounded: see plan.h.

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "core/effects.h"
#include "core/event.h"
#include "core/result.h"
#include "core/room.h"
#include "core/time.h"
#include "notify/letter.h"
#include "notify/plan.h"

namespace baskwell::notify {

struct ChannelSetup {
  std::string id;    // as PersonChannel::channel names it
  ChannelCall call;  // holds what it needs alive; a hung call may outlive the Delivery
  std::uint32_t timeout_ms = 20000;
};

struct DeliverySettings {
  std::vector<Person> people;
  std::vector<ChannelSetup> channels;
  PlanSettings plan;  // patience in real time, all else by the clock
  std::function<Stamp()> clock;
  double pace = 1;
};

// One attempt that was answered. (message, channel, began) names it.
struct AttemptDone {
  std::string message;
  std::string channel;
  UtcMs began;  // as before_attempt was told
  UtcMs ended;
  ChannelAnswer answer;
  Aftermath aftermath;
};

struct DeliveryCallbacks {
  // Must be durable before it returns, within a second or two: after a crash the message is "attempted,
  // outcome unknown" and is not sent again by itself. An Error: the store is down; the message is sent all
  // the same.
  std::function<Outcome(const std::string& message, const std::string& channel, UtcMs began)> before_attempt;
  // Called before the same message is tried elsewhere or ends otherwise, one at a time: let it not block. Not
  // called for an attempt that still hung when stop() returned.
  std::function<void(const AttemptDone& done)> after_attempt;
  // Endings that no attempt's answer tells of: withdrawn, replaced, gave_up, not_needed, unsure, dropped,
  // no_channel.
  std::function<void(const Settlement& settlement)> settled;
  // For the domain: one for every attempt answered; and with `channel` "" one (delivered false) for a message
  // given up, dropped or without any channel.
  std::function<void(const DeliveryEvent& event)> post;
};

// What is left in the outbox: of the store at start, or of another Delivery that was stopped for new
// settings.
struct Resume {
  std::vector<MessageDraft> waiting;  // oldest first; go out
  std::vector<MessageDraft> unsure;   // attempted, outcome unknown: settled as `unsure`, not sent
  std::vector<Told> told;             // who heard of (or was attempted for) an occurrence that is still open
};

struct StopReport {
  std::vector<std::string> hanging;  // channels whose call had not returned; their threads were left behind:
                                     // end the process by _exit() rather than by returning from main
  Resume left;
};

struct DeliveryCounts {
  std::uint64_t attempts = 0;
  std::uint64_t delivered = 0;
  std::uint64_t failed = 0;      // attempts: try_again and refused
  std::uint64_t unrecorded = 0;  // attempts made although before_attempt failed
  std::uint64_t dropped = 0;     // messages, for want of place
  std::uint64_t waiting = 0;     // messages now in the outbox
};

class Delivery {
 public:
  Delivery(DeliverySettings settings, DeliveryCallbacks callbacks);
  ~Delivery();  // stop(0) if it still runs
  Delivery(const Delivery&) = delete;
  Delivery& operator=(const Delivery&) = delete;

  // Settles what is unsure, takes in what waits, starts the threads. Once.
  void start(Resume resume);

  // One step's effects: withdraws first, then takes the messages in. Returns at once; a message reaches its
  // channel call as soon as that channel is free.
  void tell(std::vector<MessageDraft> messages, std::span<const std::string> withdrawn);

  // The clock was stepped (or a test moved it): look again what is due.
  void wake();

  // No new attempt begins; attempts in flight may end within `patience_ms` (real time). Once; later calls
  // report nothing.
  StopReport stop(std::int64_t patience_ms);

  [[nodiscard]] DeliveryCounts counts() const;

 private:
  struct Inner;
  std::shared_ptr<Inner> inner_;  // shared with the threads, so that one that hangs may outlive this
};

}  // namespace baskwell::notify
