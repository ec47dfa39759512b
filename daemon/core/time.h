#pragma once
// The two clocks of Baskwell as types. Units: milliseconds. Pure values; nothing here reads a clock.
//   UtcMs     - wall time, since 1970-01-01T00:00:00Z without leap seconds. May step; a step is an event.
//   ElapsedMs - time that only grows, since the machine booted. Delays are measured by it, never by UtcMs.
// Durations are plain int64_t with the suffix _ms.

#include <compare>
#include <cstdint>

namespace baskwell {

struct UtcMs {
  std::int64_t ms = 0;
  friend auto operator<=>(UtcMs, UtcMs) = default;
  friend constexpr UtcMs operator+(UtcMs at, std::int64_t duration_ms) { return {at.ms + duration_ms}; }
  friend constexpr UtcMs operator-(UtcMs at, std::int64_t duration_ms) { return {at.ms - duration_ms}; }
  friend constexpr std::int64_t operator-(UtcMs a, UtcMs b) { return a.ms - b.ms; }
};

struct ElapsedMs {
  std::int64_t ms = 0;
  friend auto operator<=>(ElapsedMs, ElapsedMs) = default;
  friend constexpr ElapsedMs operator+(ElapsedMs at, std::int64_t duration_ms) {
    return {at.ms + duration_ms};
  }
  friend constexpr ElapsedMs operator-(ElapsedMs at, std::int64_t duration_ms) {
    return {at.ms - duration_ms};
  }
  friend constexpr std::int64_t operator-(ElapsedMs a, ElapsedMs b) { return a.ms - b.ms; }
};

// One moment by both clocks. Every event carries one.
struct Stamp {
  UtcMs utc;
  ElapsedMs elapsed;
};

inline constexpr std::int64_t second_ms = 1000;
inline constexpr std::int64_t minute_ms = 60 * second_ms;
inline constexpr std::int64_t hour_ms = 60 * minute_ms;
inline constexpr std::int64_t day_ms = 24 * hour_ms;

// The years 0000 to 9999, all that RFC 3339 can write. Times from outside are held within, so that sums of
// them cannot overflow.
inline constexpr UtcMs earliest_utc{-62'167'219'200'000};
inline constexpr UtcMs latest_utc{253'402'300'799'999};

}  // namespace baskwell
