#include "scenarios/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace baskwell::scenarios {
namespace {

// P(X <= count) of a Poisson count with this mean.
double poisson_at_most(std::int64_t count, double mean) {
  double term = std::exp(-mean);
  double sum = term;
  for (std::int64_t k = 1; k <= count; ++k) {
    term *= mean / static_cast<double>(k);
    sum += term;
  }
  return sum;
}

// The mean at which poisson_at_most(count, mean) has fallen to `wanted`.
double mean_for(std::int64_t count, double wanted) {
  double low = 0.0;
  double high = static_cast<double>(count) + 10.0 * std::sqrt(static_cast<double>(count) + 1.0) + 10.0;
  for (int i = 0; i < 200; ++i) {
    const double middle = 0.5 * (low + high);
    (poisson_at_most(count, middle) > wanted ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace

Interval wilson(std::int64_t hits, std::int64_t n) {
  if (n <= 0) return {};
  constexpr double kZ = 1.959964;
  const auto total = static_cast<double>(n);
  const double share = static_cast<double>(hits) / total;
  const double scale = 1.0 + kZ * kZ / total;
  const double centre = (share + kZ * kZ / (2.0 * total)) / scale;
  const double half = kZ / scale * std::sqrt(share * (1.0 - share) / total + kZ * kZ / (4.0 * total * total));
  return {std::max(0.0, centre - half), std::min(1.0, centre + half)};
}

Interval poisson_rate(std::int64_t count, double exposure) {
  if (exposure <= 0) return {0, std::numeric_limits<double>::infinity()};
  // Above some hundreds the sum of terms underflows; the normal approximation is as good there.
  if (count > 500) {
    const double half = 1.96 * std::sqrt(static_cast<double>(count));
    return {(static_cast<double>(count) - half) / exposure, (static_cast<double>(count) + half) / exposure};
  }
  const double low = count == 0 ? 0.0 : mean_for(count - 1, 0.975);
  return {low / exposure, mean_for(count, 0.025) / exposure};
}

double quantile(std::vector<double>& values, double share) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  std::sort(values.begin(), values.end());
  const double at = share * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::size_t>(at);
  const std::size_t above = std::min(below + 1, values.size() - 1);
  return values[below] + (at - static_cast<double>(below)) * (values[above] - values[below]);
}

}  // namespace baskwell::scenarios
