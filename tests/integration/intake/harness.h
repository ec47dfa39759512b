#pragma once
// Intake with a sink that keeps everything, pumped from the test's own thread while it waits for something.

#include <atomic>
#include <chrono>
#include <memory>
#include <string>
#include <vector>

#include "intake/intake.h"
#include "intake_room.h"
#include "peers/peers.h"

namespace baskwell::intake {

class Harness {
 public:
  // Throws when it cannot be opened or started.
  explicit Harness(const Settings& settings, ArrivalQueue::Bounds bounds = {});

  // Pumps until `done` holds; false: 20 s (or `within`) were not enough.
  template <class Done>
  [[nodiscard]] bool until(Done done, std::chrono::milliseconds within = std::chrono::seconds(20)) {
    return peers::eventually(within, [&] {
      pump();
      return done();
    });
  }
  [[nodiscard]] bool connected();
  void pump();

  [[nodiscard]] std::vector<BrokerEvent> broker_events() const { return heard.all<BrokerEvent>(); }
  // All that the broker's events said, for a failed test.
  [[nodiscard]] std::string story() const;

  Heard heard;
  std::atomic<int> woken = 0;
  std::unique_ptr<Intake> intake;

 private:
  EventSink sink_;
};

[[nodiscard]] Stamp real_now();
// As a probe with a clock would write it now: RFC 3339, UTC, milliseconds.
[[nodiscard]] std::string own_time_now();

}  // namespace baskwell::intake
