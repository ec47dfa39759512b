// Measured air of an office without enclosures (Candanedo & Feldheim 2016, Energy and Buildings 112:28-39,
// UCI 357, CC BY 4.0), read where it lies: no fault of a heating may be invented, and one that is laid over a
// simulated enclosure in that air is found. Local time of Mons, February: UTC+1.

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <fstream>
#include <string>
#include <vector>

#include "core/heat/heat_watch.h"
#include "heat/heated_box.h"
#include "room_builder.h"

namespace baskwell {
namespace {

using enum AlarmKind;

struct Air {
  UtcMs at;
  double degc;
};

std::vector<Air> read_office(const std::string& name) {
  std::vector<Air> series;
  std::ifstream in(std::string(BASKWELL_SHARED_DATA_DIR) + "/" + name + ".csv");
  for (std::string line; std::getline(in, line);) {
    const std::size_t comma = line.find(',');
    if (line.starts_with("#") || line.starts_with("local_time") || comma == std::string::npos) continue;
    const auto at = utc_from_rfc3339(line.substr(0, comma) + "+01:00");
    if (at) series.push_back({*at, std::stod(line.substr(comma + 1))});
  }
  return series;
}

class Office : public testing::TestWithParam<const char*> {
 protected:
  void SetUp() override {
    air = read_office(GetParam());
    if (air.empty()) GTEST_SKIP() << GetParam() << ".csv is not there: skipped";
    ASSERT_GT(air.size(), 2000U);
  }

  // With a heater in the settings or without one.
  void build(bool heater) {
    builder.room.clock = {{{UtcMs{0}, 3600}}};
    enclosure = builder.enclosure("shelf-1");
    builder.animal("asha", test::royal_python(), enclosure);
    hot = builder.probe("hot-probe", enclosure, Zone::hot);
    room_probe = builder.probe("room-probe", none, Zone::room);
    if (heater) {
      Heater mat;
      mat.id = "mat-1";
      mat.enclosures = {enclosure};
      builder.room.heaters.push_back(mat);
      Thermostat thermostat;
      thermostat.id = "thermostat-1";
      thermostat.heaters = {0};
      thermostat.probe_enclosure = enclosure;
      builder.room.thermostats.push_back(thermostat);
    }
    room = builder.done();
    watch = std::make_unique<heat::HeatWatch>(*room);
  }

  void hear(Index channel, const SpotKey& spot, double degc, UtcMs at) {
    std::vector<heat::Fact> news;
    watch->reading(channel, spot, degc, at, segment_at(*room, spot, at).at(at), news);
    for (const heat::Fact& one : news) {
      const AlarmKind kind = watch->points()[one.point].kind;
      if (!one.present || kind == room_cold || kind == room_hot) continue;
      found.push_back({at, kind});
      text += rfc3339(at) + " " + std::string(row_of(kind).name) + " " + one.detail + "\n";
    }
  }
  void hear_room(double degc, UtcMs at) {
    hear(room_probe, {none, Zone::room, Medium::air, Quantity::temperature}, degc, at);
  }
  void hear_hot(double degc, UtcMs at) {
    hear(hot, {enclosure, Zone::hot, Medium::air, Quantity::temperature}, degc, at);
  }

  // A simulated enclosure in the measured air; from `fault_from` on its heater is off.
  void run_heated(UtcMs fault_from) {
    test::BoxPlan plan;
    plan.room_degc = 0;
    plan.room_daily_k = 0;
    test::HeatedBox box(plan, room->clock, air.front().at);
    box.room_off_k = air.front().degc;
    for (const Air& one : air) {
      box.heater_off = one.at >= fault_from;
      box.room_off_k = one.degc;
      box.run_to(one.at);
      hear_room(one.degc, one.at);
      hear_hot(box.read_hot(), one.at);
    }
  }

  struct Found {
    UtcMs at;
    AlarmKind kind;
  };
  std::vector<Air> air;
  test::RoomBuilder builder;
  Index enclosure = none, hot = none, room_probe = none;
  std::shared_ptr<const Room> room;
  std::unique_ptr<heat::HeatWatch> watch;
  std::vector<Found> found;
  std::string text;
};

TEST_P(Office, WithoutAHeaterNothingIsInvented) {
  build(false);
  for (const Air& one : air) {
    hear_room(one.degc, one.at);
    hear_hot(one.degc, one.at);
  }
  EXPECT_TRUE(found.empty()) << text;
}

// The settings say that something heats, the probe only ever knew the room's air: it is as it always was.
TEST_P(Office, TheRoomsOwnAirIsNoFailingHeater) {
  build(true);
  for (const Air& one : air) {
    hear_room(one.degc, one.at);
    hear_hot(one.degc, one.at);
  }
  EXPECT_TRUE(found.empty()) << text;
}

TEST_P(Office, AHealthyEnclosureInItIsLeftInPeace) {
  build(true);
  run_heated(UtcMs{INT64_MAX});
  EXPECT_TRUE(found.empty()) << text;
}

TEST_P(Office, ADeadHeaterInItIsFound) {
  build(true);
  // Three days must have been learned by then, and one is to spare.
  const UtcMs end = air.back().at;
  const UtcMs fault = end - 18 * hour_ms;
  if (fault - air.front().at < 4 * day_ms)
    GTEST_SKIP() << "only " << (end - air.front().at) / hour_ms << " h long: too short to learn from";
  run_heated(fault);
  ASSERT_FALSE(found.empty());
  EXPECT_EQ(found.front().kind, not_heating) << text;
  EXPECT_GE(found.front().at, fault) << text;
  EXPECT_LE(found.front().at - fault, 45 * minute_ms) << text;
}

INSTANTIATE_TEST_SUITE_P(Measured, Office,
                         testing::Values("occupancy-datatraining", "occupancy-datatest",
                                         "occupancy-datatest2"),
                         [](const auto& one) {
                           std::string name = one.param;
                           return name.substr(name.find('-') + 1);
                         });

}  // namespace
}  // namespace baskwell
