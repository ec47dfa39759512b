#include "demoroom/rng.h"

#include <cmath>
#include <numbers>

namespace baskwell::demoroom {

std::uint64_t Rng::next() {
  state_ += 0x9E3779B97F4A7C15ULL;
  std::uint64_t z = state_;
  z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9ULL;
  z = (z ^ (z >> 27U)) * 0x94D049BB133111EBULL;
  return z ^ (z >> 31U);
}

double Rng::unit() {
  return static_cast<double>(next() >> 11U) * 0x1.0p-53;
}

double Rng::between(double lo, double hi) {
  return lo + (hi - lo) * unit();
}

double Rng::normal() {
  const double radius = std::sqrt(-2.0 * std::log(1.0 - unit()));  // 1 - unit() is never 0
  return radius * std::cos(2.0 * std::numbers::pi * unit());
}

Rng Rng::fork(std::string_view name) const {
  std::uint64_t hash = 0xCBF29CE484222325ULL ^ state_;  // FNV-1a over the name, from memory
  for (const char letter : name) {
    hash = (hash ^ static_cast<unsigned char>(letter)) * 0x100000001B3ULL;
  }
  Rng forked(hash);
  (void)forked.next();
  return forked;
}

}  // namespace baskwell::demoroom
