#pragma once
// What the outbox's integration tests share: the real clock (at its own or a faster pace), people and
// messages, and callbacks that write the outbox's life to a real store in the way the daemon does.

#include <chrono>
#include <future>
#include <memory>
#include <string>
#include <utility>

#include "core/effects.h"
#include "core/room.h"
#include "notify/delivery.h"
#include "store/store.h"

namespace baskwell::notify {

using Steady = std::chrono::steady_clock;

// The machine's clocks; `pace` times faster from now on.
inline std::function<Stamp()> real_clock(double pace = 1) {
  const auto begin = Steady::now();
  const auto utc = std::chrono::duration_cast<std::chrono::milliseconds>(
      std::chrono::system_clock::now().time_since_epoch());
  return [=] {
    const std::chrono::duration<double, std::milli> passed = Steady::now() - begin;
    const auto passed_ms = static_cast<std::int64_t>(passed.count() * pace);
    return Stamp{UtcMs{utc.count() + passed_ms}, ElapsedMs{passed_ms}};
  };
}

inline MessageDraft high_message(const std::string& number, const std::string& person, Stamp now) {
  MessageDraft draft;
  draft.id = "M" + number;
  draft.occurrence = "A" + number;
  draft.person = person;
  draft.priority = Priority::high;
  draft.written = now.utc;
  draft.not_before = now.utc;
  draft.headline = "Shelf 2, Asha, royal python: hot spot 24.1 \u00B0C, too cold. Check the mat's plug.";
  draft.body = draft.headline + "\nBelow 28.0 \u00B0C since 03:12.";
  draft.json = R"({"kind":"too-cold","enclosure":"shelf-2"})";
  return draft;
}

inline store::MessageState state_after(const Aftermath& aftermath) {
  if (!aftermath.ending)
    return aftermath.in_flight ? store::MessageState::attempted : store::MessageState::waiting;
  switch (*aftermath.ending) {
    case Ending::delivered:
    case Ending::acknowledged:
      return store::MessageState::delivered;
    case Ending::withdrawn:
    case Ending::replaced:
    case Ending::not_needed:
      return store::MessageState::withdrawn;
    default:
      return store::MessageState::failed;
  }
}

inline DeliveryCallbacks writing_to(store::Store& store) {
  DeliveryCallbacks callbacks;
  callbacks.before_attempt = [&store](const std::string& message, const std::string& channel,
                                      UtcMs began) -> Outcome {
    const auto written = std::make_shared<std::promise<std::string>>();
    std::future<std::string> answer = written->get_future();
    store.record_attempt({message, channel, began}, [written](bool ok, const std::string& error) {
      written->set_value(ok ? "" : error);
    });
    if (answer.wait_for(std::chrono::seconds(5)) != std::future_status::ready) return Error{"no answer"};
    if (std::string error = answer.get(); !error.empty()) return Error{std::move(error)};
    return Done{};
  };
  callbacks.after_attempt = [&store](const AttemptDone& done) {
    store::AttemptOutcome outcome;
    outcome.attempt = {done.message, done.channel, done.began};
    outcome.ended = done.ended;
    outcome.delivered = arrived(done.answer.answer);
    outcome.answer = done.answer.text;
    outcome.becomes = state_after(done.aftermath);
    outcome.next_try = done.ended + done.aftermath.again_in_ms;
    store.record_outcome(std::move(outcome));
  };
  callbacks.settled = [&store](const Settlement& settlement) {
    Aftermath aftermath;
    aftermath.ending = settlement.ending;
    store.record_end({settlement.id, state_after(aftermath), UtcMs{}});
  };
  return callbacks;
}

}  // namespace baskwell::notify
