// Means, lines and recursive least squares.

#include "core/heat/statistics/least_squares.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "heat/statistics/table.h"

namespace baskwell::heat {
namespace {

using test::column;
using test::reference_table;

struct Certified {
  std::string file;
  double mean, deviation, lag1, deviation_tolerance;
};

// Source: NIST StRD univariate certified values (reference values, section 4); relative tolerances of the
// deviation are GSL's own for these sets, quoted there. NumAcc4 breaks a naive sum of squares.
TEST(Moments, AgreeWithNistCertifiedValues) {
  for (const Certified& set :
       {Certified{"nist-michelso.csv", 299.8524, 0.0790105478190518, 0.535199668621283, 1e-13},
        Certified{"nist-numacc3.csv", 1000000.2, 0.1, -0.999, 1e-9},
        Certified{"nist-numacc4.csv", 10000000.2, 0.1, -0.999, 1e-7}}) {
    const std::vector<double> values = column(reference_table(set.file), "value");
    RunningMoments moments;
    for (const double value : values) {
      moments.add(value);
    }
    EXPECT_NEAR(moments.mean() / set.mean, 1, 1e-14) << set.file;
    // Michelso: 1e-13 is for two passes; the running form may lose a digit.
    const double tolerance = std::max(set.deviation_tolerance, 1e-12);
    EXPECT_NEAR(moments.deviation() / set.deviation, 1, tolerance) << set.file;
    EXPECT_NEAR(lag1_autocorrelation(values), set.lag1, std::max(1e-12, 10 * set.deviation_tolerance))
        << set.file;
  }
}

TEST(Moments, OfFewValues) {
  RunningMoments moments;
  EXPECT_EQ(moments.deviation(), 0);
  moments.add(4);
  EXPECT_EQ(moments.mean(), 4);
  EXPECT_EQ(moments.deviation(), 0);
  EXPECT_EQ(lag1_autocorrelation({}), 0);
  EXPECT_EQ(lag1_autocorrelation(std::vector<double>(5, 2.5)), 0);
}

// Source: NIST StRD Norris, certified values; the covariance from GSL's test (reference values, section 4).
TEST(Line, AgreesWithNorrisCertifiedValues) {
  const auto table = reference_table("nist-norris.csv");
  const Line line = fit_line(column(table, "x"), column(table, "y")).value();
  EXPECT_NEAR(line.intercept, -0.262323073774029, 1e-11);
  EXPECT_NEAR(line.intercept_se, 0.232818234301152, 1e-12);
  EXPECT_NEAR(line.slope, 1.00211681802045, 1e-13);
  EXPECT_NEAR(line.slope_se, 0.429796848199937E-03, 1e-15);
  EXPECT_NEAR(line.residual_sd, 0.884796396144373, 1e-12);
  EXPECT_NEAR(line.r_squared, 0.999993745883712, 1e-14);
  EXPECT_NEAR(line.covariance, -7.74327536339570e-05, 1e-14);
}

// The same line seconds since 1970 away (1.8e9): only centring keeps the slope.
TEST(Line, KeepsItsSlopeFarFromZero) {
  std::vector<double> x;
  std::vector<double> y;
  for (int i = 0; i < 100; ++i) {
    x.push_back(1.8e9 + 60 * i);
    y.push_back(25 - 1e-5 * 60 * i);
  }
  const Line line = fit_line(x, y).value();
  EXPECT_NEAR(line.slope, -1e-5, 1e-15);
  EXPECT_NEAR(line.at(1.8e9), 25, 1e-9);
}

TEST(Line, NeedsThreePointsAndTwoPlaces) {
  const std::vector<double> two = {1, 2};
  const std::vector<double> same = {3, 3, 3};
  const std::vector<double> y = {1, 2, 3};
  EXPECT_FALSE(fit_line(two, two));
  EXPECT_FALSE(fit_line(same, y));
}

// Without forgetting and with a wide prior it is the ordinary least squares: Norris again.
TEST(RecursiveLeastSquares, IsOrdinaryLeastSquaresWithoutForgetting) {
  RecursiveLeastSquares<2> recursive(1.0, {0, 0}, {100, 100});
  const auto table = reference_table("nist-norris.csv");
  for (const auto& row : table) {
    recursive.update({1.0, row["x"]}, row["y"], 0.884796396144373);
  }
  // The prior of 0 +- 100 pulls by about (se / 100)^2 = 5e-6 of the values.
  EXPECT_NEAR(recursive.parameter(0), -0.262323073774029, 1e-5);
  EXPECT_NEAR(recursive.parameter(1), 1.00211681802045, 1e-8);
  EXPECT_NEAR(recursive.parameter_se(0), 0.232818234301152, 1e-5);
  EXPECT_NEAR(recursive.parameter_se(1), 0.429796848199937E-03, 1e-8);
}

// The errors it states are the errors it makes: 400 runs tell a deviation to 3.5 %, the bound is 4 of that.
TEST(RecursiveLeastSquares, StatesItsError) {
  test::Normal normal(test::monte_carlo_seed());
  RunningMoments off;
  double stated = 0;
  for (int run = 0; run < 400; ++run) {
    RecursiveLeastSquares<3> recursive(1.0, {0, 0, 0}, {10, 10, 10});
    for (int i = 0; i < 200; ++i) {
      const RecursiveLeastSquares<3>::Vector x = {1.0, normal(), normal.uniform()};
      recursive.update(x, 2 * x[0] - 3 * x[1] + 0.5 * x[2] + 0.2 * normal(), 0.2);
    }
    off.add(recursive.parameter(2) - 0.5);
    stated = recursive.parameter_se(2);
  }
  EXPECT_NEAR(off.mean(), 0, 4 * stated / 20);
  EXPECT_NEAR(off.deviation() / stated, 1, 0.14 + 0.05);  // 0.05: the runs' regressors differ
}

TEST(RecursiveLeastSquares, ForgetsWhatWas) {
  test::Normal normal(test::monte_carlo_seed());
  RecursiveLeastSquares<2> recursive(0.98, {0, 0}, {5, 5});
  const auto feed = [&](double slope, int count) {
    for (int i = 0; i < count; ++i) {
      const double x = normal();
      recursive.update({1.0, x}, 20 + slope * x + 0.1 * normal(), 0.1);
    }
  };
  feed(1, 1000);
  EXPECT_NEAR(recursive.parameter(1), 1, 0.05);
  feed(-1, 500);
  EXPECT_NEAR(recursive.parameter(1), -1, 0.05);
  EXPECT_NEAR(recursive.parameter(0), 20, 0.05);
}

// A year of minutes in which nothing moves: the unexcited parameter is no less sure than the prior, and the
// next real value does not throw it.
TEST(RecursiveLeastSquares, DoesNotBlowUpOnQuietDays) {
  RecursiveLeastSquares<4> recursive(0.99, {0, 0, 0, 0}, {5, 2, 2, 2});
  for (int i = 0; i < 525600; ++i) {
    recursive.update({1.0, 0.0, 0.3, 0.3}, 24, 0.05);
  }
  for (std::size_t i = 0; i < 4; ++i) {
    EXPECT_TRUE(std::isfinite(recursive.parameter(i)));
    EXPECT_LE(recursive.parameter_se(i), i == 0 ? 5.0000001 : 2.0000001);
  }
  EXPECT_NEAR(recursive.predict({1.0, 0.0, 0.3, 0.3}), 24, 0.01);
  EXPECT_EQ(recursive.parameter(1), 0);
  EXPECT_NEAR(recursive.prediction_se({0.0, 1.0, 0.0, 0.0}), 2, 1e-6);
}

}  // namespace
}  // namespace baskwell::heat
