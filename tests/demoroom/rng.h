#pragma once
// A small random source for the demo room: the same seed gives the same numbers on every compiler, which the
// standard library's distributions do not promise. Generator: splitmix64 (Steele, Lea and Flood 2014,
// constants from memory). No thread may share one; copies are independent.

#include <cstdint>
#include <string_view>

namespace baskwell::demoroom {

class Rng {
 public:
  explicit Rng(std::uint64_t seed) : state_(seed) {}

  [[nodiscard]] std::uint64_t next();
  [[nodiscard]] double unit();                         // [0, 1)
  [[nodiscard]] double between(double lo, double hi);  // [lo, hi)
  [[nodiscard]] double normal();                       // mean 0, standard deviation 1

  // A stream of its own for one named part, so that a fault in one probe never changes another probe's noise.
  [[nodiscard]] Rng fork(std::string_view name) const;

 private:
  std::uint64_t state_;
};

}  // namespace baskwell::demoroom
