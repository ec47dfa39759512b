// The common moment of several places, against step responses made here by small time steps, not by the
// code's own formula.
#include "core/heat/common_change.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

namespace baskwell::heat {
namespace {

constexpr std::uint64_t seed = 20261125;  // fixed: how often it may be wrong is part of what is tested

struct Place {
  double element_lag_s, probe_lag_s, place_lag_s;
  double before_degc, change_k;
  double noise_k;
};

// What a probe shows every `interval_s` from -40 to +40 minutes around a change of heat at 0.
std::vector<TimedValue> readings_of(const Place& place, double interval_s, std::mt19937_64& random) {
  std::normal_distribution<double> noise(0, place.noise_k);
  std::uniform_real_distribution<double> phase(0, interval_s);
  double next_s = -2400 + phase(random);
  double element = 0, air = 0, probe = 0;
  std::vector<TimedValue> values;
  for (int second = -2400; second < 2400; ++second) {
    const double t_s = second;
    if (t_s >= 0) {
      element += (1 - element) / place.element_lag_s;
      air += (element - air) / place.place_lag_s;
      probe += (air - probe) / place.probe_lag_s;
    }
    if (t_s < next_s) continue;
    values.push_back(
        {t_s, std::round((place.before_degc + place.change_k * probe + noise(random)) * 10) / 10});
    next_s += interval_s;
  }
  return values;
}

TEST(CommonChange, FindsWhenHeatWentWithinTwoReadings) {
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> element(20, 480), probe(30, 120), room(800, 7000);
  int right = 0;
  constexpr int runs = 20;
  for (int run = 0; run < runs; ++run) {
    std::vector<std::vector<TimedValue>> places;
    places.reserve(5);
    for (int i = 0; i < 5; ++i)
      places.push_back(
          readings_of({element(random), probe(random), room(random), 31, -14, 0.05}, 30, random));
    const CommonChange change = find_common_change(places, -900, 600, 30, Bend::downwards);
    ASSERT_TRUE(change.found);
    EXPECT_EQ(change.places, 5U);
    EXPECT_LT(std::abs(change.at_s), 120) << run;
    right += std::abs(change.at_s) <= 60 ? 1 : 0;
  }
  EXPECT_GE(right, runs - 2);
}

TEST(CommonChange, FindsWhenHeatCameBack) {
  std::mt19937_64 random(seed);
  std::vector<std::vector<TimedValue>> places;
  for (const double lag : {30.0, 200.0, 420.0})
    places.push_back(readings_of({lag, 60, 2000, 22, 25, 0.05}, 30, random));
  const CommonChange change = find_common_change(places, -800, 300, 30, Bend::upwards);
  ASSERT_TRUE(change.found);
  EXPECT_LT(std::abs(change.at_s), 60);
  EXPECT_GE(change.agree, 2U);
}

TEST(CommonChange, OnOffPlacesThatWereOffBeforeDoNotMoveIt) {
  std::mt19937_64 random(seed);
  std::vector<std::vector<TimedValue>> places;
  places.reserve(5);
  for (int i = 0; i < 3; ++i) places.push_back(readings_of({100, 60, 2500, 31, -14, 0.05}, 30, random));
  for (const double off_since_s : {-840.0, -420.0}) {
    auto other = readings_of({100, 60, 2500, 31, -14, 0.05}, 30, random);
    for (TimedValue& one : other) one.at_s += off_since_s;
    places.push_back(other);
  }
  const CommonChange change = find_common_change(places, -900, 600, 30, Bend::downwards);
  ASSERT_TRUE(change.found);
  EXPECT_LT(std::abs(change.at_s), 60);
}

TEST(CommonChange, NothingBendsTheWrongWay) {
  std::mt19937_64 random(seed);
  std::vector<std::vector<TimedValue>> places{readings_of({100, 60, 2000, 22, 25, 0.0}, 30, random)};
  for (TimedValue& one : places[0]) one.degc = 20 + one.at_s * one.at_s * 1e-6;  // bends upwards everywhere
  EXPECT_FALSE(find_common_change(places, -600, 600, 30, Bend::downwards).found);
  EXPECT_FALSE(find_common_change({}, -600, 600, 30, Bend::downwards).found);
  EXPECT_FALSE(find_common_change({{}, {{0, 20}, {30, 20}}}, -600, 600, 30, Bend::upwards).found);
}

}  // namespace
}  // namespace baskwell::heat
