// What is not heard, and a wall clock that steps.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "engine/scene.h"

namespace baskwell {
namespace {

using test::Scene;
using test::ThreeProbes;
using test::utc;
using testing::IsEmpty;

struct Three {
  ThreeProbes three;
  Scene scene;
  explicit Three(ThreeProbes made = ThreeProbes()) : three(std::move(made)), scene(three.builder.done()) {}
  void well(std::int64_t for_ms) {
    scene.keep({{three.hot, 32}, {three.middle, 25}, {three.cool, 25}}, for_ms);
  }
  void without_hot(std::int64_t for_ms) { scene.keep({{three.middle, 25}, {three.cool, 25}}, for_ms); }
};

TEST(Silence, AfterFifteenMinutesAndWorseAfterSixty) {
  Three one;
  one.well(hour_ms);  // the last word at 11:59
  one.without_hot(2 * hour_ms);
  ASSERT_EQ(one.scene.effects.transitions.size(), 2U);
  const TransitionRecord& silent = one.scene.effects.transitions[0];
  EXPECT_EQ(silent.kind, AlarmKind::probe_silent);
  EXPECT_EQ(silent.subject, "hot-probe/temperature");
  EXPECT_EQ(silent.at, utc("2026-06-10T12:14:00Z"));
  EXPECT_EQ(silent.priority, Priority::medium);
  const TransitionRecord& worse = one.scene.effects.transitions[1];
  EXPECT_EQ(worse.input, AlarmInput::worsens);
  EXPECT_EQ(worse.at, utc("2026-06-10T12:59:00Z"));
  EXPECT_EQ(worse.priority, Priority::high);
  one.well(30 * minute_ms);
  EXPECT_EQ(one.scene.last(AlarmKind::probe_silent)->input, AlarmInput::returns);
}

TEST(Silence, AProbeThatWasNeverHeard) {
  Three one;
  one.without_hot(hour_ms);
  ASSERT_FALSE(one.scene.effects.transitions.empty());
  EXPECT_EQ(one.scene.effects.transitions[0].at, utc("2026-06-10T11:15:00Z"));
}

TEST(Silence, AnEngineThatHeardNothingOfItsBrokerIsNotQuiet) {
  const ThreeProbes three;
  Scene scene(three.builder.done());
  Engine engine(three.builder.done(), scene.now);
  Effects effects;
  scene.pass(hour_ms);
  engine.step(TickEvent{scene.now}, effects);
  ASSERT_EQ(effects.transitions.size(), 6U);
  for (int i = 0; i < 3; ++i)
    EXPECT_EQ(effects.transitions[static_cast<std::size_t>(i)].to, AlarmState::unacknowledged);
}

TEST(Silence, NonsenseIsSilence) {
  Three one;
  one.well(10 * minute_ms);
  for (int i = 0; i < 40; ++i) {
    one.scene.hear(one.three.hot, i % 2 == 0 ? "nan" : "-127");
    one.without_hot(minute_ms);
  }
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 1);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_implausible, AlarmState::unacknowledged), 1);
}

TEST(Silence, FrozenIsLow) {
  Three one;
  for (int i = 0; i < 5 * 60; ++i) {
    one.scene.hear(one.three.hot, "32.00");
    one.without_hot(minute_ms);
  }
  ASSERT_EQ(one.scene.effects.transitions.size(), 1U);
  EXPECT_EQ(one.scene.effects.transitions[0].kind, AlarmKind::probe_frozen);
  EXPECT_EQ(one.scene.effects.transitions[0].priority, Priority::low);
  one.well(30 * minute_ms);
  EXPECT_EQ(one.scene.last(AlarmKind::probe_frozen)->input, AlarmInput::returns);
}

TEST(Silence, FollowsALearnedIntervalDownAgain) {
  Three one;
  // First every 30 min, so that 150 min of silence are its habit; then every minute for a while.
  for (int i = 0; i < 10; ++i) {
    one.scene.hear(one.three.hot, i % 2 == 0 ? "32.0" : "32.1");
    one.without_hot(30 * minute_ms);
  }
  one.well(2 * hour_ms);
  one.scene.news();
  const UtcMs last = one.scene.now.utc - minute_ms;
  one.without_hot(30 * minute_ms);
  const TransitionRecord* silent = one.scene.last(AlarmKind::probe_silent);
  ASSERT_NE(silent, nullptr);
  EXPECT_EQ(silent->at, last + 15 * minute_ms);
}

TEST(Silence, ASpareProbeInADrawerIsNeitherSilentNorImplausible) {
  ThreeProbes made;
  const Index spare = made.builder.probe("spare", none, Zone::room);
  made.builder.room.channels[spare].placements.clear();
  const Index moved = made.builder.probe("moved", made.enclosure, Zone::hide);
  made.builder.room.channels[moved].placements[0].span.to = utc("2026-06-10T11:30:00Z");
  Three one(std::move(made));
  for (int i = 0; i < 20; ++i) {
    one.scene.hear(spare, i % 2 == 0 ? "19.0" : "-127");
    one.scene.hear(moved, i % 2 == 0 ? "25.0" : "25.1");
    one.well(minute_ms);
  }
  one.well(4 * hour_ms);
  EXPECT_THAT(one.scene.news(), IsEmpty());
}

// What a probe said where it lay before says nothing of that place once it is moved.
TEST(Silence, AMovedProbeNoLongerCountsWhereItLay) {
  ThreeProbes made;
  const Index second = made.builder.probe("second", made.enclosure, Zone::hot);
  Placement there = made.builder.room.channels[second].placements[0];
  const UtcMs moved = utc("2026-06-10T11:10:00Z");
  made.builder.room.channels[second].placements[0].span.to = moved;
  there.zone = Zone::cool;
  there.span.from = moved;
  made.builder.room.channels[second].placements.push_back(there);
  made.builder.settings(AlarmKind::too_hot).on_delay_ms = 12 * minute_ms;
  Three one(std::move(made));
  one.scene.keep({{one.three.hot, 32}, {second, 34}, {one.three.cool, 25}, {one.three.middle, 25}},
                 10 * minute_ms);
  one.well(15 * minute_ms);  // 34 at the hot spot was true until it was moved, for 10 of 12 minutes
  EXPECT_EQ(one.scene.count(AlarmKind::too_hot, AlarmState::unacknowledged), 0);
}

TEST(Silence, PresenceGoneNeedsNoLongProof) {
  Three one;
  one.well(30 * minute_ms);
  PresenceEvent gone;
  gone.instrument = 0;
  gone.present = false;
  one.scene.step(gone);
  const UtcMs last = one.scene.now.utc - minute_ms;
  one.without_hot(5 * minute_ms);
  const TransitionRecord* silent = one.scene.last(AlarmKind::probe_silent);
  ASSERT_NE(silent, nullptr);
  EXPECT_EQ(silent->at, last + 2 * minute_ms);
  EXPECT_THAT(one.scene.effects.messages.front().body, testing::HasSubstr("presence topic"));
  one.well(30 * minute_ms);  // what is heard is there, whatever its topic said
  EXPECT_EQ(one.scene.last(AlarmKind::probe_silent)->input, AlarmInput::returns);
}

// Overheating that is seen once and then not at all: the probe may have burnt.
TEST(Silence, APendingHarmIsRaisedWhenItsProbeFallsSilent) {
  ThreeProbes made;
  made.builder.settings(AlarmKind::too_hot).harm_on_delay_ms = hour_ms;
  made.builder.settings(AlarmKind::too_hot).on_delay_ms = hour_ms;
  Three one(std::move(made));
  one.well(10 * minute_ms);
  one.scene.keep(one.three.hot, 37, 2 * minute_ms);
  one.without_hot(20 * minute_ms);
  const TransitionRecord* hot = one.scene.last(AlarmKind::too_hot);
  ASSERT_NE(hot, nullptr);
  EXPECT_EQ(hot->level, Level::harm);
  EXPECT_EQ(hot->at, utc("2026-06-10T11:26:00Z"));  // the last word at 11:11
  EXPECT_EQ(one.scene.last(AlarmKind::probe_silent)->at, hot->at);
}

// Two probes at one spot: what the one sees that is heard, it goes on seeing.
TEST(Silence, OfOneProbeDoesNotHurryWhatAnotherSees) {
  ThreeProbes made;
  const Index second = made.builder.probe("second", made.enclosure, Zone::hot);
  Three one(std::move(made));
  one.well(10 * minute_ms);
  one.scene.keep(second, 32, 10 * minute_ms);  // the first is quiet from here on, silent at 11:24
  one.scene.keep({{second, 32}, {one.three.middle, 25}, {one.three.cool, 25}}, 3 * minute_ms);
  one.scene.keep(second, 36.5, 3 * minute_ms);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 1);
  EXPECT_EQ(one.scene.count(AlarmKind::too_hot, AlarmState::unacknowledged), 0);
  one.scene.keep(second, 36.5, 4 * minute_ms);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T11:28:00Z"));
}

// ---- The broker

TEST(Broker, ItsLossIsOneAlarm) {
  Three one;
  one.well(30 * minute_ms);
  one.scene.broker(false);
  one.scene.tick(3 * hour_ms);
  EXPECT_EQ(one.scene.told(TellReason::raised), 1);
  EXPECT_EQ(one.scene.told(TellReason::reached_harm), 0);
  const TransitionRecord* away = one.scene.last(AlarmKind::intake_trouble);
  ASSERT_NE(away, nullptr);
  EXPECT_EQ(away->at, utc("2026-06-10T11:35:00Z"));
  EXPECT_EQ(away->level, Level::harm);  // nothing at all comes in
  EXPECT_EQ(away->priority, Priority::high);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::suppressed), 3);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 0);

  one.scene.broker(true);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::normal), 3);
  one.well(hour_ms);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 0);
  EXPECT_EQ(one.scene.last(AlarmKind::intake_trouble)->input, AlarmInput::returns);
}

TEST(Broker, AProbeThatStaysAwayIsToldAfterItsReturn) {
  Three one;
  one.well(30 * minute_ms);
  one.scene.broker(false);
  one.scene.tick(3 * hour_ms);
  one.scene.broker(true);
  const UtcMs back = one.scene.now.utc;
  one.without_hot(30 * minute_ms);
  const TransitionRecord* silent = one.scene.last(AlarmKind::probe_silent);
  EXPECT_EQ(silent->to, AlarmState::unacknowledged);
  EXPECT_GT(silent->at, back + 10 * minute_ms);
  EXPECT_LE(silent->at, back + 17 * minute_ms);
}

// A connection that comes and goes every ten minutes must not hide a dead probe.
TEST(Broker, AConnectionThatComesAndGoesHidesNoDeadProbe) {
  Three one;
  one.well(30 * minute_ms);
  for (int i = 0; i < 6; ++i) {
    one.without_hot(10 * minute_ms);
    one.scene.broker(false);
    one.scene.pass(30 * second_ms);
    one.scene.broker(true);
  }
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 1);
}

TEST(Broker, SilenceIsToldWhereTheBrokersOwnAlarmCannotTell) {
  ThreeProbes made;
  made.builder.settings(AlarmKind::intake_trouble).enabled = false;
  Three one(std::move(made));
  one.well(30 * minute_ms);
  one.scene.broker(false);
  one.scene.tick(30 * minute_ms);
  EXPECT_EQ(one.scene.count(AlarmKind::probe_silent, AlarmState::unacknowledged), 3);
}

TEST(Broker, AShortAbsenceIsNoAlarm) {
  Three one;
  one.well(30 * minute_ms);
  one.scene.broker(false);
  one.scene.pass(4 * minute_ms);
  one.scene.broker(true);
  one.well(30 * minute_ms);
  EXPECT_THAT(one.scene.news(), IsEmpty());
}

TEST(Broker, PendingHarmIsRaisedAlsoWhileItIsAway) {
  ThreeProbes made;
  made.builder.settings(AlarmKind::too_hot).harm_on_delay_ms = hour_ms;
  made.builder.settings(AlarmKind::too_hot).on_delay_ms = hour_ms;
  Three one(std::move(made));
  one.well(10 * minute_ms);
  one.scene.keep(one.three.hot, 37, 2 * minute_ms);
  one.scene.broker(false);
  one.scene.tick(20 * minute_ms);
  EXPECT_EQ(one.scene.count(AlarmKind::too_hot, AlarmState::unacknowledged), 1);
}

// ---- A step of the wall clock

void step_clock(Scene& scene, std::int64_t by_ms) {
  scene.now.utc = scene.now.utc + by_ms;
  ClockEvent event;
  event.step_ms = by_ms;
  scene.step(event);
}

TEST(ClockStep, RaisesAndEndsNothingByItself) {
  for (const std::int64_t by_ms : {-hour_ms, hour_ms}) {
    Three one;
    one.well(10 * minute_ms);
    one.scene.keep({{one.three.hot, 34}, {one.three.middle, 25}, {one.three.cool, 25}}, 20 * minute_ms);
    ASSERT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
    EXPECT_EQ(one.scene.ask(RequestEvent::What::acknowledge, "A1"), "");  // no repeats
    one.scene.news();
    step_clock(one.scene, by_ms);
    EXPECT_THAT(one.scene.news(), IsEmpty()) << by_ms;
    // Readings go on being judged, at once.
    const std::size_t stored = one.scene.effects.readings.size();
    one.scene.keep({{one.three.hot, 34}, {one.three.middle, 25}, {one.three.cool, 25}}, 25 * minute_ms);
    EXPECT_THAT(one.scene.news(), IsEmpty()) << by_ms;
    for (std::size_t i = stored; i < one.scene.effects.readings.size(); ++i)
      ASSERT_EQ(one.scene.effects.readings[i].quality, Quality::good) << by_ms;
    // The end comes by the elapsed clock: ten minutes after the value is back.
    const UtcMs back = one.scene.now.utc;
    one.well(15 * minute_ms);
    EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->input, AlarmInput::returns);
    EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, back + 10 * minute_ms);
  }
}

TEST(ClockStep, LeavesARunningOnDelayAlone) {
  for (const std::int64_t by_ms : {-hour_ms, hour_ms}) {
    Three one;
    one.well(10 * minute_ms);
    one.scene.keep(one.three.hot, 34, 5 * minute_ms);
    step_clock(one.scene, by_ms);
    one.scene.keep(one.three.hot, 34, 15 * minute_ms);
    const TransitionRecord* hot = one.scene.last(AlarmKind::too_hot);
    ASSERT_NE(hot, nullptr);
    EXPECT_EQ(hot->at, utc("2026-06-10T11:25:00Z") + by_ms);
  }
}

// Ours was an hour off and is set right; the instrument's own clock was right all the time, or an hour off.
TEST(ClockStep, InstrumentsWithTheirOwnTimeGoOnBeingJudged) {
  for (const std::int64_t by_ms : {-hour_ms, hour_ms}) {
    Three one;
    std::int64_t own_ahead_ms = by_ms < 0 ? by_ms : 0;
    int bad = 0;
    const auto stamped = [&](int minutes) {
      for (int i = 0; i < minutes; ++i) {
        ReadingEvent event;
        event.at = one.scene.now;
        event.channel = one.three.hot;
        event.value = {3200 + i % 2, 2};
        event.has_own_time = true;
        event.measured = one.scene.now.utc + own_ahead_ms;
        one.scene.engine->step_reading(event, one.scene.effects);
        bad += one.scene.effects.readings.back().quality == Quality::good ? 0 : 1;
        one.without_hot(minute_ms);
      }
    };
    stamped(20);
    step_clock(one.scene, by_ms);
    own_ahead_ms -= by_ms;  // the instrument's stamps go on as they were
    stamped(20);
    EXPECT_EQ(bad, 0) << by_ms;
  }
}

}  // namespace
}  // namespace baskwell
