#pragma once
// Control charts: tell a lasting shift of a level from noise, with a known rate of false alarms.
//
// Values are in the caller's unit (degC of an innovation, say), one a step of the caller's grid; run lengths
// are in such steps. Non-finite values break an invariant (CHECK): whoever feeds a chart has judged its
// readings. One chart belongs to one thread; the functions are pure. No allocation; a chart is a few dozen
// bytes.
//
// Sources: tabular CUSUM (Page 1954) and EWMA (Roberts 1959) as in NIST/SEMATECH e-Handbook 6.3.2.3
// and 6.3.2.4 and Montgomery & Runger, Applied Statistics and Probability for Engineers, chapter 16; head
// start: Lucas & Crosier 1982; run length: Siegmund 1985 as in the reference values, section 3.4. Which
// figures these are checked against: tests/unit/core/heat/statistics. Why these charts: docs/decisions/0012.

#include <cstdint>
#include <limits>

namespace baskwell::heat {

enum class Side : std::uint8_t { high, low, both };  // which shifts are looked for

// `allowance` (k) is half the shift that is to be found fastest, `threshold` (h) the sum at which it is told.
struct CusumPlan {
  double target = 0;
  double allowance = 0;   // in the values' unit
  double threshold = 0;   // in the values' unit
  double head_start = 0;  // both sums begin here, in the values' unit; below the threshold
  Side side = Side::both;
  // A value further from the target than this counts as this far, in the values' unit; above the allowance.
  // Against tails heavier than the normal's, at the price that no shift is told in fewer than
  // threshold / (clip - allowance) steps: figures in docs/decisions/0012.
  double clip = std::numeric_limits<double>::infinity();

  // All but the target as multiples of `sigma`.
  [[nodiscard]] static CusumPlan in_sigma(double target, double sigma, double k, double h,
                                          Side side = Side::both, double head_start = 0,
                                          double clip = std::numeric_limits<double>::infinity());
};

class Cusum {
 public:
  explicit Cusum(const CusumPlan& plan);

  // Takes one value in; true while a sum that is looked at is above its threshold. The sums go on after that:
  // what is done about it is the caller's, as is reset(). They stop growing at sum_limit thresholds, so that
  // a long fault is not remembered for ever.
  bool step(double value);
  void reset();

  [[nodiscard]] double high() const { return high_; }
  [[nodiscard]] double low() const { return low_; }
  [[nodiscard]] bool high_signal() const { return plan_.side != Side::low && high_ > plan_.threshold; }
  [[nodiscard]] bool low_signal() const { return plan_.side != Side::high && low_ > plan_.threshold; }
  // Steps since the sum left zero: the usual estimate of when the shift began.
  [[nodiscard]] std::uint32_t high_steps() const { return high_steps_; }
  [[nodiscard]] std::uint32_t low_steps() const { return low_steps_; }
  // Target + allowance + sum / steps: the usual estimate of the shifted level (Montgomery & Runger); the
  // target while no sum is above zero.
  [[nodiscard]] double shifted_level() const;
  [[nodiscard]] const CusumPlan& plan() const { return plan_; }

  // Ten thresholds: the NIST series' sums reach 4.5 and are not to be cut; the rest is a choice. A sum at the
  // limit falls back below the threshold after 9 h / k steps on target.
  static constexpr double sum_limit = 10;

 private:
  CusumPlan plan_;
  double high_ = 0;
  double low_ = 0;
  std::uint32_t high_steps_ = 0;
  std::uint32_t low_steps_ = 0;
};

struct EwmaPlan {
  double target = 0;
  double sigma = 1;    // of one value
  double lambda = 0;   // weight of the newest value, above 0 and at most 1
  double width = 3;    // L: the limits lie this many deviations of the average from the target
  bool steady = true;  // limits as after a long time; else exact from the first value on (narrower at first)
};

class Ewma {
 public:
  explicit Ewma(const EwmaPlan& plan);

  bool step(double value);  // true while the average lies outside its limits
  void reset();

  [[nodiscard]] double value() const { return average_; }
  [[nodiscard]] bool signal() const;
  // Half distance of the limits: the one in force after the values so far, and the one both tend to.
  [[nodiscard]] double half_width() const;
  [[nodiscard]] double steady_half_width() const;
  [[nodiscard]] const EwmaPlan& plan() const { return plan_; }

 private:
  EwmaPlan plan_;
  double average_ = 0;
  double forgotten_ = 1;  // (1 - lambda)^(2 i)
};

// Average run length of a CUSUM on independent normal values after Siegmund; `shift`, k and h in sigma. With
// `Side::low` the shift counts downwards. In control (shift 0) and for run lengths from 100 to 1e6 it is too
// long by at most 1 % at k = 0.5, 4 % at k = 0.25 or 0.75 and 7 % at k = 1 (tested against a Markov chain);
// after large shifts it is too short by up to 0.31 steps.
[[nodiscard]] double cusum_run_length(double k, double h, double shift = 0, Side side = Side::both);

// The h (in sigma) at which the in-control average run length is `wanted_run_length` steps; k not negative,
// the length above 1 and at most 1e15. By bisection to 1e-9; never negative.
[[nodiscard]] double cusum_threshold(double k, double wanted_run_length, Side side = Side::both);

// Autocorrelation of first order (values x_i = phi x_(i-1) + noise), phi above -1 and below 1.
// By how much sigma is to be multiplied so that sums are as wide as those of independent values: the root of
// the long-run variance (1 + phi) / (1 - phi).
[[nodiscard]] double ar1_sigma_factor(double phi);
// The same for an EWMA with weight lambda in its steady state, exact: the root of
// (1 + phi (1 - lambda)) / (1 - phi (1 - lambda)).
[[nodiscard]] double ar1_ewma_sigma_factor(double phi, double lambda);

// Running first-order autocorrelation, mean and deviation, older values forgotten with a weight. O(1) state.
class RunningAutocorrelation {
 public:
  // A value's weight once it has run in: about 1 / number of values remembered. Above 0, below 1.
  explicit RunningAutocorrelation(double weight);
  void add(double value);
  void interrupt() { has_last_ = false; }  // a gap: the next value has no neighbour
  [[nodiscard]] std::uint32_t count() const { return count_; }
  [[nodiscard]] double mean() const { return mean_; }
  [[nodiscard]] double deviation() const;
  // Held within +-0.99; 0 until a deviation is known. Its standard error is about sqrt(weight / 2); it is low
  // by one to three weights, as of any short series (from memory: Kendall 1954).
  [[nodiscard]] double phi() const;

 private:
  double weight_;
  double mean_ = 0;
  double variance_ = 0;
  double covariance_ = 0;
  double last_ = 0;
  std::uint32_t count_ = 0;
  bool has_last_ = false;
};

}  // namespace baskwell::heat
