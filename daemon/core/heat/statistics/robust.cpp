#include "core/heat/statistics/robust.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/check.h"

namespace baskwell::heat {
namespace {

bool all_finite(std::span<const double> values) {
  return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
}

// Sum over groups of t equal values of t (t - 1) (2 t + 5): each member adds its group's (t - 1) (2 t + 5).
double tie_term(std::span<const double> values) {
  double sum = 0;
  for (const double value : values) {
    const auto same = static_cast<double>(std::count(values.begin(), values.end(), value));
    sum += (same - 1) * (2 * same + 5);
  }
  return sum;
}

double untied_term(std::size_t count) {
  const auto n = static_cast<double>(count);
  return n * (n - 1) * (2 * n + 5);
}

double median_of_copy(std::span<const double> values, std::span<double> scratch) {
  const std::span<double> copy = scratch.first(values.size());
  std::copy(values.begin(), values.end(), copy.begin());
  return median_in_place(copy).value_or(0.0);
}

// Slopes of all pairs of different x into scratch; how many.
std::size_t gather_slopes(std::span<const double> x, std::span<const double> y, std::span<double> scratch) {
  std::size_t count = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    for (std::size_t j = i + 1; j < x.size(); ++j) {
      if (x[i] != x[j]) {
        scratch[count++] = (y[j] - y[i]) / (x[j] - x[i]);
      }
    }
  }
  return count;
}

void count_one(std::uint32_t& count) {
  count += count == std::numeric_limits<std::uint32_t>::max() ? 0 : 1;
}

}  // namespace

std::optional<double> quantile_in_place(std::span<double> values, double p) {
  CHECK(p >= 0 && p <= 1 && all_finite(values));
  if (values.empty()) {
    return std::nullopt;
  }
  const double place = static_cast<double>(values.size() - 1) * p;
  const auto below = static_cast<std::size_t>(place);
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(below);
  std::nth_element(values.begin(), at, values.end());
  const double share = place - static_cast<double>(below);
  if (share == 0 || below + 1 == values.size()) {
    return *at;
  }
  const double next = *std::min_element(at + 1, values.end());
  return *at + share * (next - *at);
}

std::optional<double> median_in_place(std::span<double> values) {
  return quantile_in_place(values, 0.5);
}

std::optional<LevelAndScale> median_and_mad_in_place(std::span<double> values) {
  const std::optional<double> median = median_in_place(values);
  if (!median) {
    return std::nullopt;
  }
  for (double& value : values) {
    value = std::abs(value - *median);
  }
  return LevelAndScale{*median, median_in_place(values).value_or(0.0)};
}

double normal_two_sided_p(double z) {
  return std::erfc(std::abs(z) / std::numbers::sqrt2);
}

double normal_quantile(double p) {
  CHECK(p > 0 && p < 1);
  if (p > 0.5) {
    return -normal_quantile(1 - p);  // the small tail keeps its digits
  }
  double low = -39;  // erfc is zero in doubles beyond
  double high = 0;
  while (high - low > 1e-12) {
    const double middle = (low + high) / 2;
    (0.5 * std::erfc(-middle / std::numbers::sqrt2) < p ? low : high) = middle;
  }
  return (low + high) / 2;
}

std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y,
                                  std::span<double> scratch, double confidence) {
  CHECK(x.size() == y.size() && x.size() <= trend_max_points);
  CHECK(scratch.size() >= std::max(pairs_of(x.size()), x.size()));
  CHECK(confidence > 0 && confidence < 1 && all_finite(x) && all_finite(y));
  TheilSen found;
  const double median_x = x.empty() ? 0 : median_of_copy(x, scratch);
  const double median_y = y.empty() ? 0 : median_of_copy(y, scratch);
  found.pairs = gather_slopes(x, y, scratch);
  if (found.pairs == 0) {
    return std::nullopt;
  }
  const std::span<double> slopes = scratch.first(found.pairs);
  std::sort(slopes.begin(), slopes.end());
  found.slope = (slopes[(found.pairs - 1) / 2] + slopes[found.pairs / 2]) / 2;
  found.intercept = median_y - found.slope * median_x;

  // Sen 1968: the slopes' ranks (pairs +- z sd(S)) / 2, ties in x and in y allowed for.
  const double variance = (untied_term(x.size()) - tie_term(x) - tie_term(y)) / 18;
  const double reach = normal_quantile(0.5 + confidence / 2) * std::sqrt(std::max(0.0, variance));
  const auto pairs = static_cast<double>(found.pairs);
  const double low_rank = std::max(std::nearbyint((pairs - reach) / 2) - 1, 0.0);
  const double high_rank = std::min(std::nearbyint((pairs + reach) / 2), pairs - 1);
  found.slope_low = slopes[static_cast<std::size_t>(low_rank)];
  found.slope_high = slopes[static_cast<std::size_t>(high_rank)];
  return found;
}

MannKendall mann_kendall(std::span<const double> y) {
  CHECK(y.size() <= trend_max_points && all_finite(y));
  MannKendall found;
  for (std::size_t i = 0; i < y.size(); ++i) {
    for (std::size_t j = i + 1; j < y.size(); ++j) {
      found.s += (y[j] > y[i] ? 1 : 0) - (y[j] < y[i] ? 1 : 0);
    }
  }
  found.variance = (untied_term(y.size()) - tie_term(y)) / 18;
  if (found.s != 0 && found.variance > 0) {
    const auto s = static_cast<double>(found.s);
    found.z = (found.s > 0 ? s - 1 : s + 1) / std::sqrt(found.variance);
    found.p_value = normal_two_sided_p(found.z);
  }
  return found;
}

RunningQuantile::RunningQuantile(double p, double weight, double window)
    : p_(p), weight_(weight), window_(window) {
  CHECK(p > 0 && p < 1 && weight > 0 && weight < 1 && std::isfinite(window) && window > 0);
  // As if values were spread evenly over the window, until they have been seen.
  density_ = 0.5 / window;
}

void RunningQuantile::add(double value) {
  CHECK(std::isfinite(value));
  count_one(count_);
  if (count_ == 1) {
    value_ = value;
    return;
  }
  const double weight = std::max(weight_, 1.0 / count_);
  const double inside = std::abs(value - value_) <= window_ ? 0.5 / window_ : 0.0;
  // A value that equals the estimate counts half on either side, or a probe's steps would pull it down.
  const double below = value < value_ ? 1.0 : value == value_ ? 0.5 : 0.0;
  const double move = weight / std::max(density_, 1e-12) * (p_ - below);
  value_ += std::clamp(move, -0.5 * window_, 0.5 * window_);
  // The density forgets at the floor's pace: it only sets the step's size and must not jump about at the
  // start.
  density_ += weight_ * (inside - density_);
}

RunningLevel::RunningLevel(double weight, double scale, double floor)
    : weight_(weight), floor_(floor), mad_(std::max(scale, floor) / mad_consistency) {
  CHECK(weight > 0 && weight < 1 && std::isfinite(scale) && scale > 0 && std::isfinite(floor) && floor > 0);
}

double RunningLevel::sigma() const {
  return mad_consistency * mad_;
}

void RunningLevel::add(double value) {
  CHECK(std::isfinite(value));
  count_one(count_);
  if (count_ == 1) {
    level_ = value;
    return;
  }
  const auto sign = [](double x) { return x > 0 ? 1.0 : x < 0 ? -1.0 : 0.0; };
  // Steps that make the gain `weight` for normal values: half over the density at the quantile, which is
  // sqrt(pi / 2) sigma for the median; for |x - median| at the MAD it is 0.5 / (2 pdf(0.6745)) sigma = 1.1664
  // MAD.
  constexpr double level_gain = 1.2533141373155003;
  constexpr double scale_gain = 1.1664;
  const double weight = std::max(weight_, 1.0 / count_);
  const double off = value - level_;
  level_ += weight * level_gain * sigma() * sign(off);
  // Each value's share of the scale is limited, so that the first few do not throw it about.
  const double change = std::min(weight, 0.1) * scale_gain * sign(std::abs(off) - mad_);
  mad_ = std::max(mad_ * std::exp(change), floor_ / mad_consistency);
}

}  // namespace baskwell::heat
