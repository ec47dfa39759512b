#pragma once
// The few statistics of the table. Pure; any thread.

#include <cstdint>
#include <vector>

namespace baskwell::scenarios {

struct Interval {
  double low = 0;
  double high = 1;
};

// Wilson's score interval for `hits` of `n` at 95 % (z = 1.96); 0 to 1 where n is 0.
[[nodiscard]] Interval wilson(std::int64_t hits, std::int64_t n);

// Rates of rare events: exact Poisson interval at 95 %, for a count over an exposure; high is infinite where
// the exposure is 0.
[[nodiscard]] Interval poisson_rate(std::int64_t count, double exposure);

// Hyndman and Fan's type 7. NaN where there is nothing. Sorts what it is given.
[[nodiscard]] double quantile(std::vector<double>& values, double share);

}  // namespace baskwell::scenarios
