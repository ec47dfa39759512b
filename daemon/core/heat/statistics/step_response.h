#pragma once
// What a cooling or warming curve tells of a first-order body: time constant, final value, dead time.
//
// Times in seconds from the step, values in the caller's unit (degC). Pure; nothing is allocated (a fit keeps
// up to step_fit_max_points residuals and weights on the stack). Non-finite input breaks an invariant
// (CHECK); where a curve does not say what was asked the answer is empty.
//
// Sources: two-point formulas of Smith and of Sundaresan & Krishnaswamy, and the cases they are checked
// against: reference values, section 8. Fit: Gauss-Newton with steps held back (Levenberg 1944); a start and
// a scale that bear wild values, then Tukey's weights (4.685 for 95 % efficiency), after Yohai 1987; errors
// of an M-estimate after Huber 1981 (all three from memory).

#include <cstddef>
#include <optional>
#include <span>

namespace baskwell::heat {

struct TimedValue {
  double at_s = 0;
  double value = 0;
};

// Share of a first-order step that is done after t_s: 1 - exp(-t / tau); 0 before the step.
[[nodiscard]] double step_fraction(double t_s, double tau_s);

// The shares the two-point formulas are made for, exactly where they have a closed form.
inline constexpr double smith_early = 0.2834686894262107;  // 1 - exp(-1/3)
inline constexpr double smith_late = 0.6321205588285577;   // 1 - exp(-1)
inline constexpr double sundaresan_early = 0.353;
inline constexpr double sundaresan_late = 0.853;

struct DelayedLag {
  double tau_s = 0;
  double dead_time_s = 0;  // may come out negative: then there is none
};
// From the times at which the two shares were reached; empty unless the second is later.
[[nodiscard]] std::optional<DelayedLag> smith(double early_s, double late_s);
[[nodiscard]] std::optional<DelayedLag> sundaresan_krishnaswamy(double early_s, double late_s);

// When a curve from `from` to `to` first has done `share` of its way, straight between samples (late or early
// by at most interval^2 / (8 tau)). Samples in order of time; noisy curves cross early: smooth or fit them.
[[nodiscard]] std::optional<double> time_at_share(std::span<const TimedValue> samples, double from, double to,
                                                  double share);

inline constexpr std::size_t step_fit_max_points = 720;  // twelve hours of minutes

struct StepFitLimits {
  double tau_min_s = 60;         // no enclosure's air is faster than a minute ...
  double tau_max_s = 48 * 3600;  // ... and no heated mass a person can lift slower than two days: a choice
  // Least deviation of a value: step of the probe / sqrt(12). 0.1 degC is the coarsest step of the trade's
  // probes.
  double value_sd_floor = 0.03;
};

struct StepFit {
  double tau_s = 0;
  double tau_se_s = 0;  // standard errors, for independent noise: times ar1_sigma_factor where it is not
  double final_value = 0;
  double final_se = 0;   // 0 where it was given
  double amplitude = 0;  // value at t = 0 less the final value: above 0 when cooling
  double amplitude_se = 0;
  double residual_sd = 0;  // robust
  double kept_share = 1;   // mean weight: how much of the curve agrees with the fit

  [[nodiscard]] double value_at(double t_s) const;
};

// value = final + amplitude * exp(-t / tau) from t = 0 on, the final value free or known (the room's).
//
// Wild values (a door opened, an animal on the probe) lose their weight: in one piece up to a quarter of the
// points, scattered up to a third (made curves of 240 points, 3 degC off: of 100 at most 3 more than four
// errors off; with 0.4 in one piece half of them are, so look at kept_share). Costs about 1.5 ms for 240
// points at -O2: once an episode, not once a reading.
//
// Empty with fewer than 6 points, more than step_fit_max_points, no span of time, or where the curve does not
// hold a time constant: it ends up at a limit, its standard error is more than the time constant itself, or
// the amplitude is not three standard errors from zero.
[[nodiscard]] std::optional<StepFit> fit_step(std::span<const TimedValue> samples,
                                              std::optional<double> known_final = std::nullopt,
                                              const StepFitLimits& limits = {});

}  // namespace baskwell::heat
