#include "intake/backoff.h"

#include <algorithm>

namespace baskwell::intake {
namespace {

// SplitMix64 (Steele, Lea and Flood 2014; constants from memory): enough for spreading attempts.
std::uint64_t next_random(std::uint64_t& state) {
  std::uint64_t z = (state += 0x9e3779b97f4a7c15U);
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
  return z ^ (z >> 31U);
}

}  // namespace

std::int64_t Backoff::next_ms() {
  const auto span = static_cast<std::uint64_t>(ceiling_ms_) + 1;
  const auto wait_ms = static_cast<std::int64_t>(next_random(state_) % span);
  ceiling_ms_ = std::min(longest_ms, ceiling_ms_ * 2);
  return wait_ms;
}

}  // namespace baskwell::intake
