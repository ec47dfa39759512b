#include "app/clock.h"

#include <sys/timex.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <ctime>
#include <fstream>

#include "core/moment.h"

namespace baskwell {
namespace {

std::int64_t read_ms(clockid_t clock) {
  timespec at{};
  clock_gettime(clock, &at);
  return static_cast<std::int64_t>(at.tv_sec) * second_ms + at.tv_nsec / 1'000'000;
}

std::string read_boot_id() {
  std::ifstream file("/proc/sys/kernel/random/boot_id");
  std::string id;
  file >> id;
  // Without one every start counts as another boot; nothing is lost but the use of the elapsed clock over a
  // restart.
  return id.empty() ? "start-" + std::to_string(read_ms(CLOCK_REALTIME)) : id;
}

}  // namespace

UtcMs real_utc_now() {
  return {read_ms(CLOCK_REALTIME)};
}

Clock::Clock(ClockPace pace) : pace_(pace), boot_id_(read_boot_id()) {
  if (!pace_.real()) boot_id_ += "-pace-" + std::to_string(pace_.pace);
}

Stamp Clock::now() const {
  const std::int64_t utc_ms = read_ms(CLOCK_REALTIME);
  const std::int64_t elapsed_ms = read_ms(CLOCK_BOOTTIME);
  if (pace_.real()) return {{utc_ms}, {elapsed_ms}};
  const auto scaled = [this](std::int64_t ms) { return std::llround(static_cast<double>(ms) * pace_.pace); };
  return {pace_.start + scaled(utc_ms - pace_.anchor.ms), {scaled(elapsed_ms)}};
}

std::chrono::milliseconds Clock::real_until(ElapsedMs due) const {
  constexpr std::int64_t longest_ms = hour_ms;
  const std::int64_t wait_ms = due.ms == INT64_MAX ? INT64_MAX / 2 : due - now().elapsed;
  const double real_ms = std::ceil(static_cast<double>(wait_ms) / pace_.pace);
  return std::chrono::milliseconds(
      static_cast<std::int64_t>(std::clamp(real_ms, 0.0, static_cast<double>(longest_ms))));
}

ClockEvent Clock::judge(UtcMs not_before) const {
  ClockEvent event;
  event.at = now();
  if (!pace_.real()) return event;  // an agreed clock vouches for itself, also one that shows another year
  if (event.at.utc < not_before) {
    event.trusted = false;
    event.sure = false;
    event.detail = "the clock shows " + rfc3339(event.at.utc) + ", before " + rfc3339(not_before) +
                   ", which has been already";
    return event;
  }
  timex kernel{};
  const int state = adjtimex(&kernel);
  if (state == TIME_ERROR || (kernel.status & STA_UNSYNC) != 0) {
    event.sure = false;
    event.detail = "no time service keeps the clock of this machine";
  }
  return event;
}

}  // namespace baskwell
