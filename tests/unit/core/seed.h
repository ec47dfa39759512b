#pragma once
// A random sequence for property tests. The seed is printed; BASKWELL_SEED=number runs that one again.

#include <cstdint>
#include <cstdlib>
#include <iostream>
#include <random>
#include <string>

namespace baskwell::test {

inline std::uint64_t announced_seed() {
  const char* given = std::getenv("BASKWELL_SEED");  // NOLINT(concurrency-mt-unsafe): one thread
  const std::uint64_t seed = given != nullptr ? std::stoull(given) : std::random_device{}();
  std::cout << "seed " << seed << " (again with BASKWELL_SEED=" << seed << ")\n";
  return seed;
}

// From `low` to `high`, both included.
inline std::int64_t between(std::mt19937_64& random, std::int64_t low, std::int64_t high) {
  return std::uniform_int_distribution<std::int64_t>(low, high)(random);
}
inline bool one_in(std::mt19937_64& random, std::int64_t n) {
  return between(random, 1, n) == 1;
}

}  // namespace baskwell::test
