// Faults that are found within minutes, on a small enclosure by hand, against the closed form of its cooling:
// theta(t) = room + (start - room) exp(-t/tau) (reference values section 8).

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "heat/watched_box.h"

namespace baskwell {
namespace {

using test::BoxPlan;
using test::WatchedBox;
using testing::HasSubstr;
using enum AlarmKind;

// "by about HH:MM" as minutes of the day; -1: no such words.
int forecast_minute(const std::string& detail) {
  const std::string words = "by about ";
  const std::size_t at = detail.find(words);
  if (at == std::string::npos || detail.size() < at + words.size() + 5) return -1;
  const std::string clock = detail.substr(at + words.size(), 5);
  return std::stoi(clock.substr(0, 2)) * 60 + std::stoi(clock.substr(3, 2));
}

TEST(HeatWatchFast, TwentyHealthyDaysSayNothing) {
  WatchedBox one;
  one.run_for(20 * day_ms);
  EXPECT_TRUE(one.quiet()) << one.all();
  const auto belief = one.watch->belief(one.enclosure, one.box->now());
  ASSERT_TRUE(belief.has_value());
  EXPECT_TRUE(belief->judged);
  EXPECT_NEAR(belief->day.level_degc, 31.5, 0.3);
  EXPECT_NEAR(belief->night.level_degc, 27.0, 0.3);
}

TEST(HeatWatchFast, ADeadHeaterIsFoundOnceAndByItsName) {
  WatchedBox one = WatchedBox::learned();
  one.run_to_local(13);
  ASSERT_TRUE(one.quiet()) << one.all();
  one.box->heater_off = true;
  const UtcMs off = one.box->now();
  one.run_for(2 * hour_ms);
  const test::SeenFact* found = one.first(not_heating);
  ASSERT_NE(found, nullptr) << one.all();
  EXPECT_LE(found->at - off, 25 * minute_ms) << one.all();
  EXPECT_EQ(found->subject, "shelf-1/heating");
  // The harm limit of 20 degC is below the room: it cannot be reached, so it is no more than `medium`.
  EXPECT_FALSE(found->fact.harm_near);
  EXPECT_THAT(found->fact.detail, HasSubstr("Confidence"));
  EXPECT_EQ(one.told(not_heating), 1) << one.all();
  EXPECT_EQ(one.told(heating_stuck_on) + one.told(probe_moved) + one.told(room_cold), 0) << one.all();
  // Cold it stays what it was: nothing is kept there.
  one.run_for(10 * hour_ms);
  EXPECT_TRUE(one.holds(not_heating)) << one.all();
  EXPECT_EQ(one.told(thermostat_reset) + one.told(heating_weak) + one.told(thermostat_probe_moved), 0)
      << one.all();
}

// The night band ends at 22 degC and 27 is kept: it is told while nobody is cold yet, and weighs no more than
// `medium`.
TEST(HeatWatchFast, ADeadHeaterIsFoundWithinItsBand) {
  WatchedBox one = WatchedBox::learned();
  one.run_to_local(23);
  ASSERT_TRUE(one.quiet()) << one.all();
  one.box->heater_off = true;
  one.run_for(2 * hour_ms);
  const test::SeenFact* found = one.first(not_heating);
  ASSERT_NE(found, nullptr) << one.all();
  EXPECT_GT(found->fact.value, 22.0) << one.all();
  EXPECT_FALSE(found->fact.harm_near) << one.all();
  // Towards a room of 21 degC it reaches 22 after 50 ln((v - 21) / (22 - 21)) minutes.
  EXPECT_THAT(found->fact.detail, HasSubstr("22.0 °C by about "));
  const double closed_min = 50.0 * std::log((found->fact.value - one.box->room_degc()) / 1.5);
  const int ahead =
      (forecast_minute(found->fact.detail) - local_minute(one.room->clock, found->at) + 1440) % 1440;
  EXPECT_GT(ahead, 0.5 * closed_min) << found->fact.detail;
}

// In a cold room the harm limit is ahead: its time is forecast, and the fault weighs more as it nears.
TEST(HeatWatchFast, TheForecastMeetsTheClosedForm) {
  BoxPlan plan;
  plan.room_degc = 15;
  plan.room_daily_k = 0;
  plan.gain_k = 28;
  plan.tau_min = 120;
  WatchedBox one = WatchedBox::learned(plan);
  one.run_to_local(13);
  ASSERT_TRUE(one.quiet()) << one.all();
  one.box->heater_off = true;
  one.run_for(4 * hour_ms);
  const test::SeenFact* found = one.first(not_heating);
  ASSERT_NE(found, nullptr) << one.all();
  const double now = found->fact.value;
  const bool in_band = now > 30.0;
  const double limit = in_band ? 30.0 : 20.0;
  EXPECT_THAT(found->fact.detail, HasSubstr(in_band ? "30" : "20"));
  EXPECT_THAT(found->fact.detail, HasSubstr("if nothing changes."));
  const double closed_min = plan.tau_min * std::log((now - 15.0) / (limit - 15.0));
  const int told = forecast_minute(found->fact.detail);
  const double at = local_minute(one.room->clock, found->at);
  EXPECT_NEAR(told, at + closed_min, std::max(3.0, 0.15 * closed_min)) << found->fact.detail;
  EXPECT_FALSE(found->fact.harm_near) << found->fact.detail;  // more than an hour ahead
  const test::SeenFact& last = one.facts.back();
  EXPECT_EQ(last.kind, not_heating) << one.all();
  EXPECT_TRUE(last.fact.harm_near) << one.all();
  // An hour ahead of the limit, give or take what the forecast may miss by.
  const double from_now_min = static_cast<double>(last.at - found->at) / minute_ms;
  const double harm_min = plan.tau_min * std::log((now - 15.0) / (20.0 - 15.0));
  EXPECT_NEAR(harm_min - from_now_min, 60.0, 15.0) << one.all();
}

TEST(HeatWatchFast, AStuckRelayIsFoundAndHarmIsNearBeforeItsLimit) {
  BoxPlan plan;
  plan.gain_k = 26;
  WatchedBox one = WatchedBox::learned(plan);
  one.run_to_local(13);
  ASSERT_TRUE(one.quiet()) << one.all();
  one.box->stuck_on = true;
  const UtcMs stuck = one.box->now();
  one.run_for(2 * hour_ms);
  const test::SeenFact* found = one.first(heating_stuck_on);
  ASSERT_NE(found, nullptr) << one.all();
  EXPECT_LE(found->at - stuck, 30 * minute_ms) << one.all();
  EXPECT_LT(found->fact.value, 36.0) << one.all();  // the harm limit
  bool near_in_time = false;
  for (const test::SeenFact& seen : one.facts)
    near_in_time |= seen.kind == heating_stuck_on && seen.fact.harm_near && seen.fact.value < 36.0;
  EXPECT_TRUE(near_in_time) << one.all();
  EXPECT_EQ(one.told(not_heating), 0) << one.all();
}

TEST(HeatWatchFast, AHeaterThatComesBackEndsIt) {
  WatchedBox one = WatchedBox::learned();
  one.run_to_local(13);
  one.box->heater_off = true;
  one.run_for(90 * minute_ms);
  ASSERT_TRUE(one.holds(not_heating)) << one.all();
  one.box->heater_off = false;
  one.run_for(4 * hour_ms);
  EXPECT_FALSE(one.holds(not_heating)) << one.all();
  EXPECT_EQ(one.told(heating_stuck_on), 0) << one.all();
  EXPECT_EQ(one.told(thermostat_reset), 0) << one.all();
}

TEST(HeatWatchFast, ReadingsEveryTenSecondsAndEveryFiveMinutesFindItToo) {
  for (const int every_s : {10, 300}) {
    SCOPED_TRACE(every_s);
    WatchedBox one = WatchedBox::learned({}, 7, every_s);
    one.run_to_local(13);
    ASSERT_TRUE(one.quiet()) << one.all();
    one.box->heater_off = true;
    const UtcMs off = one.box->now();
    one.run_for(90 * minute_ms);
    const test::SeenFact* found = one.first(not_heating);
    ASSERT_NE(found, nullptr) << one.all();
    EXPECT_LE(found->at - off, 45 * minute_ms) << one.all();
  }
}

// ---- one thermostat, four tubs

TEST(HeatWatchRack, IsJudgedAsOneAndItsUnprobedTubsAreListed) {
  test::RoomBuilder builder;
  std::vector<Index> tubs;
  std::vector<Index> probes;
  tubs.reserve(4);
  for (int i = 1; i <= 4; ++i) {
    tubs.push_back(builder.enclosure("tub-" + std::to_string(i)));
    builder.animal("animal-" + std::to_string(i), test::royal_python(), tubs.back());
  }
  probes.reserve(2);
  for (int i = 0; i < 2; ++i)
    probes.push_back(
        builder.probe("probe-" + std::to_string(i + 1), tubs[static_cast<std::size_t>(i)], Zone::hot));
  Heater cable;
  cable.id = "cable";
  cable.enclosures = tubs;
  builder.room.heaters.push_back(cable);
  Thermostat thermostat;
  thermostat.id = "rack-thermostat";
  thermostat.heaters = {0};
  thermostat.probe_enclosure = tubs[0];
  builder.room.thermostats.push_back(thermostat);
  const auto room = builder.done();
  heat::HeatWatch watch(*room);
  test::HeatedBox box({}, room->clock, test::utc("2026-06-01T00:00:00Z"));
  std::vector<heat::Fact> facts;
  const auto run_for = [&](std::int64_t ms) {
    for (const UtcMs end = box.now() + ms; box.now() < end;) {
      box.run_to(box.now() + 2 * minute_ms);
      for (std::size_t i = 0; i < probes.size(); ++i) {
        const SpotKey spot{tubs[i], Zone::hot, Medium::air, Quantity::temperature};
        // The second tub is a little cooler than the one the thermostat feels.
        const double degc = box.read_hot() - 0.5 * static_cast<double>(i);
        watch.reading(probes[i], spot, degc, box.now(), segment_at(*room, spot, box.now()).at(box.now()),
                      facts);
      }
    }
  };
  run_for(9 * day_ms + 12 * hour_ms);
  ASSERT_TRUE(facts.empty());
  box.heater_off = true;
  run_for(2 * hour_ms);
  ASSERT_EQ(facts.size(), 1U);
  const heat::Point& point = watch.points()[facts[0].point];
  EXPECT_EQ(point.kind, not_heating);
  EXPECT_EQ(point.subject, "rack-thermostat/heating");
  const auto belief = watch.belief(tubs[3], box.now());
  ASSERT_TRUE(belief.has_value());
  EXPECT_EQ(belief->unit, "rack-thermostat");
  EXPECT_THAT(belief->feeds, testing::ElementsAre("tub-1", "tub-2", "tub-3", "tub-4"));
  EXPECT_THAT(belief->unprobed, testing::ElementsAre("tub-3", "tub-4"));
  ASSERT_EQ(belief->evidence.size(), 1U);
  EXPECT_THAT(belief->evidence[0], HasSubstr("not-heating"));
}

}  // namespace
}  // namespace baskwell
