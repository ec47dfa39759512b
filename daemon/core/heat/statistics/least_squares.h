#pragma once
// Means, straight lines and small linear models by least squares, numerically stable: nothing here subtracts
// squares of large numbers.
//
// Values in the caller's unit. Pure; no allocation. Non-finite input breaks an invariant (CHECK); what does
// not exist for too few points is empty. One running object belongs to one thread.
//
// Checked against NIST StRD certified values (Norris, Michelso, NumAcc3, NumAcc4). Running moments: Welford
// 1962; recursive least squares with forgetting: Ljung, System Identification, chapter 11 (from memory).

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/check.h"

namespace baskwell::heat {

class RunningMoments {
 public:
  void add(double value);
  [[nodiscard]] std::uint64_t count() const { return count_; }
  [[nodiscard]] double mean() const { return mean_; }
  // Divided by n - 1; 0 with fewer than two values.
  [[nodiscard]] double variance() const;
  [[nodiscard]] double deviation() const;

 private:
  std::uint64_t count_ = 0;
  double mean_ = 0;
  double squares_ = 0;
};

// First-order autocorrelation about the mean (NIST's definition: sum of products over sum of squares); 0
// where all values are the same.
[[nodiscard]] double lag1_autocorrelation(std::span<const double> values);

struct Line {
  double slope = 0;
  double intercept = 0;
  double slope_se = 0;  // standard errors, for independent noise: times ar1_sigma_factor where it is not
  double intercept_se = 0;
  double covariance = 0;   // of the two estimates
  double residual_sd = 0;  // divided by n - 2
  double r_squared = 0;    // 0 where y does not vary
  std::size_t points = 0;
  [[nodiscard]] double at(double x) const { return intercept + slope * x; }
};
// Empty with fewer than three points or a single x.
[[nodiscard]] std::optional<Line> fit_line(std::span<const double> x, std::span<const double> y);

// y = sum of parameter_i * regressor_i, learned value by value, older values forgotten by `forgetting` a
// value (0.99 remembers about 100). Starts from a prior. State: N + N^2 doubles.
template <std::size_t N>
requires(N >= 2 && N <= 4) class RecursiveLeastSquares {
 public:
  using Vector = std::array<double, N>;

  // `prior_sd`: how sure the prior is, a deviation for each parameter, above 0 and not above 1e4 times the
  // noise's effect (beyond, the first updates cancel digits). Forgetting never lets a parameter become less
  // sure than its prior was: without that, quiet days would blow up what is not excited.
  RecursiveLeastSquares(double forgetting, const Vector& prior, const Vector& prior_sd)
      : forgetting_(forgetting), parameters_(prior) {
    CHECK(forgetting > 0 && forgetting <= 1);
    for (std::size_t i = 0; i < N; ++i) {
      CHECK(std::isfinite(prior[i]) && std::isfinite(prior_sd[i]) && prior_sd[i] > 0);
      covariance_[i][i] = most_variance_[i] = prior_sd[i] * prior_sd[i];
    }
  }

  // Takes one observation in; answers the innovation: y less what was predicted. `noise_sd` above 0.
  double update(const Vector& regressors, double y, double noise_sd) {
    CHECK(std::isfinite(y) && std::isfinite(noise_sd) && noise_sd > 0);
    const Vector spread = times_covariance(regressors);
    const double noise = noise_sd * noise_sd;
    const double denominator = forgetting_ * noise + dot(regressors, spread);
    const double innovation = y - predict(regressors);
    for (std::size_t i = 0; i < N; ++i) {
      parameters_[i] += spread[i] / denominator * innovation;
      for (std::size_t j = 0; j <= i; ++j) {  // one half, then mirrored: stays symmetric
        covariance_[i][j] -= spread[i] * spread[j] / denominator;
        covariance_[j][i] = covariance_[i][j];
      }
    }
    forget();
    return innovation;
  }

  [[nodiscard]] double predict(const Vector& regressors) const {
    for (const double regressor : regressors) {
      CHECK(std::isfinite(regressor));
    }
    return dot(regressors, parameters_);
  }
  // Deviation of a prediction from what the parameters are not known about, without the noise of the value.
  [[nodiscard]] double prediction_se(const Vector& regressors) const {
    return std::sqrt(std::max(0.0, dot(regressors, times_covariance(regressors))));
  }
  [[nodiscard]] double parameter(std::size_t i) const { return parameters_.at(i); }
  [[nodiscard]] double parameter_se(std::size_t i) const {
    return std::sqrt(std::max(0.0, covariance_.at(i)[i]));
  }

 private:
  static double dot(const Vector& a, const Vector& b) {
    double sum = 0;
    for (std::size_t i = 0; i < N; ++i) {
      sum += a[i] * b[i];
    }
    return sum;
  }
  [[nodiscard]] Vector times_covariance(const Vector& x) const {
    Vector product{};
    for (std::size_t i = 0; i < N; ++i) {
      product[i] = dot(covariance_[i], x);
    }
    return product;
  }
  // Row and column scaled alike, so that the matrix stays positive definite.
  void forget() {
    Vector scale;
    for (std::size_t i = 0; i < N; ++i) {
      const double variance = covariance_[i][i];
      const double grown = std::min(variance / forgetting_, std::max(variance, most_variance_[i]));
      scale[i] = variance > 0 ? std::sqrt(grown / variance) : 1.0;
    }
    for (std::size_t i = 0; i < N; ++i) {
      for (std::size_t j = 0; j < N; ++j) {
        covariance_[i][j] *= scale[i] * scale[j];
      }
    }
  }

  double forgetting_;
  Vector parameters_;
  std::array<Vector, N> covariance_{};
  Vector most_variance_{};
};

}  // namespace baskwell::heat
