#pragma once
// The connection to the MQTT broker: subscribes, puts what comes into the ArrivalQueue, and stays at it. Up
// to two sessions: `live` (clean: what was published while we were away is gone, and rightly so, since it had
// no time of its own) and, only when a source asks for it, `kept` (persistent: the broker queues for us; the
// client id with "-kept" behind it). QoS 1, MQTT 5 or 3.1.1, TLS, user and password.
//
// Reconnects by itself: exponential backoff with full jitter, at most 1 s after the first loss up to at most
// 60 s, and subscribes again each time. Says what happens by two functions, called on the broker's own
// thread, never two at once:
//   connection     - when all sessions are connected and subscribed, when one no longer is, and, while away,
//                    when the cause changes; with the cause in words.
//   subscriptions  - the filters that the broker refused, in words; "" when it accepts all of them again.
// Nothing is told once stop() has begun.
//
// Stamps come from `clock`, which is called on Paho's threads too. Waiting is by the steady clock. Errors
// that pass (refused, unreachable, wrong password) are told and retried for ever; start() fails only where
// trying again cannot help. Threads: start and stop from one thread. stop() takes 2 s at most; a client
// library that has not let go by then is left to itself, cut off from the queue.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "core/event.h"
#include "core/result.h"
#include "intake/arrival_queue.h"
#include "intake/topic_table.h"
#include "settings/settings.h"

namespace baskwell::intake {

using ClockSource = std::function<Stamp()>;

struct BrokerWiring {
  ClockSource clock;
  std::function<void(BrokerEvent)> connection;
  std::function<void(std::string)> subscriptions;
  std::uint64_t seed = 0;  // of the jitter
};

class Broker {
 public:
  Broker(BrokerSettings settings, std::string password, Subscriptions subscriptions,
         std::shared_ptr<ArrivalQueue> queue, BrokerWiring wiring);
  ~Broker();  // stop()
  Broker(const Broker&) = delete;
  Broker& operator=(const Broker&) = delete;

  [[nodiscard]] Outcome start();
  void stop();

 private:
  struct State;
  std::shared_ptr<State> state_;
};

}  // namespace baskwell::intake
