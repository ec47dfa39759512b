// What was added for the evaluation: fallen-out probes, a turned knob, cleaning, mixed air, longer pulses and
// instruments fed by a circuit.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "demoroom/scenario_demo.h"
#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

constexpr std::int64_t kMinute_ms = 60'000;
constexpr std::int64_t kHour_ms = 60 * kMinute_ms;
constexpr std::size_t kShelf1 = 0;
constexpr std::size_t kShelf2 = 1;

std::int64_t noon() {
  return parse_rfc3339_ms("2026-11-20T12:00:00Z").value();
}

DemoRoom settled_room(RoomSpec spec = demo_scenario()) {
  DemoRoom room(std::move(spec), 7, noon() - 48 * kHour_ms, 0);
  room.run_until(noon(), {});
  return room;
}

void tell(DemoRoom& room, const char* line) {
  const Result<std::string> done = room.command(line);
  ASSERT_TRUE(done.ok()) << line << ": " << done.error().text;
}

double hot_degc(const DemoRoom& room, std::size_t enclosure) {
  return room.enclosures()[enclosure].at_degc(Place::hot_surface);
}

TEST(Keeper, ThermostatProbeOutInTheRoomOverheats) {
  DemoRoom room = settled_room();
  DemoRoom twin = room;
  tell(room, "thermostat-probe-fell-out shelf-1");
  for (DemoRoom* one : {&room, &twin}) one->run_until(noon() + 3 * kHour_ms, {});
  EXPECT_GT(hot_degc(room, kShelf1), hot_degc(twin, kShelf1) + 3.0);
}

TEST(Keeper, LoggingProbeOutInTheRoomReadsTheRoom) {
  DemoRoom room = settled_room();
  tell(room, "probe-fell-out shelf-1/hot");
  double last_degc = 0;
  room.run_until(noon() + kHour_ms, [&](const Report& report) {
    for (const Report::Value& value : report.values) {
      const ProbeSpec& probe = room.spec().probes[static_cast<std::size_t>(value.probe)];
      if (probe.enclosure == 0 && probe.zone == Zone::hot) last_degc = value.read.value;
    }
  });
  EXPECT_NEAR(last_degc, room.room_air().air_degc(), 0.5);
  EXPECT_GT(hot_degc(room, kShelf1), last_degc + 5.0);
}

TEST(Keeper, TurnedKnobMovesTheKeptTemperature) {
  DemoRoom room = settled_room();
  DemoRoom twin = room;
  tell(room, "thermostat-set shelf-2 -2");
  for (DemoRoom* one : {&room, &twin}) one->run_until(noon() + 5 * kHour_ms, {});
  const double moved_k =
      room.enclosures()[kShelf2].at_degc(Place::hot_air) - twin.enclosures()[kShelf2].at_degc(Place::hot_air);
  EXPECT_NEAR(moved_k, -2.0, 0.4);
}

TEST(Keeper, CleaningOpensTheDoorAndCoolsTheFloor) {
  DemoRoom room = settled_room();
  DemoRoom twin = room;
  tell(room, "cleaning shelf-2");
  room.run_until(noon() + 25 * kMinute_ms, {});
  twin.run_until(noon() + 25 * kMinute_ms, {});
  EXPECT_LT(room.enclosures()[kShelf2].mean_air_degc(), twin.enclosures()[kShelf2].mean_air_degc() - 1.0);
  EXPECT_LT(room.enclosures()[kShelf2].nodes().substrate_degc,
            twin.enclosures()[kShelf2].nodes().substrate_degc - 0.5);
  ASSERT_EQ(room.truth().size(), 1u);
  room.run_until(noon() + 31 * kMinute_ms, {});
  ASSERT_EQ(room.truth().size(), 2u);
  EXPECT_FALSE(room.truth()[1].begins);
}

TEST(Keeper, MixedAirTakesTheGradientAndGivesItBack) {
  DemoRoom room = settled_room();
  const auto gradient_k = [&] {
    const Enclosure& one = room.enclosures()[kShelf2];
    return one.at_degc(Place::hot_air) - one.at_degc(Place::cool_air);
  };
  const double before_k = gradient_k();
  tell(room, "air-mixed shelf-2 20");
  room.run_until(noon() + 3 * kHour_ms, {});
  EXPECT_LT(gradient_k(), 0.5 * before_k);
  tell(room, "clear shelf-2");
  room.run_until(noon() + 6 * kHour_ms, {});
  EXPECT_NEAR(gradient_k(), before_k, 0.3 * before_k);
}

TEST(Keeper, LongerPulsesRippleMoreAndKeepTheSameMean) {
  const auto mean_and_ripple = [](double pulse_s) {
    RoomSpec spec = demo_scenario();
    spec.thermostats[1].pulse_s = pulse_s;
    DemoRoom room = settled_room(std::move(spec));
    double sum = 0;
    double heater_low = 1e9;
    double heater_high = -1e9;
    constexpr int kSteps = 720;
    for (int i = 0; i < kSteps; ++i) {
      room.run_until(room.now_ms() + kStep_s * 1000, {});
      sum += room.enclosures()[kShelf2].at_degc(Place::hot_air);
      const double heater = room.enclosures()[kShelf2].nodes().heater_degc;
      heater_low = std::min(heater_low, heater);
      heater_high = std::max(heater_high, heater);
    }
    return std::pair{sum / kSteps, heater_high - heater_low};
  };
  const auto [short_mean, short_ripple] = mean_and_ripple(0.0);
  const auto [long_mean, long_ripple] = mean_and_ripple(60.0);
  EXPECT_NEAR(short_mean, long_mean, 0.3);
  EXPECT_GT(long_ripple, 2.0 * short_ripple);
}

TEST(Keeper, InstrumentOnACutCircuitIsSilent) {
  RoomSpec spec = demo_scenario();
  spec.instruments[0].circuit = 1;
  DemoRoom room = settled_room(std::move(spec));
  tell(room, "power-cut lamp-circuit 60");
  int heard = 0;
  int others = 0;
  room.run_until(noon() + 50 * kMinute_ms, [&](const Report& report) {
    if (report.lost) return;
    (report.instrument == 0 ? heard : others)++;
  });
  EXPECT_EQ(heard, 0);
  EXPECT_GT(others, 100);
  room.run_until(noon() + 70 * kMinute_ms, [&](const Report& report) {
    if (!report.lost && report.instrument == 0) ++heard;
  });
  EXPECT_GT(heard, 10);
}

}  // namespace
}  // namespace baskwell::demoroom
