// What an instrument makes of the truth.
#include <gmock/gmock.h>

#include <cmath>
#include <limits>

#include "demoroom/payload.h"
#include "demoroom/probe.h"

namespace baskwell::demoroom {
namespace {

ProbeSpec exact(Step step) {
  ProbeSpec spec;
  spec.step = step;
  spec.noise = 0.0;
  return spec;
}

TEST(Probe, SixteenthsAreExact) {
  const ProbeSpec spec = exact(kSixteenth);
  Probe probe(spec, 25.09, 5.0, Rng(1));
  const ProbeValue read = probe.read();
  EXPECT_EQ(read.steps, 401);  // 25.0625
  EXPECT_EQ(read.value, 25.0625);
  EXPECT_EQ(value_text(spec, read), "25.0625");
}

TEST(Probe, EveryReadingIsAWholeNumberOfSteps) {
  ProbeSpec spec = exact(kSixteenth);
  spec.noise = 0.7;
  Probe probe(spec, 24.0, 5.0, Rng(2));
  bool moved = false;
  for (int i = 0; i < 2000; ++i) {
    const ProbeValue read = probe.read();
    EXPECT_EQ(read.value * 16.0, static_cast<double>(read.steps));
    moved = moved || read.steps != std::int64_t{384};
  }
  EXPECT_TRUE(moved);
}

TEST(Probe, TenthsPrintAsTenths) {
  const ProbeSpec spec = exact(kTenth);
  Probe probe(spec, 31.44, 5.0, Rng(1));
  const ProbeValue read = probe.read();
  EXPECT_EQ(read.steps, 314);
  EXPECT_EQ(read.value, 31.4);  // the double nearest to 31.4
  EXPECT_EQ(value_text(spec, read), "31.4");
}

TEST(Probe, FahrenheitStepsAreTenthsOfAFahrenheitDegree) {
  ProbeSpec spec = exact(kTenth);
  spec.unit = Unit::degf;
  Probe probe(spec, 30.0, 5.0, Rng(1));
  EXPECT_EQ(value_text(spec, probe.read()), "86.0");
}

TEST(Probe, NoiseHasTheDeclaredSpread) {
  ProbeSpec spec = exact({1, 10000, 4});
  spec.noise = 0.2;
  Probe probe(spec, 30.0, 5.0, Rng(3));
  double sum = 0.0;
  double squares = 0.0;
  constexpr int kReadings = 20000;
  for (int i = 0; i < kReadings; ++i) {
    const double off = probe.read().value - 30.0;
    sum += off;
    squares += off * off;
  }
  // Five standard errors either side.
  EXPECT_NEAR(sum / kReadings, 0.0, 5.0 * 0.2 / std::sqrt(kReadings));
  EXPECT_NEAR(std::sqrt(squares / kReadings), 0.2, 5.0 * 0.2 / std::sqrt(2.0 * kReadings));
}

TEST(Probe, LagsBehindAStepByItsTimeConstant) {
  ProbeSpec spec = exact(kSixteenth);
  spec.lag_s = 60.0;
  Probe probe(spec, 20.0, 5.0, Rng(1));
  for (int i = 0; i < 12; ++i) probe.step(30.0);
  EXPECT_NEAR(probe.felt(), 20.0 + 10.0 * (1.0 - std::exp(-1.0)), 1e-9);
}

TEST(Probe, FaultsShowAsTheirDeclaredValues) {
  const ProbeSpec spec = exact(kTenth);
  Probe probe(spec, 30.0, 5.0, Rng(1));
  EXPECT_EQ(value_text(spec, probe.read()), "30.0");
  probe.faults.frozen = true;
  for (int i = 0; i < 1000; ++i) probe.step(40.0);
  EXPECT_EQ(value_text(spec, probe.read()), "30.0");
  probe.faults.frozen = false;
  EXPECT_EQ(value_text(spec, probe.read()), "40.0");
  probe.faults.bad_value = 85.0;
  EXPECT_EQ(value_text(spec, probe.read()), "85.0");
  probe.faults.bad_value = -127.0;
  EXPECT_EQ(value_text(spec, probe.read()), "-127.0");
  probe.faults.bad_value = std::numeric_limits<double>::quiet_NaN();
  EXPECT_EQ(probe.read().kind, ValueKind::not_a_number);
  EXPECT_EQ(value_text(spec, probe.read()), "nan");
  probe.faults.dead = true;
  EXPECT_EQ(probe.read().kind, ValueKind::missing);
}

TEST(Rng, SameSeedSameNumbersAndStreamsAreApart) {
  Rng one(42);
  Rng two(42);
  for (int i = 0; i < 100; ++i) EXPECT_EQ(one.next(), two.next());
  Rng left = Rng(42).fork("probe 1");
  Rng right = Rng(42).fork("probe 2");
  EXPECT_NE(left.next(), right.next());
}

TEST(Rng, FirstNumbersOfSeedZeroArePinned) {
  // Published first outputs of splitmix64 for seed 0, from memory.
  Rng rng(0);
  EXPECT_EQ(rng.next(), 0xE220A8397B1DCDAFULL);
  EXPECT_EQ(rng.next(), 0x6E789E6AA1B965F4ULL);
}

}  // namespace
}  // namespace baskwell::demoroom
