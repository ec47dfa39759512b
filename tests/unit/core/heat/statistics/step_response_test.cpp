// Step responses: the closed-form cases, and the fit on made curves with noise, coarse probes and wild
// values.

#include "core/heat/statistics/step_response.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "core/heat/statistics/least_squares.h"
#include "heat/statistics/table.h"

namespace baskwell::heat {
namespace {

using test::Normal;

// Source: reference values, section 8 (closed form).
TEST(StepFraction, AgreesWithTheTable) {
  const double table[] = {0.6321205588285577, 0.8646647167633873, 0.950212931632136, 0.9816843611112658,
                          0.9932620530009145};
  for (int i = 0; i < 5; ++i) {
    EXPECT_NEAR(step_fraction(100.0 * (i + 1), 100), table[i], 1e-15);
  }
  EXPECT_EQ(step_fraction(-1, 100), 0);
  EXPECT_NEAR(smith_early, 0.2834687, 5e-8);
  EXPECT_NEAR(step_fraction(1, 3), smith_early, 1e-15);
  EXPECT_NEAR(step_fraction(1, 1), smith_late, 1e-15);
}

// The section's synthetic case: gain 2, dead time 5, time constant 30, step at 0, sampled finely.
std::vector<TimedValue> delayed_case() {
  std::vector<TimedValue> curve;
  for (int i = 0; i <= 20000; ++i) {
    const double t = 0.01 * i;
    curve.push_back({t, 2 * step_fraction(t - 5, 30)});
  }
  return curve;
}

// Source: reference values, section 8: times and what both formulas make of them. Linear between samples 0.01
// apart: off by 0.01^2 / (8 * 30) at most.
TEST(TwoPoint, AgreesWithTheSyntheticCase) {
  const std::vector<TimedValue> curve = delayed_case();
  const double t28 = time_at_share(curve, 0, 2, 0.283).value();
  const double t63 = time_at_share(curve, 0, 2, 0.632).value();
  const double t35 = time_at_share(curve, 0, 2, sundaresan_early).value();
  const double t85 = time_at_share(curve, 0, 2, sundaresan_late).value();
  EXPECT_NEAR(t28, 14.980383, 2e-6);
  EXPECT_NEAR(t63, 34.990170, 2e-6);
  EXPECT_NEAR(t35, 18.062270, 2e-6);
  EXPECT_NEAR(t85, 62.519681, 2e-6);
  const DelayedLag rounded = smith(t28, t63).value();
  EXPECT_NEAR(rounded.tau_s, 30.014681, 4e-6);
  EXPECT_NEAR(rounded.dead_time_s, 4.975490, 4e-6);
  const DelayedLag other = sundaresan_krishnaswamy(t35, t85).value();
  EXPECT_NEAR(other.tau_s, 29.786466, 4e-6);
  EXPECT_NEAR(other.dead_time_s, 5.350243, 4e-6);
  // With the exact shares Smith's formula is exact.
  const DelayedLag exact =
      smith(time_at_share(curve, 0, 2, smith_early).value(), time_at_share(curve, 0, 2, smith_late).value())
          .value();
  EXPECT_NEAR(exact.tau_s, 30, 4e-6);
  EXPECT_NEAR(exact.dead_time_s, 5, 4e-6);
}

TEST(TwoPoint, SaysNothingWhereThereIsNothing) {
  EXPECT_FALSE(smith(20, 20));
  EXPECT_FALSE(sundaresan_krishnaswamy(20, 10));
  const std::vector<TimedValue> half = {{0, 30}, {60, 28}, {120, 27}};
  EXPECT_FALSE(time_at_share(half, 30, 20, 0.5));  // never got there
  EXPECT_FALSE(time_at_share(half, 30, 30, 0.5));
  EXPECT_FALSE(time_at_share(half, 35, 25, 0.2));  // was past it before the first sample
  EXPECT_FALSE(time_at_share({}, 30, 20, 0.5));
  EXPECT_NEAR(time_at_share(half, 30, 20, 0.25).value(), 90, 1e-9);
}

struct Made {
  double tau_s = 3600;
  double final_value = 20;
  double amplitude = 10;
  double interval_s = 60;
  int count = 240;
  double noise = 0;
  double probe_step = 0;
};
std::vector<TimedValue> curve_of(const Made& made, Normal& normal) {
  std::vector<TimedValue> curve;
  for (int i = 0; i < made.count; ++i) {
    const double t = i * made.interval_s;
    double value = made.final_value + made.amplitude * (1 - step_fraction(t, made.tau_s));
    value += made.noise > 0 ? made.noise * normal() : 0.0;
    if (made.probe_step > 0) {
      value = std::round(value / made.probe_step) * made.probe_step;
    }
    curve.push_back({t, value});
  }
  return curve;
}

TEST(StepFit, IsExactOnExactCurves) {
  Normal normal(1);
  for (const double tau_s : {300.0, 1200.0, 3600.0, 10800.0, 86400.0}) {
    for (const double amplitude : {-12.0, 0.5, 10.0}) {
      Made made;
      made.tau_s = tau_s;
      made.amplitude = amplitude;
      made.interval_s = tau_s / 60;
      const auto curve = curve_of(made, normal);
      const StepFit open = fit_step(curve).value();
      EXPECT_NEAR(open.tau_s / tau_s, 1, 1e-6);
      EXPECT_NEAR(open.final_value, 20, 1e-6);
      EXPECT_NEAR(open.amplitude, amplitude, 1e-6);
      const StepFit known = fit_step(curve, 20.0).value();
      EXPECT_NEAR(known.tau_s / tau_s, 1, 1e-6);
      EXPECT_NEAR(known.value_at(tau_s), 20 + amplitude * std::exp(-1.0), 1e-6);
      EXPECT_EQ(known.final_se, 0);
      EXPECT_GT(known.kept_share, 0.999);
    }
  }
}

// Its standard errors are the errors it makes, and it is right on the mean: 400 runs tell a deviation to 3.5
// %, the bound is 4 of that and 5 % for the curvature of the model.
TEST(StepFit, StatesItsError) {
  Normal normal(test::monte_carlo_seed());
  for (const bool known : {false, true}) {
    for (const double noise : {0.05, 0.3}) {
      RunningMoments tau;
      RunningMoments final_value;
      RunningMoments tau_se;
      RunningMoments final_se;
      Made made;
      made.noise = noise;
      for (int run = 0; run < 400; ++run) {
        const auto fit = fit_step(curve_of(made, normal), known ? std::optional(20.0) : std::nullopt);
        ASSERT_TRUE(fit);
        tau.add(fit->tau_s);
        tau_se.add(fit->tau_se_s);
        final_value.add(fit->final_value);
        final_se.add(fit->final_se);
      }
      std::cout << (known ? "known" : "free") << " final, noise " << noise << ": tau " << tau.mean() << " +- "
                << tau.deviation() << ", stated " << tau_se.mean() << "\n";
      EXPECT_NEAR(tau.mean(), 3600, 4 * tau.deviation() / 20 + 0.005 * 3600);
      EXPECT_NEAR(tau.deviation() / tau_se.mean(), 1, 0.19);
      if (!known) {
        EXPECT_NEAR(final_value.mean(), 20, 4 * final_value.deviation() / 20 + 0.05);
        EXPECT_NEAR(final_value.deviation() / final_se.mean(), 1, 0.19);
      }
    }
  }
}

// The trade's coarse probes: 0.0625 and 0.1 degC, readings each minute or each five.
TEST(StepFit, BearsProbeSteps) {
  Normal normal(test::monte_carlo_seed());
  for (const double probe_step : {0.0625, 0.1}) {
    for (const double interval_s : {60.0, 300.0}) {
      Made made;
      made.amplitude = 4;
      made.interval_s = interval_s;
      made.count = static_cast<int>(4 * 3600 / interval_s);
      made.noise = 0.02;
      made.probe_step = probe_step;
      const StepFit fit = fit_step(curve_of(made, normal)).value();
      EXPECT_NEAR(fit.tau_s, 3600, 4 * fit.tau_se_s + 0.01 * 3600);
      EXPECT_LT(fit.tau_se_s, 0.05 * 3600);
    }
  }
}

// A door open for a quarter of the time takes 3 degC off: the fit lets those values go.
TEST(StepFit, LetsWildValuesGo) {
  Normal normal(test::monte_carlo_seed());
  Made made;
  made.noise = 0.05;
  std::vector<TimedValue> curve = curve_of(made, normal);
  for (std::size_t i = 60; i < 120; ++i) {
    curve[i].value -= 3;
  }
  curve[10].value = 85;  // a probe's power-on value
  const StepFit fit = fit_step(curve).value();
  EXPECT_NEAR(fit.tau_s, 3600, 4 * fit.tau_se_s);
  EXPECT_NEAR(fit.final_value, 20, 4 * fit.final_se);
  EXPECT_NEAR(fit.kept_share, 179.0 / 240, 0.06);
  // The test can fail: where every value keeps its weight (a floor far above the door's 3 degC), it is far
  // off.
  StepFitLimits keep_all;
  keep_all.value_sd_floor = 0.9;
  const auto naive = fit_step(curve, std::nullopt, keep_all);
  EXPECT_TRUE(!naive || std::abs(naive->tau_s - 3600) > 4 * fit.tau_se_s);
}

TEST(StepFit, SaysNothingWhereThereIsNothing) {
  Normal normal(test::monte_carlo_seed());
  EXPECT_FALSE(fit_step({}));
  EXPECT_FALSE(fit_step(std::vector<TimedValue>(50, {0, 21})));        // one time
  EXPECT_FALSE(fit_step(std::vector<TimedValue>(50, {600, 21}), 20));  // one time
  std::vector<TimedValue> line;
  line.reserve(100);
  for (int i = 0; i < 100; ++i) {
    line.push_back({60.0 * i, 30 - 0.01 * i});
  }
  EXPECT_FALSE(fit_step(line));  // straight: any slow time constant does
  EXPECT_FALSE(fit_step(std::vector<TimedValue>(step_fit_max_points + 1, {0, 21})));
  int found = 0;
  for (int run = 0; run < 300; ++run) {
    Made flat;
    flat.amplitude = 0;
    flat.noise = 0.1;
    found += fit_step(curve_of(flat, normal)).has_value() ? 1 : 0;
  }
  std::cout << "pure noise taken for a step: " << found << " of 300\n";
  EXPECT_LE(found, 6);  // three standard errors, the best of a grid of time constants: 1 in 50 at most
}

}  // namespace
}  // namespace baskwell::heat
