// Run lengths: the charts by Monte Carlo against published and computed tables, Siegmund's approximation
// against its column there and against a Markov chain made here.
//
// Bound of every Monte Carlo check: 4 standard errors of the simulated mean. For a correct chart one of the
// about 200 checks fails in 1.3 % of seeds; the seed is fixed. Run lengths are simulated to 1.6 %, so a k
// that is off by 0.01 sigma or an h that is off by 0.1 sigma fails in control.

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "core/heat/statistics/control_charts.h"
#include "core/heat/statistics/least_squares.h"
#include "heat/statistics/table.h"

namespace baskwell::heat {
namespace {

using test::Normal;
using test::reference_table;
using test::TableRow;

constexpr double bound_in_errors = 4;
constexpr int runs = 4000;

// Mean steps until `chart` signals on normal values shifted by `shift`.
template <class Chart>
RunningMoments run_lengths(Normal& normal, Chart chart, double shift, double phi = 0) {
  RunningMoments lengths;
  for (int run = 0; run < runs; ++run) {
    chart.reset();
    std::int64_t steps = 1;
    double x = normal();
    const double fresh = std::sqrt(1 - phi * phi);
    while (!chart.step(x + shift)) {
      x = phi * x + fresh * normal();
      ++steps;
    }
    lengths.add(static_cast<double>(steps));
  }
  return lengths;
}

double error_of(const RunningMoments& lengths) {
  return lengths.deviation() / std::sqrt(static_cast<double>(lengths.count()));
}

// Source: tests/reference/arl-cusum.csv (integral equation, Markov chain and R's spc; Montgomery's table).
TEST(CusumRunLength, AgreesWithTheTable) {
  Normal normal(test::monte_carlo_seed());
  for (const TableRow& row : reference_table("arl-cusum.csv")) {
    const double shift = row["shift_sigma"];
    for (const Side side : {Side::high, Side::both}) {
      const double expected = row[side == Side::both ? "arl_two_sided" : "arl_one_sided"];
      const RunningMoments lengths =
          run_lengths(normal, Cusum(CusumPlan::in_sigma(0, 1, row["k"], row["h"], side)), shift);
      EXPECT_NEAR(lengths.mean(), expected, bound_in_errors * error_of(lengths))
          << "h " << row["h"] << " shift " << shift << (side == Side::both ? " two-sided" : " one-sided");
    }
  }
}

// Source: Lucas & Crosier 1982 as in the reference values, section 3.4: two-sided, k 0.5, head start h / 2.
TEST(CusumRunLength, AgreesWithAHeadStart) {
  struct Case {
    double h, shift, expected;
  };
  Normal normal(test::monte_carlo_seed());
  for (const Case& c : {Case{4, 0, 148.696}, Case{4, 0.5, 20.064}, Case{4, 1, 5.2869}, Case{4, 2, 2.0144},
                        Case{5, 0, 430.391}, Case{5, 0.5, 28.666}, Case{5, 1, 6.3469}, Case{5, 2, 2.3623}}) {
    const RunningMoments lengths =
        run_lengths(normal, Cusum(CusumPlan::in_sigma(0, 1, 0.5, c.h, Side::both, c.h / 2)), c.shift);
    EXPECT_NEAR(lengths.mean(), c.expected, bound_in_errors * error_of(lengths))
        << "h " << c.h << " shift " << c.shift;
  }
}

// Source: tests/reference/arl-ewma.csv (integral equation and R's spc; Lucas & Saccucci 1990).
TEST(EwmaRunLength, AgreesWithTheTable) {
  Normal normal(test::monte_carlo_seed());
  for (const TableRow& row : reference_table("arl-ewma.csv")) {
    const RunningMoments lengths =
        run_lengths(normal, Ewma({0, 1, row["lambda"], row["L"], true}), row["shift_sigma"]);
    EXPECT_NEAR(lengths.mean(), row["arl"], bound_in_errors * error_of(lengths))
        << "lambda " << row["lambda"] << " L " << row["L"] << " shift " << row["shift_sigma"];
  }
}

// Source: the Siegmund columns of tests/reference/arl-cusum.csv, and Montgomery's worked numbers for h = 5
// there.
TEST(SiegmundRunLength, ReproducesItsColumn) {
  for (const TableRow& row : reference_table("arl-cusum.csv")) {
    const double shift = row["shift_sigma"];
    const double one = row["siegmund_one_sided"];
    const double both = row["siegmund_two_sided"];
    EXPECT_NEAR(cusum_run_length(row["k"], row["h"], shift, Side::high), one, 1e-6 * one + 5e-7);
    EXPECT_NEAR(cusum_run_length(row["k"], row["h"], -shift, Side::low), one, 1e-6 * one + 5e-7);
    EXPECT_NEAR(cusum_run_length(row["k"], row["h"], shift), both, 1e-6 * both + 5e-7);
    // What the header promises of it against the exact figures.
    const double exact = row["arl_two_sided"];
    EXPECT_NEAR(cusum_run_length(row["k"], row["h"], shift), exact, shift == 0 ? 0.01 * exact : 0.31);
  }
  EXPECT_NEAR(cusum_run_length(0.5, 5, 0, Side::high), 938.2, 0.05);
  EXPECT_NEAR(cusum_run_length(0.5, 5), 469.1, 0.05);
  EXPECT_NEAR(cusum_run_length(0.5, 5, 1), 10.34, 0.005);
}

// The drift's zero is no hole: both sides of it and the series between agree.
TEST(SiegmundRunLength, IsSmoothWhereTheDriftIsZero) {
  const double b = 5 + 1.166;
  EXPECT_NEAR(cusum_run_length(0.5, 5, 0.5, Side::high), b * b, 1e-9);
  for (const double off : {-1e-4, -8e-5, 8e-5, 1e-4}) {
    EXPECT_NEAR(cusum_run_length(0.5, 5, 0.5 + off, Side::high) / (b * b), 1 - 2 * off * b / 3, 1e-6);
  }
}

// In-control run length of a one-sided CUSUM by Brook and Evans' Markov chain: the sum is rounded to one of
// `states` places, and (I - P) l = 1 is solved by elimination.
double markov_run_length(double k, double h) {
  constexpr std::size_t states = 240;
  const double width = 2 * h / (2 * states - 1);
  const auto below = [](double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); };
  std::vector<std::vector<double>> rows(states, std::vector<double>(states + 1));
  for (std::size_t i = 0; i < states; ++i) {
    for (std::size_t j = 0; j < states; ++j) {
      const double way = (static_cast<double>(j) - static_cast<double>(i)) * width + k;
      const double mass = j == 0 ? below(way + width / 2) : below(way + width / 2) - below(way - width / 2);
      rows[i][j] = (i == j ? 1.0 : 0.0) - mass;
    }
    rows[i][states] = 1;
  }
  for (std::size_t i = 0; i < states; ++i) {  // diagonally dominant: no pivot needed
    for (std::size_t r = i + 1; r < states; ++r) {
      const double factor = rows[r][i] / rows[i][i];
      for (std::size_t c = i; factor != 0 && c <= states; ++c) {
        rows[r][c] -= factor * rows[i][c];
      }
    }
  }
  std::vector<double> length(states);
  for (std::size_t i = states; i-- > 0;) {
    double rest = rows[i][states];
    for (std::size_t c = i + 1; c < states; ++c) {
      rest -= rows[i][c] * length[c];
    }
    length[i] = rest / rows[i][i];
  }
  return length[0];
}

TEST(CusumThreshold, GivesTheWantedRunLength) {
  // The chain itself, against tests/reference/arl-cusum.csv.
  EXPECT_NEAR(markov_run_length(0.5, 4), 335.367578, 0.1);
  EXPECT_NEAR(markov_run_length(0.5, 5), 930.887012, 0.3);
  for (const double wanted : {100.0, 1000.0, 30000.0, 1e6}) {
    for (const double k : {0.25, 0.5, 0.75, 1.0}) {
      const double h = cusum_threshold(k, wanted, Side::high);
      EXPECT_NEAR(cusum_run_length(k, h, 0, Side::high), wanted, 1e-6 * wanted);
      const double exact = markov_run_length(k, h);
      EXPECT_NEAR(exact, wanted,
                  (k == 0.5   ? 0.01
                   : k == 1.0 ? 0.07
                              : 0.04) *
                      wanted)
          << "k " << k << " wanted " << wanted;
      EXPECT_NEAR(cusum_threshold(k, wanted / 2, Side::both), h, 1e-8);
    }
  }
}

TEST(CusumThreshold, GrowsWithTheRunLengthUpToItsEnds) {
  EXPECT_GE(cusum_threshold(1, 1.0001, Side::both), 0);
  double last = 0;
  for (int digits = 1; digits <= 15; ++digits) {
    const double h = cusum_threshold(0.5, std::pow(10.0, digits));
    EXPECT_GT(h, last);
    last = h;
  }
  EXPECT_GT(cusum_threshold(0, 1e15), 1e7);
}

// Autocorrelated values with sigma times ar1_sigma_factor(): no more false alarms than wanted, as the
// decision 0012 says; without the factor many more.
TEST(Ar1Cusum, TheFactorKeepsFalseAlarmsBelowTheWantedRate) {
  Normal normal(test::monte_carlo_seed());
  constexpr double wanted = 200;
  const double h = cusum_threshold(0.5, wanted);
  for (const double phi : {0.2, 0.4, 0.6}) {
    const RunningMoments with =
        run_lengths(normal, Cusum(CusumPlan::in_sigma(0, ar1_sigma_factor(phi), 0.5, h)), 0, phi);
    const RunningMoments without = run_lengths(normal, Cusum(CusumPlan::in_sigma(0, 1, 0.5, h)), 0, phi);
    std::cout << "phi " << phi << ": wanted " << wanted << ", with the factor " << with.mean() << ", without "
              << without.mean() << "\n";
    EXPECT_GT(with.mean(), wanted) << "phi " << phi;
    EXPECT_LT(without.mean(), wanted / 2) << "phi " << phi;
  }
}

// Student's t with 5 degrees of freedom, a usual picture of heavy tails, with the clips that 0012 gives:
// three deviations, or two robust ones (its third quartile, 0.7267, is the MAD; from any table of t). Without
// a clip false alarms come many times as often as wanted.
TEST(HeavyTailedCusum, AClipKeepsFalseAlarmsBelowTheWantedRate) {
  struct Case {
    double sigma, clip;
  };
  std::mt19937_64 random(test::monte_carlo_seed());
  const double h = cusum_threshold(0.5, 1000);
  const auto simulate = [&](const CusumPlan& plan) {
    std::student_t_distribution<double> t(5);
    Cusum chart(plan);
    RunningMoments lengths;
    for (int run = 0; run < runs / 2; ++run) {
      chart.reset();
      double steps = 1;
      while (!chart.step(t(random))) {
        ++steps;
      }
      lengths.add(steps);
    }
    return lengths;
  };
  for (const Case& c : {Case{std::sqrt(5.0 / 3), 3}, Case{0.7267 * 1.4826, 2}}) {
    const RunningMoments clipped = simulate(CusumPlan::in_sigma(0, c.sigma, 0.5, h, Side::both, 0, c.clip));
    const RunningMoments plain = simulate(CusumPlan::in_sigma(0, c.sigma, 0.5, h));
    std::cout << "sigma " << c.sigma << " clip " << c.clip << ": wanted 1000, clipped " << clipped.mean()
              << ", plain " << plain.mean() << "\n";
    EXPECT_GT(clipped.mean(), 1000 - bound_in_errors * error_of(clipped));
    EXPECT_LT(plain.mean(), 600);
  }
}

// The EWMA's factor is exact for its spread; its run length then is no shorter either.
TEST(Ar1Ewma, TheFactorKeepsFalseAlarmsBelowTheWantedRate) {
  Normal normal(test::monte_carlo_seed());
  for (const double phi : {0.2, 0.4, 0.6}) {
    const RunningMoments with =
        run_lengths(normal, Ewma({0, ar1_ewma_sigma_factor(phi, 0.1), 0.1, 2.7, true}), 0, phi);
    std::cout << "phi " << phi << ": wanted 369, with the factor " << with.mean() << "\n";
    EXPECT_GT(with.mean(), 369) << "phi " << phi;
  }
}

}  // namespace
}  // namespace baskwell::heat
