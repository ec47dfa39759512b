#include "core/heat/statistics/step_response.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "core/check.h"
#include "core/heat/statistics/robust.h"

namespace baskwell::heat {
namespace {

constexpr double tukey = 4.685;  // sigmas from which on it has none

using Vector = std::array<double, 3>;  // log tau, amplitude, final value
using Matrix = std::array<Vector, 3>;

// Lower triangle L of matrix = L L'; empty where it is not positive definite. Only the first n rows count.
std::optional<Matrix> cholesky(const Matrix& matrix, std::size_t n) {
  Matrix lower{};
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      double rest = matrix[i][j];
      for (std::size_t k = 0; k < j; ++k) {
        rest -= lower[i][k] * lower[j][k];
      }
      if (i != j) {
        lower[i][j] = rest / lower[j][j];
      } else if (rest > 1e-14 * matrix[i][i]) {  // below that only rounding is left
        lower[i][i] = std::sqrt(rest);
      } else {
        return std::nullopt;
      }
    }
  }
  return lower;
}

Vector solve(const Matrix& lower, Vector right, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) {
      right[i] -= lower[i][k] * right[k];
    }
    right[i] /= lower[i][i];
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) {
      right[i] -= lower[k][i] * right[k];
    }
    right[i] /= lower[i][i];
  }
  return right;
}

// One curve being fitted.
class Fit {
 public:
  Fit(std::span<const TimedValue> samples, std::optional<double> known_final, const StepFitLimits& limits)
      : samples_(samples),
        free_(known_final ? 2 : 3),
        low_(std::log(limits.tau_min_s)),
        high_(std::log(limits.tau_max_s)),
        floor_(limits.value_sd_floor) {
    at_[2] = known_final.value_or(0.0);
    weights_.fill(1.0);
  }

  std::optional<StepFit> run() {
    if (!start()) {
      return std::nullopt;
    }
    // Tukey's weights let go of wild values altogether, at the scale the start found; then once more at the
    // scale that leaves. Twenty rounds are far more than is needed; they end when nothing moves.
    for (int pass = 0; pass < 2; ++pass) {
      scale_ = residual_scale();
      settle(20, true);
    }
    scale_ = residual_scale();
    weigh();
    return judged();
  }

 private:
  // What disturbs a curve comes in one piece (a door, an animal on the probe): plain least squares on all
  // values and on what is left without each of six windows of three eighths, and of these the one with the
  // least median residual over all values.
  bool start() {
    double best = std::numeric_limits<double>::infinity();
    Vector chosen = at_;
    for (std::size_t window = 0; window <= 6; ++window) {
      weights_.fill(1.0);
      if (window < 6) {
        const std::size_t from = samples_.size() * window / 8;
        const std::size_t to = samples_.size() * (window + 3) / 8;
        std::fill(weights_.begin() + static_cast<std::ptrdiff_t>(from),
                  weights_.begin() + static_cast<std::ptrdiff_t>(to), 0.0);
      }
      if (!best_of_grid()) {
        continue;
      }
      settle(10, false);
      if (const double scale = residual_scale(); scale < best) {
        best = scale;
        chosen = at_;
      }
    }
    at_ = chosen;
    return std::isfinite(best);
  }

  void settle(int rounds, bool weighing) {
    for (int round = 0; round < rounds; ++round) {
      if (weighing) {
        weigh();
      }
      if (!improve()) {
        break;
      }
    }
  }

  // Best of a grid of time constants; for each, amplitude and final value are a linear least squares.
  bool best_of_grid() {
    constexpr int grid = 24;
    double best = std::numeric_limits<double>::infinity();
    Vector chosen = at_;
    for (int i = 0; i <= grid; ++i) {
      at_[0] = low_ + (high_ - low_) * i / grid;
      if (!set_linear_part()) {
        continue;
      }
      if (const double squares = weighted_squares(at_); squares < best) {
        best = squares;
        chosen = at_;
      }
    }
    at_ = chosen;
    return std::isfinite(best);
  }

  bool set_linear_part() {
    const double tau_s = std::exp(at_[0]);
    double n = 0;  // weighted sums of one, exp(-t / tau), its square, the value, and both multiplied
    double e = 0;
    double ee = 0;
    double v = 0;
    double ev = 0;
    // Values less the first one: sums of small numbers.
    const double base = free_ == 3 ? samples_.front().value : at_[2];
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const double decay = std::exp(-samples_[i].at_s / tau_s);
      const double value = samples_[i].value - base;
      n += weights_[i];
      e += weights_[i] * decay;
      ee += weights_[i] * decay * decay;
      v += weights_[i] * value;
      ev += weights_[i] * decay * value;
    }
    if (free_ == 2) {
      at_[1] = ee > 0 ? ev / ee : 0.0;
      return ee > 0;
    }
    const double spread = ee - e * e / n;
    if (!(spread > 1e-12 * ee)) {
      return false;
    }
    at_[1] = (ev - e * v / n) / spread;
    at_[2] = base + (v - at_[1] * e) / n;
    return true;
  }

  double weighted_squares(const Vector& at) const {
    const double tau_s = std::exp(at[0]);
    double sum = 0;
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const double off = residual(at, tau_s, i);
      sum += weights_[i] * off * off;
    }
    return sum;
  }
  double residual(const Vector& at, double tau_s, std::size_t i) const {
    return samples_[i].value - at[2] - at[1] * std::exp(-samples_[i].at_s / tau_s);
  }
  double residual(std::size_t i) const { return residual(at_, std::exp(at_[0]), i); }

  double residual_scale() {
    const std::span<double> sizes(room_.data(), samples_.size());
    for (std::size_t i = 0; i < sizes.size(); ++i) {
      sizes[i] = std::abs(residual(i));
    }
    // Fitting takes up as many residuals as it has parameters.
    const auto n = static_cast<double>(sizes.size());
    const double freed = std::sqrt(n / (n - static_cast<double>(free_)));
    return std::max(floor_, freed * mad_consistency * median_in_place(sizes).value_or(0.0));
  }

  void weigh() {
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const double off = residual(i) / (scale_ * tukey);
      const double left = std::max(0.0, 1 - off * off);
      weights_[i] = left * left;
    }
  }

  Vector gradient_at(double t_s) const {
    const double times = t_s / std::exp(at_[0]);
    const double decay = std::exp(-times);
    return {at_[1] * times * decay, decay, 1.0};
  }

  // One Gauss-Newton step at the present weights, held back until it makes the fit better. False when it does
  // not move any more.
  bool improve() {
    Matrix normal{};
    Vector right{};
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const Vector gradient = gradient_at(samples_[i].at_s);
      for (std::size_t r = 0; r < free_; ++r) {
        right[r] += weights_[i] * gradient[r] * residual(i);
        for (std::size_t c = 0; c <= r; ++c) {
          normal[r][c] += weights_[i] * gradient[r] * gradient[c];
        }
      }
    }
    const double before = weighted_squares(at_);
    double held_back = 1e-9;
    for (int attempt = 0; attempt < 15; ++attempt, held_back *= 10) {
      Matrix damped = normal;
      for (std::size_t r = 0; r < free_; ++r) {
        damped[r][r] *= 1 + held_back;
      }
      const std::optional<Matrix> lower = cholesky(damped, free_);
      if (!lower) {
        continue;
      }
      const Vector move = solve(*lower, right, free_);
      Vector next = at_;
      for (std::size_t r = 0; r < free_; ++r) {
        next[r] += move[r];
      }
      next[0] = std::clamp(next[0], low_, high_);
      if (weighted_squares(next) <= before) {
        const double moved = std::abs(next[0] - at_[0]);
        at_ = next;
        return moved > 1e-10;
      }
    }
    return false;
  }

  // Errors of an M-estimate: variance of the pulls (weight * residual) over the mean slope of the pull, over
  // the normal matrix made with those slopes. Values without weight count nowhere.
  std::optional<StepFit> judged() const {
    Matrix normal{};
    double pulls = 0;
    double slopes = 0;
    double weight_sum = 0;
    double kept = 0;
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const double off = residual(i) / (scale_ * tukey);
      const double slope = std::abs(off) < 1 ? (1 - off * off) * (1 - 5 * off * off) : 0.0;
      const double pull = weights_[i] * residual(i);
      pulls += pull * pull;
      slopes += slope;
      weight_sum += weights_[i];
      kept += weights_[i] > 0 ? 1 : 0;
      const Vector gradient = gradient_at(samples_[i].at_s);
      for (std::size_t r = 0; r < free_; ++r) {
        for (std::size_t c = 0; c <= r; ++c) {
          normal[r][c] += slope * gradient[r] * gradient[c];
        }
      }
    }
    const double freedom = kept - static_cast<double>(free_);
    const std::optional<Matrix> lower = cholesky(normal, free_);
    if (!lower || freedom < 1 || !(slopes > 0)) {
      return std::nullopt;
    }
    const double variance = std::max(pulls / freedom, floor_ * floor_) / (slopes / kept);
    const auto error_of = [&](std::size_t parameter) {
      Vector unit{};
      unit[parameter] = 1;
      return std::sqrt(variance * solve(*lower, unit, free_)[parameter]);
    };
    const double log_tau_se = error_of(0);
    const double amplitude_se = error_of(1);
    const bool at_limit = at_[0] <= low_ + 1e-6 || at_[0] >= high_ - 1e-6;
    if (at_limit || !(log_tau_se < 1) || !(std::abs(at_[1]) >= 3 * amplitude_se)) {
      return std::nullopt;
    }
    StepFit found;
    found.tau_s = std::exp(at_[0]);
    found.tau_se_s = found.tau_s * log_tau_se;
    found.amplitude = at_[1];
    found.amplitude_se = amplitude_se;
    found.final_value = at_[2];
    found.final_se = free_ == 3 ? error_of(2) : 0.0;
    found.residual_sd = scale_;
    found.kept_share = weight_sum / static_cast<double>(samples_.size());
    return found;
  }

  std::span<const TimedValue> samples_;
  std::size_t free_;  // parameters that are fitted: the first two, or all three
  double low_;
  double high_;
  double floor_;
  double scale_ = 1;
  Vector at_{};
  std::array<double, step_fit_max_points> weights_;
  std::array<double, step_fit_max_points> room_{};
};

}  // namespace

double step_fraction(double t_s, double tau_s) {
  CHECK(std::isfinite(t_s) && std::isfinite(tau_s) && tau_s > 0);
  return t_s <= 0 ? 0.0 : -std::expm1(-t_s / tau_s);
}

std::optional<DelayedLag> smith(double early_s, double late_s) {
  CHECK(std::isfinite(early_s) && std::isfinite(late_s));
  if (!(late_s > early_s)) {
    return std::nullopt;
  }
  const double tau_s = 1.5 * (late_s - early_s);
  return DelayedLag{tau_s, late_s - tau_s};
}

std::optional<DelayedLag> sundaresan_krishnaswamy(double early_s, double late_s) {
  CHECK(std::isfinite(early_s) && std::isfinite(late_s));
  if (!(late_s > early_s)) {
    return std::nullopt;
  }
  return DelayedLag{0.67 * (late_s - early_s), 1.3 * early_s - 0.29 * late_s};
}

std::optional<double> time_at_share(std::span<const TimedValue> samples, double from, double to,
                                    double share) {
  CHECK(share >= 0 && share <= 1 && std::isfinite(from) && std::isfinite(to));
  if (from == to) {
    return std::nullopt;
  }
  for (std::size_t i = 0; i < samples.size(); ++i) {
    CHECK(std::isfinite(samples[i].at_s) && std::isfinite(samples[i].value));
    const double done = (samples[i].value - from) / (to - from);
    if (done < share) {
      continue;
    }
    if (i == 0) {
      // Only the step itself is known to lie before the first sample.
      return done == share ? std::optional(samples[0].at_s) : std::nullopt;
    }
    const double before = (samples[i - 1].value - from) / (to - from);
    const double part = (share - before) / (done - before);
    return samples[i - 1].at_s + part * (samples[i].at_s - samples[i - 1].at_s);
  }
  return std::nullopt;
}

double StepFit::value_at(double t_s) const {
  return final_value + amplitude * std::exp(-t_s / tau_s);
}

std::optional<StepFit> fit_step(std::span<const TimedValue> samples, std::optional<double> known_final,
                                const StepFitLimits& limits) {
  CHECK(limits.tau_min_s > 0 && limits.tau_max_s > limits.tau_min_s && std::isfinite(limits.tau_max_s));
  CHECK(limits.value_sd_floor > 0 && std::isfinite(known_final.value_or(0.0)));
  constexpr std::size_t least_points = 6;  // twice the parameters
  if (samples.size() < least_points || samples.size() > step_fit_max_points) {
    return std::nullopt;
  }
  for (const TimedValue& sample : samples) {
    CHECK(std::isfinite(sample.at_s) && sample.at_s >= 0 && std::isfinite(sample.value));
  }
  return Fit(samples, known_final, limits).run();
}

}  // namespace baskwell::heat
