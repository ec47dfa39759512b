// Delays, priorities and what people ask of an alarm, through the whole of core.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "engine/scene.h"

namespace baskwell {
namespace {

using test::Scene;
using test::ThreeProbes;
using test::utc;
using test::with_medium_heat;
using testing::HasSubstr;
using testing::IsEmpty;
using What = RequestEvent::What;

// The middle and the cool end are well; only the hot spot is looked at.
struct HotSpot {
  ThreeProbes three;
  Scene scene;
  explicit HotSpot(std::string_view start = "2026-06-10T11:00:00Z", ThreeProbes made = ThreeProbes())
      : three(std::move(made)), scene(three.builder.done(), start) {}
  void keep(double hot, std::int64_t for_ms) {
    scene.keep({{three.hot, hot}, {three.middle, 25}, {three.cool, 25}}, for_ms);
  }
};

TEST(Delays, EndToTheMillisecondHoweverLateTimeIsTold) {
  HotSpot one;
  one.scene.hear(one.three.hot, "34");
  one.scene.pass(70 * second_ms + 1);
  one.scene.hear(one.three.hot, "34.1");
  one.scene.tick(5 * hour_ms);
  const TransitionRecord* raised = one.scene.last(AlarmKind::too_hot);
  ASSERT_NE(raised, nullptr);
  EXPECT_EQ(raised->at, utc("2026-06-10T11:15:00Z"));
}

TEST(Delays, OneReadingRaisesNothing) {
  HotSpot one;
  one.scene.hear(one.three.hot, "34");
  one.scene.tick(14 * minute_ms);
  EXPECT_THAT(one.scene.news(), IsEmpty());
}

TEST(Delays, ComingBackTakesTheDeadbandAndTheOffDelay) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  ASSERT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
  one.keep(32.8, 30 * minute_ms);  // inside, but not by the deadband of 0.5
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
  one.keep(32.4, 9 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
  one.keep(32.4, 2 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::returned_unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T12:00:00Z"));
  EXPECT_EQ(one.scene.told(TellReason::over), 1);
  EXPECT_TRUE(one.scene.effects.messages.back().only_if_told);
}

// Threads may hand over in another order than they stamped: time told to core does not go back.
TEST(Delays, AnOlderStampTurnsNoTimeBack) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  one.scene.tick();
  const Stamp told = one.scene.now;
  one.scene.pass(-2 * second_ms);
  one.scene.hear(one.three.hot, "32.1");
  one.scene.pass(2 * second_ms);
  one.scene.tick(15 * minute_ms);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->input, AlarmInput::returns);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, told.utc + 10 * minute_ms);
}

TEST(Priorities, OverheatingBeatsCold) {
  const AlarmSettingsTable table = default_alarm_settings();
  const AlarmSettings& cold = table[static_cast<std::size_t>(AlarmKind::too_cold)];
  for (const AlarmKind kind : {AlarmKind::too_hot, AlarmKind::no_refuge}) {
    const AlarmSettings& heat = table[static_cast<std::size_t>(kind)];
    EXPECT_LT(heat.on_delay_ms, cold.on_delay_ms);
    EXPECT_LT(heat.harm_on_delay_ms, cold.harm_on_delay_ms);
    EXPECT_GE(heat.priority, cold.priority);
    EXPECT_GE(heat.harm_priority, cold.harm_priority);
  }
  // Two degrees beyond the harm limit on either side, from the same moment on.
  ThreeProbes made;
  const Index other = made.builder.enclosure("shelf-2");
  made.builder.animal("bo", test::royal_python(), other);
  const Index cold_probe = made.builder.probe("bo-hot", other, Zone::hot);
  Scene scene(made.builder.done());
  scene.keep({{made.hot, 38}, {made.middle, 25}, {made.cool, 25}, {cold_probe, 18}}, hour_ms);
  EXPECT_EQ(scene.effects.transitions.front().kind, AlarmKind::too_hot);
  EXPECT_EQ(scene.effects.transitions.front().at, utc("2026-06-10T11:05:00Z"));
  EXPECT_EQ(scene.effects.transitions.front().priority, Priority::high);
  EXPECT_EQ(scene.last(AlarmKind::too_cold)->at, utc("2026-06-10T11:30:00Z"));
}

TEST(Telling, RepeatsUntilAcknowledged) {
  HotSpot one;
  one.keep(37, 19 * minute_ms);  // beyond harm: at 5 min, then every 3
  EXPECT_EQ(one.scene.told(TellReason::raised), 1);
  EXPECT_EQ(one.scene.told(TellReason::repeated), 4);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  one.keep(37, 2 * hour_ms);
  EXPECT_EQ(one.scene.told(TellReason::repeated), 4);
  EXPECT_EQ(one.scene.effects.withdrawn, std::vector<std::string>{"A1"});
}

TEST(Telling, RepeatsUntilOver) {
  HotSpot one;
  one.keep(37, 20 * minute_ms);
  one.keep(34.5, 3 * minute_ms);  // down in steps that are no jumps
  one.keep(32, 12 * minute_ms);
  const int repeated = one.scene.told(TellReason::repeated);
  EXPECT_EQ(one.scene.told(TellReason::over), 1);
  one.keep(32, 2 * hour_ms);
  EXPECT_EQ(one.scene.told(TellReason::repeated), repeated);
}

TEST(Telling, AcknowledgedTellsAgainWhenWorse) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  one.keep(34.9, 30 * minute_ms);
  EXPECT_EQ(one.scene.told(TellReason::worse), 0);
  one.keep(35.1, 5 * minute_ms);
  EXPECT_EQ(one.scene.told(TellReason::worse), 1);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->occurrence, "A1");
}

TEST(Telling, AcknowledgedTellsAgainAtTheHarmLimitThenByStepsOnly) {
  HotSpot one;
  one.keep(35.5, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  one.keep(36.2, 10 * minute_ms);
  EXPECT_EQ(one.scene.told(TellReason::reached_harm), 1);
  EXPECT_EQ(one.scene.effects.messages.back().priority, Priority::high);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  one.keep(37.3, 10 * minute_ms);  // worse by a step, and beyond harm all the while
  EXPECT_EQ(one.scene.told(TellReason::reached_harm), 1);
  EXPECT_EQ(one.scene.told(TellReason::worse), 1);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->why, "became worse");
}

TEST(Telling, TheEndOfAnAcknowledgedHighAlarmIsOnRecordAsHigh) {
  HotSpot one;
  one.keep(37, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  one.keep(34.5, 2 * minute_ms);
  one.keep(32, 20 * minute_ms);
  const TransitionRecord* over = one.scene.last(AlarmKind::too_hot);
  EXPECT_EQ(over->input, AlarmInput::returns);
  EXPECT_EQ(over->level, Level::harm);
  EXPECT_EQ(over->priority, Priority::high);
}

TEST(Telling, MediumWaitsForEachPersonsWakingHours) {
  ThreeProbes made = with_medium_heat();
  made.builder.person("lee", 22 * 60, 10 * 60);  // works nights: awake from 22:00 to 10:00
  HotSpot one("2026-06-11T00:00:00Z", std::move(made));
  one.keep(34, 2 * hour_ms);  // 01:00 local, `medium`; raised at 01:15, once repeated at 02:15
  ASSERT_EQ(one.scene.told(TellReason::raised), 2);
  for (const MessageDraft& message : one.scene.effects.messages) {
    if (message.reason == TellReason::raised && message.person == "kim") {
      EXPECT_EQ(message.not_before, utc("2026-06-11T06:00:00Z"));  // 07:00 BST
    } else {
      EXPECT_EQ(message.person, "lee");  // a repeat waits for nobody
      EXPECT_EQ(message.not_before, message.written);
    }
  }
  EXPECT_EQ(one.scene.told(TellReason::repeated), 1);
}

TEST(Telling, WakingHoursFollowTheClockChange) {
  HotSpot one("2026-03-29T00:00:00Z", with_medium_heat());
  one.keep(34, 20 * minute_ms);
  EXPECT_EQ(one.scene.effects.messages.front().not_before, utc("2026-03-29T06:00:00Z"));  // 07:00 BST already
  HotSpot autumn("2026-10-24T23:00:00Z", with_medium_heat());
  autumn.keep(34, 20 * minute_ms);
  EXPECT_EQ(autumn.scene.effects.messages.front().not_before, utc("2026-10-25T07:00:00Z"));
}

TEST(Telling, HighWakesAtNight) {
  HotSpot one("2026-06-11T00:00:00Z");
  one.keep(37, 10 * minute_ms);
  const MessageDraft& message = one.scene.effects.messages.front();
  EXPECT_EQ(message.not_before, message.written);
  EXPECT_EQ(message.priority, Priority::high);
  HotSpot beyond_target("2026-06-11T00:00:00Z");  // heat wakes before the harm limit, cold does not
  beyond_target.keep(34, 20 * minute_ms);
  EXPECT_EQ(beyond_target.scene.effects.messages.front().priority, Priority::high);
  HotSpot cold("2026-06-11T00:00:00Z");
  cold.keep(21, hour_ms);
  ASSERT_FALSE(cold.scene.effects.messages.empty());
  EXPECT_EQ(cold.scene.effects.messages.front().priority, Priority::medium);
}

// ---- Shelving

TEST(Shelving, ByTheRules) {
  HotSpot one("2026-06-10T11:00:00Z", with_medium_heat());
  one.keep(34, 20 * minute_ms);
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "", hour_ms), HasSubstr("reason"));
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "vet comes", 0), HasSubstr("time"));
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "vet comes", -1), HasSubstr("time"));
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "vet comes", 8 * hour_ms + 1), HasSubstr("8 h"));
  EXPECT_THAT(one.scene.ask(What::shelve, "A77", "vet comes", hour_ms), HasSubstr("no open alarm"));
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "vet comes", 8 * hour_ms), "");
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->who, "Kim");
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->why, "vet comes");
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "again", hour_ms), HasSubstr("shelved already"));
}

TEST(Shelving, EndsByItselfAndTellsIfItStillHolds) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "lamp is being changed", 30 * minute_ms), "");
  const UtcMs shelved = one.scene.now.utc;
  const int told = static_cast<int>(one.scene.effects.messages.size());
  one.keep(34, 29 * minute_ms);
  EXPECT_EQ(static_cast<int>(one.scene.effects.messages.size()), told);
  one.keep(34, 3 * minute_ms);
  const TransitionRecord* end = one.scene.last(AlarmKind::too_hot);
  EXPECT_EQ(end->input, AlarmInput::unshelve);
  EXPECT_EQ(end->to, AlarmState::unacknowledged);
  EXPECT_EQ(end->at, shelved + 30 * minute_ms);
  EXPECT_EQ(static_cast<int>(one.scene.effects.messages.size()), told + 1);
}

TEST(Shelving, EndsQuietlyWhereItIsOver) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "lamp is being changed", hour_ms), "");
  const std::size_t told = one.scene.effects.messages.size();
  one.keep(32, 2 * hour_ms);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->to, AlarmState::normal);
  EXPECT_EQ(one.scene.effects.messages.size(), told);
}

TEST(Shelving, HarmIsRefusedAndBreaksThrough) {
  HotSpot harm;
  harm.keep(37, 20 * minute_ms);
  EXPECT_THAT(harm.scene.ask(What::shelve, "A1", "busy", minute_ms), HasSubstr("harm"));
  HotSpot pending;
  pending.keep(35.5, 20 * minute_ms);
  pending.keep(36.5, 2 * minute_ms);  // beyond, its on-delay still runs
  EXPECT_THAT(pending.scene.ask(What::shelve, "A1", "busy", minute_ms), HasSubstr("harm"));

  HotSpot one("2026-06-10T11:00:00Z", with_medium_heat());
  one.keep(35.5, 20 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "busy", 8 * hour_ms), "");
  one.keep(36.5, 10 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->input, AlarmInput::unshelve);
  EXPECT_EQ(one.scene.told(TellReason::reached_harm), 1);
}

TEST(Shelving, AHighOneSixtyMinutesAtMost) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  EXPECT_THAT(one.scene.ask(What::shelve, "A1", "busy", hour_ms + 1), HasSubstr("60 min"));
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "busy", hour_ms), "");
}

TEST(Shelving, SeveralAtOnceAllOrNone) {
  HotSpot one;
  one.scene.keep({{one.three.hot, 34}, {one.three.middle, 25}, {one.three.cool, 34}}, 40 * minute_ms);
  ASSERT_EQ(one.scene.state_of(AlarmKind::no_refuge), AlarmState::unacknowledged);  // beyond harm, too
  one.scene.news();
  EXPECT_THAT(one.scene.ask(What::shelve, "shelf-1", "cleaning", hour_ms), HasSubstr("harm"));
  EXPECT_THAT(one.scene.news(), IsEmpty());
}

// ---- Out of service

TEST(Service, OutAndBack) {
  HotSpot one;
  one.keep(32, 5 * minute_ms);
  EXPECT_THAT(one.scene.ask(What::out_of_service, "shelf-1", ""), HasSubstr("reason"));
  EXPECT_THAT(one.scene.ask(What::out_of_service, "shelf-9", "rebuilt"), HasSubstr("nothing is called"));
  EXPECT_EQ(one.scene.ask(What::out_of_service, "shelf-1", "rebuilt"), "");
  EXPECT_THAT(one.scene.ask(What::out_of_service, "shelf-1", "rebuilt"), HasSubstr("already"));
  one.keep(30, 3 * minute_ms);
  one.keep(18, 3 * hour_ms);
  EXPECT_THAT(one.scene.effects.messages, IsEmpty());
  one.scene.news();
  EXPECT_EQ(one.scene.ask(What::return_to_service, "shelf-1"), "");
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_cold), AlarmState::unacknowledged);  // it holds: told now
  EXPECT_EQ(one.scene.effects.messages.size(), 1U);
  EXPECT_THAT(one.scene.ask(What::return_to_service, "shelf-1"), HasSubstr("not out of service"));
}

// A probe that has never been heard belongs to its enclosure as well.
TEST(Service, CoversWhatWasNeverHeard) {
  HotSpot one;
  EXPECT_EQ(one.scene.ask(What::out_of_service, "shelf-1", "not built yet"), "");
  one.scene.tick(3 * hour_ms);
  EXPECT_THAT(one.scene.effects.messages, IsEmpty());
}

TEST(Requests, NeedANameAndAnswerInWords) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  RequestEvent nameless;
  nameless.target = "A1";
  one.scene.step(nameless);
  EXPECT_THAT(one.scene.effects.answer, HasSubstr("name"));
  EXPECT_EQ(one.scene.ask(What::acknowledge, "all"), "");
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::acknowledged);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "all"), "");  // nothing left is no error
  EXPECT_THAT(one.scene.ask(What::acknowledge, "A1"), HasSubstr("is acknowledged"));
  EXPECT_THAT(one.scene.ask(What::unshelve, "A1"), HasSubstr("nothing to do"));
}

TEST(Requests, AnswersThroughAChannelAcknowledge) {
  HotSpot one;
  one.keep(34, 20 * minute_ms);
  DeliveryEvent answer;
  answer.channel = "mail";
  answer.person = "kim";
  answer.occurrence = "A1";
  answer.delivered = true;
  answer.acknowledged = true;
  one.scene.step(answer);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_hot), AlarmState::acknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->who, "kim");
}

TEST(Kinds, SwitchedOffNeverRaise) {
  ThreeProbes made;
  for (AlarmSettings& settings : made.builder.room.alarm_settings) settings.enabled = false;
  HotSpot one("2026-06-10T11:00:00Z", std::move(made));
  one.keep(38, 2 * hour_ms);
  one.scene.hear(one.three.hot, "nan");
  one.scene.broker(false);
  one.scene.tick(3 * hour_ms);
  EXPECT_THAT(one.scene.news(), IsEmpty());
}

// Given up for want of a channel that works: no channel's alarm, but a person who hears nothing.
TEST(Faults, AMessageThatFindsNoWayIsThePersonsAlarm) {
  ThreeProbes made;
  made.builder.room.delivery_channels = {"mail"};
  HotSpot one("2026-06-10T11:00:00Z", std::move(made));
  DeliveryEvent lost;
  lost.person = one.scene.engine->room().people.at(0).id;
  lost.detail = "given up after 6 h";
  one.scene.step(lost);
  one.scene.step(lost);
  ASSERT_EQ(one.scene.count(AlarmKind::delivery_failed, AlarmState::unacknowledged), 1);
  EXPECT_EQ(one.scene.last(AlarmKind::delivery_failed)->subject, "to " + lost.person);
  DeliveryEvent failed = lost;  // a channel's own failure says nothing new of the person
  failed.channel = "mail";
  one.scene.step(failed);
  EXPECT_EQ(one.scene.last(AlarmKind::delivery_failed)->subject, "mail");
  DeliveryEvent delivered = failed;
  delivered.delivered = true;
  one.scene.step(delivered);
  EXPECT_EQ(one.scene.count(AlarmKind::delivery_failed, AlarmState::returned_unacknowledged), 2);
  DeliveryEvent stranger = lost;
  stranger.person = "nobody";
  one.scene.step(stranger);
  EXPECT_EQ(one.scene.last(AlarmKind::delivery_failed)->subject, "all messages");
}

TEST(Faults, StoreDeliveryPayloadsAndClock) {
  ThreeProbes made;
  made.builder.room.delivery_channels = {"mail"};
  HotSpot one("2026-06-10T11:00:00Z", std::move(made));
  StoreEvent store;
  store.working = false;
  store.detail = "disk full";
  one.scene.step(store);
  DeliveryEvent failed;
  failed.channel = "mail";
  failed.person = "kim";
  failed.detail = "connection refused";
  one.scene.step(failed);
  IntakeTroubleEvent trouble;
  trouble.bad = true;
  trouble.detail = "12 messages could not be read";
  one.scene.step(trouble);
  ClockEvent clock;
  clock.sure = false;
  one.scene.step(clock);
  one.keep(32, 30 * minute_ms);
  for (const AlarmKind kind : {AlarmKind::store_trouble, AlarmKind::delivery_failed,
                               AlarmKind::intake_trouble, AlarmKind::clock_unsure})
    EXPECT_EQ(one.scene.state_of(kind), AlarmState::unacknowledged) << row_of(kind).name;
  store.working = true;
  one.scene.step(store);
  failed.delivered = true;
  one.scene.step(failed);
  trouble.bad = false;
  one.scene.step(trouble);
  clock.sure = true;
  one.scene.step(clock);
  one.keep(32, 30 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::store_trouble), AlarmState::returned_unacknowledged);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "all"), "");
  EXPECT_THAT(one.scene.engine->view(one.scene.now).alarms, IsEmpty());
}

}  // namespace
}  // namespace baskwell
