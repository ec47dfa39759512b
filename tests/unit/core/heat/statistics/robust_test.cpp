// Medians, quantiles, trends and the running estimators.

#include "core/heat/statistics/robust.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <numeric>
#include <vector>

#include "core/heat/statistics/least_squares.h"
#include "heat/statistics/table.h"

namespace baskwell::heat {
namespace {

using test::Normal;
using test::reference_table;
using test::TableRow;

// Source: Hyndman & Fan 1996 type 7, by R 4.2.2 (tests/reference/quantiles-hyndman-fan.csv). The second
// sample, R's beaver1, is not copied: it is read where the shared data lie.
TEST(Quantile, IsHyndmanAndFansTypeSeven) {
  const std::string beaver = std::string(BASKWELL_SHARED_DATA_DIR) + "/beaver1.csv";
  const bool has_beaver = std::filesystem::exists(beaver);
  const std::vector<double> x10 = {2, 4, 7, 11, 16, 22, 29, 37, 46, 56};
  int checked = 0;
  for (const TableRow& row : reference_table("quantiles-hyndman-fan.csv")) {
    if (row.text("sample") == "beaver1" && !has_beaver) {
      continue;
    }
    std::vector<double> sample =
        row.text("sample") == "x10" ? x10 : test::column(test::read_table(beaver), "temp");
    std::reverse(sample.begin(), sample.end());  // order does not matter
    EXPECT_NEAR(quantile_in_place(sample, row["p"]).value(), row["type7"], 1e-8)
        << row.text("sample") << " p " << row.text("p");
    ++checked;
  }
  EXPECT_EQ(checked, has_beaver ? 22 : 11);
}

TEST(Quantile, OfNothingIsNothing) {
  EXPECT_FALSE(quantile_in_place({}, 0.5));
  EXPECT_FALSE(median_and_mad_in_place({}));
  std::array<double, 1> one = {7};
  EXPECT_EQ(quantile_in_place(one, 0.9), 7);
}

// By hand: median of 1 1 2 2 4 6 9 is 2; deviations 1 1 0 0 2 4 7, their median 1.
TEST(Mad, IsTheMedianDeviation) {
  std::array<double, 7> values = {9, 1, 2, 6, 4, 1, 2};
  const LevelAndScale found = median_and_mad_in_place(values).value();
  EXPECT_EQ(found.median, 2);
  EXPECT_EQ(found.mad, 1);
  EXPECT_NEAR(found.sigma(), 1.4826, 5e-5);
}

// Source: the standard normal's 97.5 % point 1.959963984540054 and third quartile 0.6744897501960817 (scipy's
// norm, from memory; every printed table agrees to its digits); the tail against erfc, its inverse.
TEST(NormalQuantile, AgreesWithTheTables) {
  EXPECT_NEAR(normal_quantile(0.975), 1.959963984540054, 1e-11);
  EXPECT_NEAR(normal_quantile(0.75), 1 / mad_consistency, 1e-11);
  EXPECT_NEAR(normal_quantile(0.75), 0.6744897501960817, 1e-11);
  EXPECT_NEAR(normal_quantile(0.5), 0, 1e-11);
  EXPECT_NEAR(normal_two_sided_p(normal_quantile(0.5e-12)), 1e-12, 1e-21);
}

struct TrendCase {
  std::vector<double> x, y;
};
TheilSen trend_of(const TrendCase& c) {
  std::vector<double> scratch(std::max(pairs_of(c.x.size()), c.x.size()));
  return theil_sen(c.x, c.y, scratch).value();
}

// Source: Helsel & Hirsch, Statistical Methods in Water Resources, chapter 10 (data from memory), by
// scipy 1.10.1: reference values, section 10.
TEST(Trend, HelselAndHirsch) {
  const TrendCase c{{1, 2, 3, 4, 5, 6, 7}, {1, 2, 3, 4, 5, 16, 7}};
  const TheilSen line = trend_of(c);
  EXPECT_EQ(line.pairs, 21U);
  EXPECT_EQ(line.slope, 1);
  EXPECT_EQ(line.intercept, 0);
  const MannKendall test = mann_kendall(c.y);
  EXPECT_EQ(test.s, 19);
  EXPECT_NEAR(test.variance, 44.3333, 5e-5);
  EXPECT_NEAR(test.z, 2.703381, 5e-7);
  EXPECT_NEAR(test.p_value, 0.006864, 5e-7);
}

// Source: reference values, section 10, second row (scipy 1.10.1).
TEST(Trend, TenValues) {
  TrendCase c{{}, {10, 15, 14, 20, 21, 19, 25, 26, 30, 28}};
  c.x.resize(c.y.size());
  std::iota(c.x.begin(), c.x.end(), 1.0);
  const TheilSen line = trend_of(c);
  EXPECT_EQ(line.slope, 2);
  EXPECT_EQ(line.slope_low, 1.5);
  EXPECT_EQ(line.slope_high, 2.5);
  const MannKendall test = mann_kendall(c.y);
  EXPECT_EQ(test.s, 37);
  EXPECT_EQ(test.variance, 125);
  EXPECT_NEAR(test.z, 3.219938, 5e-7);
  EXPECT_NEAR(test.p_value, 0.00128218, 5e-9);
}

// Source: reference values, section 4: Theil-Sen of NIST's Norris data by scipy 1.10.1.
TEST(Trend, Norris) {
  const auto table = reference_table("nist-norris.csv");
  const TheilSen line = trend_of({test::column(table, "x"), test::column(table, "y")});
  EXPECT_NEAR(line.slope, 1.0021968365553604, 1e-13);
  EXPECT_NEAR(line.intercept, -0.0640158172232077, 1e-10);
  EXPECT_NEAR(line.slope_low, 1.0011153245594469, 1e-13);
  EXPECT_NEAR(line.slope_high, 1.0030534351145037, 1e-13);
}

// By hand: 1 1 2 2 2 3 has S = 2*3 + 2 + 3 = 11 rising pairs, ties of 2 and 3:
// variance (6*5*17 - 2*1*9 - 3*2*11) / 18 = 426 / 18.
TEST(Trend, AllowsForTies) {
  const std::vector<double> y = {1, 1, 2, 2, 2, 3};
  const MannKendall test = mann_kendall(y);
  EXPECT_EQ(test.s, 11);
  EXPECT_NEAR(test.variance, 426.0 / 18, 1e-12);
  EXPECT_NEAR(test.z, 10 / std::sqrt(426.0 / 18), 1e-12);
  const MannKendall flat = mann_kendall(std::vector<double>(9, 20.5));
  EXPECT_EQ(flat.s, 0);
  EXPECT_EQ(flat.p_value, 1);
}

TEST(Trend, OfOneTimeIsNone) {
  const std::vector<double> x(4, 3.0);
  const std::vector<double> y = {1, 2, 3, 4};
  std::vector<double> scratch(6);
  EXPECT_FALSE(theil_sen(x, y, scratch));
  EXPECT_FALSE(theil_sen({}, {}, scratch));
}

// Sen's interval holds the truth as often as it says: 95 % of 2000 made series, within 4 binomial errors
// (1.95 %).
TEST(Trend, IntervalHoldsTheTruthAsOftenAsItSays) {
  Normal normal(test::monte_carlo_seed());
  std::vector<double> x(30);
  std::iota(x.begin(), x.end(), 0.0);
  std::vector<double> y(x.size());
  std::vector<double> scratch(pairs_of(x.size()));
  int held = 0;
  for (int run = 0; run < 2000; ++run) {
    for (std::size_t i = 0; i < x.size(); ++i) {
      y[i] = 25 - 0.1 * x[i] + 0.3 * normal();
    }
    const TheilSen line = theil_sen(x, y, scratch).value();
    held += line.slope_low <= -0.1 && -0.1 <= line.slope_high ? 1 : 0;
  }
  EXPECT_NEAR(held / 2000.0, 0.95, 0.0195);
}

// Errors of the running estimators over many independent runs, against what the header says (4 Monte Carlo
// errors of the mean; 15 % for the deviation, which 1000 runs tell to 2.2 % and the small-weight formula to a
// few more).
TEST(RunningQuantile, HasTheErrorItStates) {
  Normal normal(test::monte_carlo_seed());
  constexpr int runs = 1000;
  constexpr double weight = 0.02;
  for (const double p : {0.1, 0.5, 0.9}) {
    const double truth = normal_quantile(p);
    const double density = std::exp(-truth * truth / 2) / std::sqrt(2 * std::numbers::pi);
    const double stated = std::sqrt(weight / (2 - weight) * p * (1 - p)) / density;
    RunningMoments found;
    for (int run = 0; run < runs; ++run) {
      RunningQuantile quantile(p, weight, 1.0);
      for (int i = 0; i < 600; ++i) {
        quantile.add(normal());
      }
      found.add(quantile.value());
    }
    std::cout << "p " << p << ": bias " << found.mean() - truth << ", deviation " << found.deviation()
              << ", stated " << stated << "\n";
    EXPECT_NEAR(found.mean(), truth, 4 * stated / std::sqrt(runs) + 0.25 * stated);
    EXPECT_NEAR(found.deviation(), stated, 0.15 * stated);
  }
}

TEST(RunningQuantile, FollowsALevelAndComesFromFarAway) {
  Normal normal(test::monte_carlo_seed());
  RunningQuantile quantile(0.5, 0.01, 0.4);
  for (int i = 0; i < 2000; ++i) {
    quantile.add(30 + 0.2 * normal());
  }
  EXPECT_NEAR(quantile.value(), 30, 0.1);
  for (int i = 0; i < 1000; ++i) {
    quantile.add(20 + 0.2 * normal());
  }
  EXPECT_NEAR(quantile.value(), 20, 0.1);
}

// A probe with steps of 0.1 degC on values that spread over two of them.
TEST(RunningQuantile, StaysWithinOneStepOfACoarseProbe) {
  Normal normal(test::monte_carlo_seed());
  RunningQuantile quantile(0.5, 0.01, 0.2);
  for (int i = 0; i < 5000; ++i) {
    quantile.add(std::round((30.03 + 0.05 * normal()) * 10) / 10);
    if (i > 500) {
      ASSERT_NEAR(quantile.value(), 30.03, 0.1);
    }
  }
}

TEST(RunningLevel, HasTheErrorItStates) {
  Normal normal(test::monte_carlo_seed());
  constexpr int runs = 1000;
  constexpr double weight = 0.02;
  RunningMoments level;
  RunningMoments scale;
  for (int run = 0; run < runs; ++run) {
    RunningLevel running(weight, 1.0, 0.001);  // told five times too much
    for (int i = 0; i < 1000; ++i) {
      running.add(30 + 0.2 * normal());
    }
    level.add(running.level());
    scale.add(running.sigma());
  }
  const double level_error = 1.2533 * 0.2 * std::sqrt(weight / 2);
  const double scale_error = 1.1664 * 0.2 * std::sqrt(weight / 2);
  std::cout << "level " << level.mean() << " +- " << level.deviation() << ", stated +- " << level_error
            << "; scale " << scale.mean() << " +- " << scale.deviation() << ", stated +- " << scale_error
            << "\n";
  EXPECT_NEAR(level.mean(), 30, 4 * level_error / std::sqrt(runs));
  EXPECT_NEAR(level.deviation(), level_error, 0.15 * level_error);
  EXPECT_NEAR(scale.mean(), 0.2, 0.25 * scale_error);
  EXPECT_NEAR(scale.deviation(), scale_error, 0.15 * scale_error);
}

// A tenth of the values is wild, on one side: the mean would be off by 2, the deviation by thirty times.
TEST(RunningLevel, IsNotCarriedOff) {
  Normal normal(test::monte_carlo_seed());
  RunningLevel running(0.005, 0.2, 0.03);
  double level = 0;
  double scale = 0;
  for (int i = 0; i < 20000; ++i) {
    running.add(30 + 0.2 * normal() + (normal.uniform() < 0.1 ? 20 : 0));
    if (i >= 10000) {
      level += running.level() / 10000;
      scale += running.sigma() / 10000;
    }
  }
  // Median of nine tenths of a normal: its 55.6 % point, 0.14 sigma up; the MAD grows by 16 % (from the same
  // reckoning: |x - 0.14| of nine tenths, half of all values below).
  EXPECT_NEAR(level, 30 + 0.2 * normal_quantile(0.5 / 0.9), 0.01);
  EXPECT_NEAR(scale, 0.2 * 1.14, 0.02);
}

TEST(RunningLevel, KeepsAFloorWhenAProbeSaysTheSameForHours) {
  RunningLevel running(0.01, 0.2, 0.03);
  for (int i = 0; i < 5000; ++i) {
    running.add(30.1);
  }
  EXPECT_NEAR(running.sigma(), 0.03, 1e-12);
  EXPECT_EQ(running.level(), 30.1);
  // 1.3 degC are 43 scales: ln(1 + 0.93 * 43) / (1.17 * 0.01) = 318 values, as the header
  // says, and a tenth for the end.
  for (int i = 0; i < 350; ++i) {
    running.add(31.4);
  }
  EXPECT_NEAR(running.level(), 31.4, 0.1);
}

}  // namespace
}  // namespace baskwell::heat
