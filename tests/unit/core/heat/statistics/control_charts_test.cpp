// Control charts against published worked series, and the factors for autocorrelated values.

#include "core/heat/statistics/control_charts.h"

#include <gtest/gtest.h>

#include <cmath>

#include "heat/statistics/table.h"

namespace baskwell::heat {
namespace {

using test::reference_table;
using test::TableRow;

// Source: NIST/SEMATECH e-Handbook 6.3.2.3 (tests/reference/nist-cusum.csv; its parameters are quoted there
// from memory, its statistics recomputed): target 325, k 0.3175, h 4.1959, first signal at group 14.
TEST(Cusum, FollowsTheNistSeries) {
  Cusum chart({325, 0.3175, 4.1959, 0, Side::both});
  int first_signal = 0;
  for (const TableRow& row : reference_table("nist-cusum.csv")) {
    const bool signal = chart.step(row["x"]);
    EXPECT_NEAR(chart.high(), row["s_hi"], 1e-9) << "group " << row.text("group");
    EXPECT_NEAR(chart.low(), row["s_lo"], 1e-9) << "group " << row.text("group");
    EXPECT_EQ(chart.high_signal(), row["signal_hi"] == 1) << "group " << row.text("group");
    EXPECT_EQ(signal, chart.high_signal() || chart.low_signal());
    if (signal && first_signal == 0) {
      first_signal = static_cast<int>(row["group"]);
    }
  }
  EXPECT_EQ(first_signal, 14);
}

// Source: Montgomery & Runger, example 16-6 (tests/reference/montgomery-runger-16-6.csv): no signal.
TEST(Cusum, FollowsMontgomeryAndRungersExample) {
  Cusum chart({99, 1, 10, 0, Side::both});
  for (const TableRow& row : reference_table("montgomery-runger-16-6.csv")) {
    EXPECT_FALSE(chart.step(row["x"]));
    EXPECT_NEAR(chart.high(), row["sh"], 1e-9) << "row " << row.text("i");
    EXPECT_NEAR(chart.low(), row["sl"], 1e-9) << "row " << row.text("i");
    if (row["i"] != 20) {  // misprinted there, as the table's head says
      EXPECT_EQ(chart.high_steps(), row["nh"]) << "row " << row.text("i");
    }
    EXPECT_EQ(chart.low_steps(), row["nl"]) << "row " << row.text("i");
  }
  EXPECT_EQ(chart.high_steps(), 1U);
}

TEST(Cusum, CountsInSigmaAsInUnits) {
  Cusum in_units({21.5, 0.1, 1.0, 0.5, Side::both});
  Cusum in_sigma(CusumPlan::in_sigma(21.5, 0.2, 0.5, 5, Side::both, 2.5));
  for (const double value : {21.9, 21.6, 22.0, 22.1, 21.2}) {
    EXPECT_EQ(in_units.step(value), in_sigma.step(value));
    EXPECT_NEAR(in_units.high(), in_sigma.high(), 1e-12);
    EXPECT_NEAR(in_units.low(), in_sigma.low(), 1e-12);
  }
}

TEST(Cusum, CountsAWildValueAsTheClip) {
  Cusum chart(CusumPlan::in_sigma(20, 0.1, 0.5, 5, Side::both, 0, 3));
  EXPECT_FALSE(chart.step(85));
  EXPECT_NEAR(chart.high(), 0.25, 1e-12);  // (3 - 0.5) sigma
  EXPECT_FALSE(chart.step(-127));
  EXPECT_NEAR(chart.low(), 0.25, 1e-12);
  EXPECT_EQ(chart.high(), 0);
}

TEST(Cusum, LooksOnlyWhereItWasTold) {
  Cusum high(CusumPlan::in_sigma(0, 1, 0.5, 4, Side::high));
  Cusum low(CusumPlan::in_sigma(0, 1, 0.5, 4, Side::low));
  for (int i = 0; i < 20; ++i) {
    EXPECT_FALSE(high.step(-2));
    low.step(-2);
  }
  EXPECT_TRUE(low.low_signal());
  EXPECT_NEAR(low.shifted_level(), -2, 0.3);  // from below zero steps at most one sum's cut off
  EXPECT_EQ(high.shifted_level(), 0);
}

// Our own bound (no source): a long fault is forgotten within 9 h / k steps after it is over.
TEST(Cusum, RecoversFromALongFault) {
  Cusum chart(CusumPlan::in_sigma(0, 1, 0.5, 5));
  for (int i = 0; i < 100000; ++i) {
    chart.step(4);
  }
  EXPECT_EQ(chart.high(), 50);
  EXPECT_EQ(chart.high_steps(), 100000U);
  int steps = 0;
  while (chart.step(0)) {
    ++steps;
  }
  EXPECT_LE(steps, 90);
  chart.reset();
  EXPECT_EQ(chart.high(), 0);
  EXPECT_EQ(chart.high_steps(), 0U);
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.4 (tests/reference/nist-ewma.csv; published: two decimals,
// UCL 52.5884, LCL 47.4115, no point outside; ten digits and limits from the first value on recomputed).
TEST(Ewma, FollowsTheNistSeries) {
  Ewma exact({50, 2.0539, 0.3, 3, false});
  Ewma steady({50, 2.0539, 0.3, 3, true});
  EXPECT_NEAR(50 + steady.half_width(), 52.5884, 5e-5);
  EXPECT_NEAR(50 - steady.half_width(), 47.4115, 1e-4);  // the page rounds the factor to 0.4201
  for (const TableRow& row : reference_table("nist-ewma.csv")) {
    if (!row.has("x")) {
      continue;  // the start
    }
    EXPECT_FALSE(exact.step(row["x"]));
    EXPECT_FALSE(steady.step(row["x"]));
    EXPECT_NEAR(exact.value(), row["ewma"], 1e-9) << "row " << row.text("i");
    EXPECT_NEAR(exact.value(), row["ewma_2dp"], 0.005 + 1e-9) << "row " << row.text("i");
    EXPECT_NEAR(50 + exact.half_width(), row["ucl_exact_i"], 1e-6) << "row " << row.text("i");
    EXPECT_NEAR(50 - exact.half_width(), row["lcl_exact_i"], 1e-6) << "row " << row.text("i");
    EXPECT_EQ(steady.half_width(), steady.steady_half_width());
  }
}

TEST(Ewma, TellsAValueOutsideItsLimits) {
  Ewma chart({0, 1, 0.2, 3, true});  // steady limits at one sigma
  EXPECT_FALSE(chart.step(4.9));
  EXPECT_TRUE(chart.step(4.9));
  chart.reset();
  EXPECT_FALSE(chart.signal());
  EXPECT_TRUE(chart.step(-5.1));
}

// Independent of the closed forms: the variance of a weighted sum of autocorrelated values, term by term.
TEST(Ar1, FactorsAgreeWithTheSumOfCovariances) {
  for (const double phi : {-0.5, 0.0, 0.3, 0.7, 0.9}) {
    double long_run = 0;
    for (int lag = -2000; lag <= 2000; ++lag) {
      long_run += std::pow(phi, std::abs(lag));
    }
    EXPECT_NEAR(ar1_sigma_factor(phi), std::sqrt(long_run), 1e-9) << "phi " << phi;
    const double lambda = 0.2;
    double variance = 0;
    for (int i = 0; i < 150; ++i) {
      for (int j = 0; j < 150; ++j) {
        variance += lambda * lambda * std::pow(1 - lambda, i + j) * std::pow(phi, std::abs(i - j));
      }
    }
    EXPECT_NEAR(ar1_ewma_sigma_factor(phi, lambda), std::sqrt(variance / (lambda / (2 - lambda))), 1e-9)
        << "phi " << phi;
  }
}

TEST(RunningAutocorrelation, FindsWhatTheValuesWereMadeWith) {
  test::Normal normal(test::monte_carlo_seed());
  for (const double phi : {0.0, 0.5, 0.9}) {
    constexpr double weight = 0.001;
    RunningAutocorrelation running(weight);
    double x = 0;
    double mean_phi = 0;
    double mean_deviation = 0;
    constexpr int burn_in = 20000;
    constexpr int values = 400000;
    for (int i = 0; i < burn_in + values; ++i) {
      x = phi * x + std::sqrt(1 - phi * phi) * normal();
      running.add(30 + 0.2 * x);
      if (i >= burn_in) {
        mean_phi += running.phi() / values;
        mean_deviation += running.deviation() / values;
      }
    }
    // About 200 independent memories: the mean's error is below 0.023 / 14, the bias as the header says; the
    // bounds are 4 of these. The deviation is low by the variance of the mean, phi 0.9: 19 * weight / 2.
    EXPECT_NEAR(mean_phi, phi - 0.0015, 0.007) << "phi " << phi;
    EXPECT_NEAR(mean_deviation, 0.2, 0.004) << "phi " << phi;
    EXPECT_NEAR(running.mean(), 30, 0.2 * 4 * std::sqrt(weight / 2) * ar1_sigma_factor(phi));
  }
}

TEST(RunningAutocorrelation, BridgesNoGap) {
  RunningAutocorrelation joined(0.01);
  RunningAutocorrelation apart(0.01);
  for (int i = 0; i < 2000; ++i) {
    const double value = i % 2;
    joined.add(value);
    apart.interrupt();
    apart.add(value);
  }
  EXPECT_NEAR(joined.phi(), -0.99, 1e-9);  // alternating: -1, held at the limit
  EXPECT_EQ(apart.phi(), 0);
}

}  // namespace
}  // namespace baskwell::heat
