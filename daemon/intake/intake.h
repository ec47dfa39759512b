#pragma once
// Intake as the program uses it: broker -> bounded queue -> decoded events for core, in one object.
//
//   auto opened = Intake::open(settings, {.clock = ..., .wake = ..., .seed = ...});   // loads the decoders
//   intake->start();                                  // connects, for ever
//   on wake (posted to the domain thread):  while/if (intake->pump(2000, now, sink)) post it again
//   once a second:                          intake->tick(now, sink)
//   at the end:                             intake->stop(); then pump until it says false
//
// Other settings need another Intake: open it, stop and pump out the old one, start the new one.
//
// `wake` is called on threads of the broker's client, must be quick (post, do not run), and is not called any
// more once stop() has returned. `clock` is called on those threads too. All other functions belong to the
// domain thread. Errors: a decoder that cannot be opened, a secret that cannot be read, an address that can
// never work; what passes by itself is told as BrokerEvent and IntakeTroubleEvent. stop() takes 2 s at most.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>

#include "core/result.h"
#include "core/time.h"
#include "intake/arrival_queue.h"
#include "intake/decoding.h"
#include "plugin_host/library.h"
#include "settings/settings.h"

namespace baskwell::intake {

class Intake {
 public:
  struct Wiring {
    std::function<Stamp()> clock;
    std::function<void()> wake;
    std::uint64_t seed = 0;  // of the jitter between attempts to reconnect
    plugin_host::Folders plugin_folders = plugin_host::default_folders();
    ArrivalQueue::Bounds bounds{};
  };

  [[nodiscard]] static Result<std::unique_ptr<Intake>> open(const Settings& settings, Wiring wiring);
  ~Intake();
  Intake(const Intake&) = delete;
  Intake& operator=(const Intake&) = delete;

  [[nodiscard]] Outcome start();
  void stop();

  // Hands at most `at_most` arrivals' events to `sink`, and what the broker said in between. True: there is
  // more at hand, call again. `now` is for trouble told on the way; readings carry their own stamps.
  bool pump(std::size_t at_most, Stamp now, const EventSink& sink);
  void tick(Stamp now, const EventSink& sink);

  [[nodiscard]] PayloadReport report() const;

 private:
  struct State;
  explicit Intake(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baskwell::intake
