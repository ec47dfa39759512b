#pragma once
// The one door to time. Everything else is handed stamps. At pace 1: the system's wall clock and its boot
// clock. At another pace (the demo room, tests of a whole week): a clock that runs `pace` times faster from
// an agreed moment, so that two programs with the same pace and anchor show the same time. Thread-safe; never
// blocks.

#include <chrono>
#include <optional>
#include <string>

#include "core/event.h"
#include "core/result.h"
#include "core/time.h"

namespace baskwell {

struct ClockPace {
  double pace = 1.0;  // 0.01 .. 10000
  UtcMs anchor;       // real moment at which ...
  UtcMs start;        // ... the clock shows this
  [[nodiscard]] bool real() const { return pace == 1.0 && anchor == start; }
};

class Clock {
 public:
  explicit Clock(ClockPace pace = {});

  [[nodiscard]] Stamp now() const;
  // Real time to wait until the elapsed clock shows `due`; at most an hour, so that nothing oversleeps.
  [[nodiscard]] std::chrono::milliseconds real_until(ElapsedMs due) const;
  [[nodiscard]] double pace() const { return pace_.pace; }
  // Names the elapsed clock: other boots and other paces count from elsewhere.
  [[nodiscard]] const std::string& boot_id() const { return boot_id_; }

  // What vouches for the wall clock now: the kernel's own view, and that it is not before `not_before` (this
  // program's release, the newest reading in the store).
  [[nodiscard]] ClockEvent judge(UtcMs not_before) const;

 private:
  ClockPace pace_;
  std::string boot_id_;
};

[[nodiscard]] UtcMs real_utc_now();

}  // namespace baskwell
