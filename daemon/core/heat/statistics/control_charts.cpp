#include "core/heat/statistics/control_charts.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/check.h"

namespace baskwell::heat {
namespace {

// Mean overshoot of a normal random walk over a far barrier (0.583 sigma) at both ends: Siegmund 1985, as in
// the reference values, section 3.4.
constexpr double siegmund_overshoot = 1.166;

double one_sided_run_length(double k, double h, double shift) {
  const double b = h + siegmund_overshoot;
  const double drift = shift - k;
  const double x = 2 * drift * b;
  // exp(-x) + x - 1 cancels for small x: there its series, b^2 (1 - x / 3 + x^2 / 12).
  if (std::abs(x) < 1e-3) {
    return b * b * (1 - x / 3 + x * x / 12);
  }
  return (std::expm1(-x) + x) / (2 * drift * drift);
}

}  // namespace

CusumPlan CusumPlan::in_sigma(double target, double sigma, double k, double h, Side side, double head_start,
                              double clip) {
  CHECK(std::isfinite(sigma) && sigma > 0);
  return {target, k * sigma, h * sigma, head_start * sigma, side, clip * sigma};
}

Cusum::Cusum(const CusumPlan& plan) : plan_(plan) {
  CHECK(std::isfinite(plan.target) && std::isfinite(plan.threshold) && plan.threshold > 0);
  CHECK(std::isfinite(plan.allowance) && plan.allowance >= 0);
  CHECK(plan.head_start >= 0 && plan.head_start < plan.threshold);
  CHECK(plan.clip > plan.allowance);
  reset();
}

void Cusum::reset() {
  high_ = low_ = plan_.head_start;
  high_steps_ = low_steps_ = 0;
}

bool Cusum::step(double value) {
  CHECK(std::isfinite(value));
  const double limit = sum_limit * plan_.threshold;
  const double deviation = std::clamp(value - plan_.target, -plan_.clip, plan_.clip);
  high_ = std::clamp(high_ + deviation - plan_.allowance, 0.0, limit);
  low_ = std::clamp(low_ - deviation - plan_.allowance, 0.0, limit);
  const auto count_on = [](std::uint32_t steps) {
    return steps == std::numeric_limits<std::uint32_t>::max() ? steps : steps + 1;
  };
  high_steps_ = high_ > 0 ? count_on(high_steps_) : 0;
  low_steps_ = low_ > 0 ? count_on(low_steps_) : 0;
  return high_signal() || low_signal();
}

double Cusum::shifted_level() const {
  const bool up = plan_.side != Side::low && (plan_.side == Side::high || high_ >= low_);
  const double sum = up ? high_ : low_;
  const std::uint32_t steps = up ? high_steps_ : low_steps_;
  if (steps == 0) {
    return plan_.target;
  }
  const double shift = plan_.allowance + sum / steps;
  return up ? plan_.target + shift : plan_.target - shift;
}

Ewma::Ewma(const EwmaPlan& plan) : plan_(plan) {
  CHECK(std::isfinite(plan.target) && std::isfinite(plan.sigma) && plan.sigma > 0);
  CHECK(plan.lambda > 0 && plan.lambda <= 1);
  CHECK(std::isfinite(plan.width) && plan.width > 0);
  reset();
}

void Ewma::reset() {
  average_ = plan_.target;
  forgotten_ = 1;
}

bool Ewma::step(double value) {
  CHECK(std::isfinite(value));
  average_ += plan_.lambda * (value - average_);
  const double kept = 1 - plan_.lambda;
  forgotten_ *= kept * kept;
  return signal();
}

double Ewma::steady_half_width() const {
  return plan_.width * plan_.sigma * std::sqrt(plan_.lambda / (2 - plan_.lambda));
}

double Ewma::half_width() const {
  return plan_.steady ? steady_half_width() : steady_half_width() * std::sqrt(1 - forgotten_);
}

bool Ewma::signal() const {
  return std::abs(average_ - plan_.target) > half_width();
}

double cusum_run_length(double k, double h, double shift, Side side) {
  CHECK(std::isfinite(k) && std::isfinite(h) && h >= 0 && std::isfinite(shift));
  switch (side) {
    case Side::high:
      return one_sided_run_length(k, h, shift);
    case Side::low:
      return one_sided_run_length(k, h, -shift);
    case Side::both:
      break;
  }
  // The two sums never are above their thresholds at once: their rates add up (Montgomery).
  return 1 / (1 / one_sided_run_length(k, h, shift) + 1 / one_sided_run_length(k, h, -shift));
}

double cusum_threshold(double k, double wanted_run_length, Side side) {
  CHECK(k >= 0 && wanted_run_length > 1 && wanted_run_length <= 1e15);
  double low = 0;
  double high = 1;
  while (cusum_run_length(k, high, 0, side) < wanted_run_length) {
    low = high;
    high *= 2;  // ends: the run length is at least h^2 / 2, so h stays below 1e8
  }
  while (high - low > 1e-9 * std::max(1.0, high)) {
    const double middle = low + (high - low) / 2;
    (cusum_run_length(k, middle, 0, side) < wanted_run_length ? low : high) = middle;
  }
  return high;
}

double ar1_sigma_factor(double phi) {
  CHECK(phi > -1 && phi < 1);
  return std::sqrt((1 + phi) / (1 - phi));
}

double ar1_ewma_sigma_factor(double phi, double lambda) {
  CHECK(phi > -1 && phi < 1 && lambda > 0 && lambda <= 1);
  return ar1_sigma_factor(phi * (1 - lambda));
}

RunningAutocorrelation::RunningAutocorrelation(double weight) : weight_(weight) {
  CHECK(weight > 0 && weight < 1);
}

void RunningAutocorrelation::add(double value) {
  CHECK(std::isfinite(value));
  count_ += count_ == std::numeric_limits<std::uint32_t>::max() ? 0 : 1;
  // Like a plain mean until that remembers as many values as the weight does.
  const double weight = std::max(weight_, 1.0 / count_);
  const double before = value - mean_;
  mean_ += weight * before;
  // Both moments with the mean of before and after, as Welford's, so that they share their bias.
  variance_ += weight * (before * (value - mean_) - variance_);
  if (has_last_) {
    covariance_ += weight * (before * (last_ - mean_) - covariance_);
  }
  last_ = value;
  has_last_ = true;
}

double RunningAutocorrelation::deviation() const {
  return std::sqrt(std::max(0.0, variance_));
}

double RunningAutocorrelation::phi() const {
  return variance_ > 0 ? std::clamp(covariance_ / variance_, -0.99, 0.99) : 0.0;
}

}  // namespace baskwell::heat
