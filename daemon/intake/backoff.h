#pragma once
// How long to wait before the next attempt to connect: exponential with full jitter, so that a room full of
// clients does not come back to its broker in step. The n-th attempt in a row waits a random time between
// nothing and min(60 s, 1 s * 2^n). (The rule is widely known as "full jitter"; from memory.)
// Pure; the seed is the caller's. One thread.

#include <cstdint>

namespace baskwell::intake {

class Backoff {
 public:
  static constexpr std::int64_t first_ms = 1000;
  static constexpr std::int64_t longest_ms = 60'000;

  explicit Backoff(std::uint64_t seed) : state_(seed) {}

  // The wait before the next attempt, 0 .. ceiling_ms(); doubles the ceiling.
  [[nodiscard]] std::int64_t next_ms();
  [[nodiscard]] std::int64_t ceiling_ms() const { return ceiling_ms_; }
  // A connection stood for `held_ms`. One that ends sooner than the next wait might be has proved nothing,
  // and does not start the waits anew: a broker that takes us and throws us out at once is not hammered.
  void stood(std::int64_t held_ms) {
    if (held_ms >= ceiling_ms_) ceiling_ms_ = first_ms;
  }

 private:
  std::uint64_t state_;
  std::int64_t ceiling_ms_ = first_ms;
};

}  // namespace baskwell::intake
