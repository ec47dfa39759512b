#pragma once
// Estimates that a share of wild values cannot carry off: medians, quantiles, trends by the median slope, and
// a running level and scale with a few bytes of state.
//
// Values in the caller's unit. Pure functions; nothing is allocated: where room is needed the caller gives
// it, and functions named ..._in_place leave the values they were given reordered or overwritten. Where a
// quantity does not exist (no values, a single x) the answer is empty. Non-finite input breaks an invariant
// (CHECK). One running estimator belongs to one thread.
//
// Sources: quantile: Hyndman & Fan 1996, type 7; slope: Theil 1950, Sen 1968; trend test: Gilbert 1987 pp.
// 208-213 as in the reference values, section 10; running quantile: stochastic approximation (Robbins & Monro
// 1951) with a running density (Chen, Lambert & Pinheiro 2000, from memory).

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace baskwell::heat {

// 1 / 0.6745 (the third quartile of the standard normal): makes the median absolute deviation of normal
// values estimate sigma.
inline constexpr double mad_consistency = 1.4826022185056018;

[[nodiscard]] std::optional<double> quantile_in_place(std::span<double> values, double p);  // p in 0..1
[[nodiscard]] std::optional<double> median_in_place(std::span<double> values);

struct LevelAndScale {
  double median = 0;
  double mad = 0;  // median of |value - median|, not yet times mad_consistency
  [[nodiscard]] double sigma() const { return mad_consistency * mad; }
};
[[nodiscard]] std::optional<LevelAndScale> median_and_mad_in_place(std::span<double> values);

// Standard normal: the value below which a share p (above 0, below 1) lies, to 1e-12; and the probability of
// a |value| of |z| or more.
[[nodiscard]] double normal_quantile(double p);
[[nodiscard]] double normal_two_sided_p(double z);

// Room that theil_sen() needs for n points. At most trend_max_points (a week of hourly values): n^2 / 2
// slopes.
inline constexpr std::size_t trend_max_points = 168;
[[nodiscard]] constexpr std::size_t pairs_of(std::size_t n) {
  return n < 2 ? 0 : n * (n - 1) / 2;
}

struct TheilSen {
  double slope = 0;      // median of the slopes of all pairs of different x
  double intercept = 0;  // median(y) - slope * median(x)
  double slope_low =
      0;  // Sen's interval for the slope, at the confidence asked for; wide open for few points
  double slope_high = 0;
  std::size_t pairs = 0;
};
// Empty with fewer than two different x. `scratch` holds at least pairs_of(n) values and at least n.
[[nodiscard]] std::optional<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y,
                                                std::span<double> scratch, double confidence = 0.95);

struct MannKendall {
  std::int64_t s = 0;   // rising pairs less falling pairs
  double variance = 0;  // of s without trend, ties allowed for
  double z = 0;         // with the correction by one; normal from about 10 values on
  double p_value = 1;   // two-sided, normal
};
// Values in order of time, independent of each other (thin out or whiten first). Up to trend_max_points.
[[nodiscard]] MannKendall mann_kendall(std::span<const double> y);

// A quantile that follows slow changes. At each value it moves by weight / density upwards or downwards.
// Fixed point: the true quantile, whatever the distribution. Error once run in, for independent values with
// density f there: standard deviation sqrt(weight / (2 - weight) p (1 - p)) / f (median of normal
// values: 1.25 sigma sqrt(weight / 2)), to 15 % at weight 0.02; after a step of the level it closes in with a
// time constant of about 1 / weight values. It never moves by more than half a window a value. With values in
// steps wider than its own error it wanders within one step of the true quantile. Autocorrelated values: the
// same level, the error up to ar1_sigma_factor times as large (signs are less alike than the values).
class RunningQuantile {
 public:
  // `window`: half width over which the density is measured, about one sigma and at least two steps of the
  // probe.
  RunningQuantile(double p, double weight, double window);
  void add(double value);
  [[nodiscard]] bool known() const { return count_ > 0; }
  [[nodiscard]] double value() const { return value_; }
  [[nodiscard]] std::uint32_t count() const { return count_; }

 private:
  double p_;
  double weight_;
  double window_;
  double value_ = 0;
  double density_ = 0;
  std::uint32_t count_ = 0;
};

// Running median and scale (1.4826 median absolute deviation) together: the steps are shares of the scale, so
// it needs no window and works from 0.01 to 10 degC alike. A single wild value moves the level by no more
// than 1.25 weight sigma, however wild it is. Error once run in, independent normal values: level 1.25 sigma
// sqrt(weight / 2), scale 1.17 sigma sqrt(weight / 2). After a jump of J scales it is there within about
// ln(1 + 0.93 J) / (1.17 weight) values, its scale grown meanwhile and as long in falling back.
class RunningLevel {
 public:
  // `scale` is believed until values say otherwise; `floor` (say step of the probe / sqrt(12)) is the least
  // scale, for probes that say the same for hours. Both above 0.
  RunningLevel(double weight, double scale, double floor);
  void add(double value);
  [[nodiscard]] bool known() const { return count_ > 0; }
  [[nodiscard]] double level() const { return level_; }
  [[nodiscard]] double sigma() const;
  [[nodiscard]] std::uint32_t count() const { return count_; }

 private:
  double weight_;
  double floor_;
  double level_ = 0;
  double mad_;
  std::uint32_t count_ = 0;
};

}  // namespace baskwell::heat
