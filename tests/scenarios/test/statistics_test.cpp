// The statistics of the table against published values.
#include "scenarios/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace baskwell::scenarios {
namespace {

// Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998),
// table I, method 3 (score, without continuity correction); from memory.
TEST(Wilson, AgreesWithNewcombe) {
  struct Case {
    std::int64_t hits, n;
    double low, high;
  };
  for (const Case& one : {Case{81, 263, 0.2553, 0.3662}, Case{15, 148, 0.0624, 0.1605},
                          Case{0, 20, 0.0, 0.1611}, Case{1, 29, 0.0061, 0.1718}}) {
    const Interval interval = wilson(one.hits, one.n);
    EXPECT_NEAR(interval.low, one.low, 0.00005) << one.hits << " of " << one.n;
    EXPECT_NEAR(interval.high, one.high, 0.00005) << one.hits << " of " << one.n;
  }
}

TEST(Wilson, KnowsNothingOfNothing) {
  EXPECT_EQ(wilson(0, 0).low, 0.0);
  EXPECT_EQ(wilson(0, 0).high, 1.0);
}

// Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28 (1936), 95 %; from memory.
TEST(PoissonRate, AgreesWithGarwood) {
  struct Case {
    std::int64_t count;
    double low, high;
  };
  for (const Case& one : {Case{0, 0.0, 3.689}, Case{1, 0.0253, 5.572}, Case{5, 1.623, 11.668},
                          Case{10, 4.795, 18.390}, Case{50, 37.11, 65.92}}) {
    const Interval interval = poisson_rate(one.count, 1.0);
    EXPECT_NEAR(interval.low, one.low, 0.006) << one.count;
    EXPECT_NEAR(interval.high, one.high, 0.006) << one.count;
    const Interval in_four = poisson_rate(one.count, 4.0);
    EXPECT_NEAR(in_four.high, interval.high / 4.0, 1e-9);
  }
  EXPECT_TRUE(std::isinf(poisson_rate(3, 0.0).high));
}

TEST(PoissonRate, GoesOnWhereTheApproximationBegins) {
  const Interval exact = poisson_rate(500, 1.0);
  const Interval approximate = poisson_rate(501, 1.0);
  EXPECT_NEAR(approximate.low - exact.low, 1.0, 2.0);
  EXPECT_NEAR(approximate.high - exact.high, 1.0, 2.5);
}

// By hand, after Hyndman and Fan's definition 7: at (n - 1) p.
TEST(Quantile, IsOfType7) {
  std::vector<double> values{4.0, 1.0, 3.0, 2.0};
  EXPECT_DOUBLE_EQ(quantile(values, 0.25), 1.75);
  EXPECT_DOUBLE_EQ(quantile(values, 0.5), 2.5);
  EXPECT_DOUBLE_EQ(quantile(values, 1.0), 4.0);
  std::vector<double> nothing;
  EXPECT_TRUE(std::isnan(quantile(nothing, 0.5)));
}

}  // namespace
}  // namespace baskwell::scenarios
