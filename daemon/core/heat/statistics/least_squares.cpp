#include "core/heat/statistics/least_squares.h"

namespace baskwell::heat {
namespace {

// Two passes: the second takes out what rounding left of the first.
double mean_of(std::span<const double> values) {
  double sum = 0;
  for (const double value : values) {
    CHECK(std::isfinite(value));
    sum += value;
  }
  const auto n = static_cast<double>(values.size());
  const double mean = sum / n;
  double rest = 0;
  for (const double value : values) {
    rest += value - mean;
  }
  return mean + rest / n;
}

}  // namespace

void RunningMoments::add(double value) {
  CHECK(std::isfinite(value));
  ++count_;
  const double before = value - mean_;
  mean_ += before / static_cast<double>(count_);
  squares_ += before * (value - mean_);
}

double RunningMoments::variance() const {
  return count_ < 2 ? 0.0 : squares_ / static_cast<double>(count_ - 1);
}

double RunningMoments::deviation() const {
  return std::sqrt(variance());
}

double lag1_autocorrelation(std::span<const double> values) {
  if (values.empty()) {
    return 0;
  }
  const double mean = mean_of(values);
  double products = 0;
  double squares = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    squares += (values[i] - mean) * (values[i] - mean);
    products += i == 0 ? 0.0 : (values[i] - mean) * (values[i - 1] - mean);
  }
  return squares > 0 ? products / squares : 0.0;
}

std::optional<Line> fit_line(std::span<const double> x, std::span<const double> y) {
  CHECK(x.size() == y.size());
  if (x.size() < 3) {
    return std::nullopt;
  }
  const double mean_x = mean_of(x);
  const double mean_y = mean_of(y);
  double sxx = 0;
  double sxy = 0;
  double syy = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    sxx += (x[i] - mean_x) * (x[i] - mean_x);
    sxy += (x[i] - mean_x) * (y[i] - mean_y);
    syy += (y[i] - mean_y) * (y[i] - mean_y);
  }
  if (!(sxx > 0)) {
    return std::nullopt;
  }
  Line line;
  line.points = x.size();
  line.slope = sxy / sxx;
  line.intercept = mean_y - line.slope * mean_x;
  double residuals = 0;  // from the residuals themselves: syy - slope * sxy would cancel
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double residual = (y[i] - mean_y) - line.slope * (x[i] - mean_x);
    residuals += residual * residual;
  }
  const auto n = static_cast<double>(x.size());
  const double variance = residuals / (n - 2);
  line.residual_sd = std::sqrt(variance);
  line.slope_se = std::sqrt(variance / sxx);
  line.intercept_se = std::sqrt(variance * (1 / n + mean_x * mean_x / sxx));
  line.covariance = -mean_x * variance / sxx;
  line.r_squared = syy > 0 ? 1 - residuals / syy : 0.0;
  return line;
}

}  // namespace baskwell::heat
