#pragma once
// The clock inside a timer or a thermostat: what hour it believes, in seconds of the local day, and what a
// power cut does to it. UTC seconds in, local offset handed in. Pure; never fails.

#include <cstdint>

namespace baskwell::demoroom {

inline constexpr std::int64_t kHour_s = 3600;
inline constexpr std::int64_t kDay_s = 24 * kHour_s;

enum class ClockKind {
  keeps,   // battery-backed: right after a cut
  stops,   // mechanical: stands still in a cut, so it is late afterwards by the length of the cut
  resets,  // starts again at 00:00 when power comes back
};

[[nodiscard]] inline std::int64_t day_second(std::int64_t seconds) {
  const std::int64_t rest = seconds % kDay_s;
  return rest < 0 ? rest + kDay_s : rest;
}

class DeviceClock {
 public:
  explicit DeviceClock(ClockKind kind) : kind_(kind) {}

  [[nodiscard]] std::int64_t late_s() const { return late_s_; }
  void make_late(std::int64_t seconds) { late_s_ += seconds; }
  void put_right() { late_s_ = 0; }

  [[nodiscard]] std::int64_t shows_s(std::int64_t utc_s, std::int64_t local_offset_s) const {
    return day_second(utc_s + local_offset_s - late_s_);
  }

  // Called once for every step without power, and once when it is back.
  void step_without_power(std::int64_t step_s) {
    if (kind_ == ClockKind::stops) late_s_ += step_s;
  }
  void power_back(std::int64_t utc_s, std::int64_t local_offset_s) {
    if (kind_ == ClockKind::resets) late_s_ = day_second(utc_s + local_offset_s);
  }

 private:
  ClockKind kind_;
  std::int64_t late_s_ = 0;
};

// Is `second` of the day within [from, to)? The span may run over midnight; from == to is never.
[[nodiscard]] inline bool within_day_span(std::int64_t second, std::int64_t from_s, std::int64_t to_s) {
  if (from_s <= to_s) return second >= from_s && second < to_s;
  return second >= from_s || second < to_s;
}

}  // namespace baskwell::demoroom
