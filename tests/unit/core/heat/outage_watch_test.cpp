// Outages from hand-made streams of events: what was away, from when to when, told apart by what shows it.
#include "core/heat/outage_watch.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <sstream>

#include "core/moment.h"
#include "room_builder.h"

namespace baskwell::heat {
namespace {

using test::utc;

constexpr std::int64_t interval_ms = 30 * second_ms;
constexpr double warm_degc = 31;

// Four enclosures: 0 and 1 heated from the circuit "left", 2 and 3 from "right"; a light probe in each; the
// room's air at 20.
class Stage {
 public:
  explicit Stage(std::string_view start = "2026-11-10T06:00:00Z") : now{utc(start), ElapsedMs{50 * hour_ms}} {
    builder.room.circuits = {{"left", "Left"}, {"right", "Right"}};
    for (int i = 0; i < 4; ++i) {
      const std::string number = std::to_string(i);
      const Index enclosure = builder.enclosure("cage-" + number);
      hot.push_back(builder.probe("hot-" + number, enclosure, Zone::hot));
      light.push_back(builder.probe("light-" + number, enclosure, Zone::middle, Quantity::light));
      const Index circuit = i < 2 ? 0 : 1;
      Heater heater;
      heater.id = heater.name = "heater-" + number;
      heater.enclosures = {enclosure};
      heater.circuit = circuit;
      builder.room.heaters.push_back(heater);
      builder.room.lamps.push_back({"lamp-" + number, "lamp", "led", {enclosure}, circuit});
    }
    air = builder.probe("air", none, Zone::room);
    room = builder.done();
    watch = std::make_unique<OutageWatch>(*room);
    degc.fill(warm_degc);
    powered.fill(true);
  }

  // What the probes show and what the heat watch makes of it, for so long.
  void run(std::int64_t for_ms) {
    for (std::int64_t passed = 0; passed < for_ms; passed += interval_ms) {
      now = {now.utc + interval_ms, now.elapsed + interval_ms};
      true_ms += interval_ms;
      live();
      if (!heard) continue;
      for (std::size_t i = 0; i < 4; ++i) {
        if (silent[i]) continue;
        watch->heard(hot[i], degc[i] + (flicker ? 0.02 : 0), now);
        watch->heard(light[i], lit(i) ? 900 : 4, now);
      }
      watch->heard(air, 20, now);
      flicker = !flicker;
      if (passed % minute_ms == 0) judge();
    }
  }

  void judge() {
    for (Index i = 0; i < 4; ++i) {
      UnitCourse course;
      course.judged = judged;
      course.below = degc[i] < warm_degc - 1.5;
      course.falls_since =
          UtcMs{fell_true_ms[i] == INT64_MIN ? INT64_MIN : now.utc.ms - (true_ms - fell_true_ms[i])};
      course.fell_from_degc = warm_degc;
      course.at = now.utc;
      course.degc = degc[i];
      course.expected_degc = warm_degc;
      course.warming_k_per_h = powered[i] && degc[i] < warm_degc - 0.1 ? 12 : 0;
      course.usual_warming_k_per_h = 12;
      watch->unit(i, course);
      watch->enclosure(i, {judged, degc[i], warm_degc, -0.8, warm_degc, warm_degc - 0.5, 0.5});
    }
    OutageNews one;
    watch->judge(now, one);
    for (OutageRecord& record : one.changed) newest = record;
    news += one.changed.size();
    for (OutageRecord& record : one.to_tell) told.push_back(record);
    ended.insert(ended.end(), one.ended.begin(), one.ended.end());
  }

  void cut(std::initializer_list<std::size_t> places) {
    for (const std::size_t i : places) {
      powered[i] = false;
      fell_true_ms[i] = true_ms;
    }
  }
  void power_back() { powered.fill(true); }

  // A machine that starts anew with this elapsed clock and this wall clock.
  void restart(Stamp at, bool new_boot, UtcMs saved_at) {
    std::string saved;
    watch->save(saved);
    watch = std::make_unique<OutageWatch>(*room);
    std::istringstream lines(saved);
    for (std::string line; std::getline(lines, line);) {
      ASSERT_EQ(line.substr(0, 7), "outage ");
      EXPECT_TRUE(watch->load(std::string_view(line).substr(7), !new_boot)) << line;
    }
    now = at;
    watch->service_away(saved_at, now, new_boot);
  }

  test::RoomBuilder builder;
  std::shared_ptr<const Room> room;
  std::unique_ptr<OutageWatch> watch;
  std::vector<Index> hot, light;
  Index air = none;
  Stamp now;
  std::int64_t true_ms = 0;  // what really passed
  std::array<double, 4> degc{};
  std::array<bool, 4> powered{};
  std::array<bool, 4> silent{};
  std::array<std::int64_t, 4> fell_true_ms{INT64_MIN, INT64_MIN, INT64_MIN, INT64_MIN};
  bool heard = true, judged = true, flicker = false;
  std::int64_t timer_late_ms = 0;
  std::int64_t local_ms = 6 * hour_ms;  // of the day, when it starts
  OutageRecord newest;
  std::size_t news = 0;
  std::vector<OutageRecord> told;
  std::vector<OutageNews::Ended> ended;

 private:
  void live() {
    for (std::size_t i = 0; i < 4; ++i) {
      const double hours = static_cast<double>(interval_ms) / hour_ms;
      if (!powered[i]) degc[i] += (20 - degc[i]) * hours / 1.0;
      if (powered[i]) degc[i] = std::min(warm_degc, degc[i] + 12 * hours);
    }
  }
  [[nodiscard]] bool lit(std::size_t i) const {
    const std::int64_t of_day = (local_ms + true_ms - timer_late_ms) % day_ms;
    return powered[i] && of_day >= 8 * hour_ms && of_day < 20 * hour_ms;
  }
};

void expect_near(UtcMs is, std::string_view should, std::int64_t within_ms) {
  EXPECT_LE(std::abs(is - utc(should)), within_ms) << rfc3339(is) << " against " << should;
}

TEST(OutageWatch, MainsIsWhatTakesEveryCircuit) {
  Stage stage;
  stage.run(28 * hour_ms);  // lights learned; ten in the morning
  EXPECT_EQ(stage.news, 0U);
  stage.cut({0, 1, 2, 3});
  stage.run(40 * minute_ms);
  EXPECT_EQ(stage.newest.stage, OutageStage::open);
  stage.power_back();
  stage.run(7 * hour_ms);
  const OutageRecord& found = stage.newest;
  EXPECT_EQ(found.id, "O1");
  EXPECT_EQ(found.kind, OutageKind::mains);
  EXPECT_FALSE(found.other.has_value());
  EXPECT_GE(found.confidence, 0.9);
  expect_near(found.from, "2026-11-11T10:00:00Z", interval_ms);
  ASSERT_TRUE(found.to.has_value());
  expect_near(*found.to, "2026-11-11T10:40:00Z", interval_ms);
  EXPECT_EQ(found.stage, OutageStage::settled);
  ASSERT_EQ(found.lines.size(), 4U);
  for (const OutageLine& line : found.lines) {
    EXPECT_TRUE(line.fell) << line.enclosure;
    EXPECT_NEAR(line.fell_k, 11 * (1 - std::exp(-40.0 / 60)), 0.3);
    ASSERT_TRUE(line.back_at.has_value());
    EXPECT_FALSE(line.look) << line.words;
    EXPECT_NEAR(line.usual_min, line.fell_k / 12 * 60, 0.1);
    EXPECT_NEAR(line.shift_k, 0, 0.1);
  }
  ASSERT_EQ(stage.told.size(), 1U);
  EXPECT_EQ(stage.ended.size(), 4U);  // the heat watch hears of every unit
}

TEST(OutageWatch, OneCircuitIsNamedBecauseTheOtherHolds) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({2, 3});
  stage.run(50 * minute_ms);
  stage.power_back();
  stage.run(7 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::circuit);
  EXPECT_EQ(stage.newest.circuit, "right");
  EXPECT_GE(stage.newest.confidence, 0.9);
  ASSERT_EQ(stage.newest.lines.size(), 2U);  // the others were out of its reach
  EXPECT_EQ(stage.newest.lines[0].enclosure, "cage-2");
}

TEST(OutageWatch, OneHeaterAloneIsNoOutage) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({1});  // with its light: the plug of one cage
  stage.run(3 * hour_ms);
  EXPECT_EQ(stage.news, 0U);
}

TEST(OutageWatch, ATimerThatStoodStillIsSaidToTheMinute) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({0, 1, 2, 3});
  stage.run(37 * minute_ms);
  stage.power_back();
  stage.timer_late_ms = 37 * minute_ms;
  stage.run(8 * hour_ms);
  ASSERT_EQ(stage.told.size(), 1U);
  EXPECT_FALSE(stage.told[0].needs_look());
  stage.run(3 * hour_ms);  // past 20:37
  ASSERT_EQ(stage.told.size(), 2U);
  for (const OutageLine& line : stage.told[1].lines) {
    EXPECT_NEAR(line.lights_late_min, 37, 0.5);
    EXPECT_TRUE(line.look);
  }
  stage.run(24 * hour_ms);
  EXPECT_EQ(stage.newest.stage, OutageStage::closed);
  EXPECT_EQ(stage.told.size(), 2U);  // once each
}

TEST(OutageWatch, AThermostatThatFellBackIsToBeLookedAt) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({0, 1, 2, 3});
  stage.run(30 * minute_ms);
  stage.power_back();
  for (int i = 0; i < 7 * 120; ++i) {
    stage.degc[1] = std::min(stage.degc[1], warm_degc - 5);
    stage.run(interval_ms);
  }
  ASSERT_EQ(stage.told.size(), 1U);
  const OutageLine& line = stage.told[0].lines[1];
  EXPECT_TRUE(line.look);
  EXPECT_NE(line.words.find("has not come back"), std::string::npos) << line.words;
  EXPECT_FALSE(stage.told[0].lines[0].look);
}

TEST(OutageWatch, ABrokerThatRefusedIsTheBrokerAndNothingCooled) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.heard = false;
  stage.watch->broker(false, "connection refused", stage.now);
  stage.run(45 * minute_ms);
  stage.heard = true;
  stage.watch->broker(true, "", stage.now);
  stage.run(2 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::broker);
  EXPECT_FALSE(stage.newest.other.has_value());
  expect_near(stage.newest.from, "2026-11-11T10:00:00Z", 2 * interval_ms);
  expect_near(stage.newest.to.value_or(UtcMs{}), "2026-11-11T10:45:00Z", 2 * interval_ms);
  EXPECT_EQ(stage.newest.stage, OutageStage::settled);
  EXPECT_TRUE(stage.told.empty());  // for the record only
}

TEST(OutageWatch, AnUnreachableBrokerMayBeTheNetwork) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.heard = false;
  stage.watch->broker(false, "no route to host", stage.now);
  stage.run(30 * minute_ms);
  stage.heard = true;
  stage.watch->broker(true, "", stage.now);
  stage.run(2 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::broker);
  EXPECT_EQ(stage.newest.other, OutageKind::network);
}

TEST(OutageWatch, SilenceOfAllWhileTheBrokerIsThereIsTheNetwork) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.heard = false;
  stage.run(30 * minute_ms);
  stage.heard = true;
  stage.run(2 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::network);
  expect_near(stage.newest.from, "2026-11-11T10:00:00Z", 2 * interval_ms);
  expect_near(stage.newest.to.value_or(UtcMs{}), "2026-11-11T10:30:00Z", 2 * interval_ms);
}

TEST(OutageWatch, WhatCooledWhileNothingWasHeardWasTheMains) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.heard = false;
  stage.watch->broker(false, "connection refused", stage.now);
  stage.cut({0, 1, 2, 3});
  stage.run(45 * minute_ms);
  stage.heard = true;
  stage.power_back();
  stage.watch->broker(true, "", stage.now);
  stage.run(4 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::mains);
  EXPECT_TRUE(stage.newest.lines.at(0).fell);
  EXPECT_EQ(stage.told.size(), 1U);
}

TEST(OutageWatch, ThisServiceAwayIsSaidAsSuch) {
  Stage stage;
  stage.run(28 * hour_ms);
  const UtcMs ended = stage.now.utc;
  stage.restart({ended + 40 * minute_ms, stage.now.elapsed + 40 * minute_ms}, false, ended);
  stage.true_ms += 40 * minute_ms;
  stage.run(2 * hour_ms);
  EXPECT_EQ(stage.newest.kind, OutageKind::service);
  EXPECT_FALSE(stage.newest.other.has_value());
  EXPECT_EQ(stage.newest.from, ended);
  EXPECT_EQ(stage.newest.to, ended + 40 * minute_ms);
  EXPECT_TRUE(stage.told.empty());
}

TEST(OutageWatch, ARestartOfAMinuteIsNone) {
  Stage stage;
  stage.run(28 * hour_ms);
  const UtcMs ended = stage.now.utc;
  stage.restart({ended + minute_ms, stage.now.elapsed + minute_ms}, false, ended);
  stage.run(2 * hour_ms);
  EXPECT_EQ(stage.news, 0U);
}

// The mains was away for 50 minutes, our machine with it; it starts without network and its clock is wrong by
// hours. Nothing is said until the clock is right; then both ends are.
TEST(OutageWatch, AWrongClockAfterABootSpoilsNoJudgement) {
  for (const std::int64_t clock_off_ms : {-5 * hour_ms, -49 * minute_ms}) {
    Stage stage;
    stage.run(28 * hour_ms);
    const UtcMs ended = stage.now.utc;
    const ElapsedMs at_boot{30 * second_ms};
    stage.cut({0, 1, 2, 3});
    stage.heard = false;
    stage.run(50 * minute_ms);
    stage.power_back();
    stage.restart({ended + 50 * minute_ms + clock_off_ms, at_boot}, true, ended);
    stage.heard = true;
    stage.watch->clock(clock_off_ms > -hour_ms, false,
                       0);  // a clock that is behind the record is seen through
    stage.run(3 * minute_ms);
    if (clock_off_ms < -hour_ms) {
      EXPECT_EQ(stage.news, 0U);
    }
    EXPECT_TRUE(stage.told.empty());
    stage.now.utc = stage.now.utc - clock_off_ms;
    stage.watch->clock(true, true, -clock_off_ms);
    stage.run(4 * hour_ms);
    EXPECT_EQ(stage.newest.kind, OutageKind::mains) << clock_off_ms;
    EXPECT_EQ(stage.newest.from, ended);
    EXPECT_LE(std::abs(*stage.newest.to - (ended + 50 * minute_ms)), minute_ms) << clock_off_ms;
    EXPECT_TRUE(stage.newest.lines.at(0).back_at.has_value());
    ASSERT_EQ(stage.told.size(), 1U);
  }
}

TEST(OutageWatch, GoesOnAfterARestartInTheMiddle) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({0, 1, 2, 3});
  stage.run(20 * minute_ms);
  const UtcMs from = stage.newest.from;
  stage.restart({stage.now.utc + 10 * second_ms, stage.now.elapsed + 10 * second_ms}, false, stage.now.utc);
  stage.run(20 * minute_ms);
  stage.power_back();
  stage.run(4 * hour_ms);
  EXPECT_EQ(stage.newest.id, "O1");
  EXPECT_EQ(stage.newest.from, from);
  EXPECT_EQ(stage.newest.kind, OutageKind::mains);
  expect_near(stage.newest.to.value_or(UtcMs{}), "2026-11-11T10:40:10Z", 2 * interval_ms);
  EXPECT_EQ(stage.newest.stage, OutageStage::settled);
}

TEST(OutageWatch, SavesWhatItReadAndRefusesWhatItCannotRead) {
  Stage stage;
  stage.run(28 * hour_ms);
  stage.cut({0, 1, 2, 3});
  stage.run(20 * minute_ms);
  std::string first, second;
  stage.watch->save(first);
  OutageWatch other(*stage.room);
  std::istringstream lines(first);
  for (std::string line; std::getline(lines, line);)
    ASSERT_TRUE(other.load(std::string_view(line).substr(7), true));
  other.save(second);
  EXPECT_EQ(second, first);
  for (const char* bad :
       {"", "sheep 1", "count x", "episode 1 9 0 6 6 0 0", "line 1 1", "light 0 0 1", "unit 0 nan 1 cage-0"})
    EXPECT_FALSE(other.load(bad, true)) << bad;
}

}  // namespace
}  // namespace baskwell::heat
