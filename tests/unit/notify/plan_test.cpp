// Every branch of the plan, one moment after the other.

#include "notify/plan.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "outbox_words.h"

namespace baskwell::notify {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class PlanTest : public ::testing::Test {
 protected:
  static std::vector<Person> people() {
    return {person("anna", {"mail", "hook"}), person("ben", {"hook"}), person("two-boxes", {"mail", "mail"}),
            person("gone", {"pager"}), person("nobody", {})};
  }

  void add(const Wanted& wanted, std::int64_t ms) { plan_.add(message(wanted), at(ms), settled_); }
  std::string taken(std::string_view channel, std::int64_t ms) {
    const auto attempt = plan_.take(channel, at(ms));
    if (!attempt) return "";
    last_ = *attempt;
    return attempt->letter.id;
  }
  Aftermath answered(const ChannelAnswer& answer, std::int64_t ms) {
    return plan_.answer(last_, answer, at(ms));
  }
  // Endings since the last call, as "M1 withdrawn".
  std::vector<std::string> endings() {
    std::vector<std::string> texts;
    for (const Settlement& one : settled_) texts.push_back(one.id + " " + std::string(name_of(one.ending)));
    settled_.clear();
    return texts;
  }
  std::int64_t due_after(std::string_view channel, std::int64_t ms) {
    const ElapsedMs due = plan_.next_due(channel, at(ms));
    return due.ms == INT64_MAX ? -1 : due - at(0).elapsed;
  }

  DeliveryPlan plan_{people(), {"mail", "hook"}, PlanSettings{}};
  std::vector<Settlement> settled_;
  Attempt last_;
};

TEST_F(PlanTest, AMessageGoesToTheFirstChannelOfItsPersonAtOnce) {
  add({.id = "M1"}, 100);
  EXPECT_EQ(due_after("mail", 100), 100);
  EXPECT_EQ(taken("hook", 100), "");
  ASSERT_EQ(taken("mail", 100), "M1");
  EXPECT_EQ(last_.letter.address, "anna@mail");
  EXPECT_EQ(last_.letter.person_name, "Person anna");
  EXPECT_EQ(last_.letter.headline, "headline of M1");
  EXPECT_EQ(last_.letter.body, "headline of M1\nbody");
  EXPECT_EQ(last_.letter.json, "{\"id\":\"M1\"}");
  EXPECT_EQ(last_.letter.written, test_start);
  EXPECT_EQ(taken("mail", 100), "") << "in flight";
  const Aftermath aftermath = answered(took, 300);
  EXPECT_EQ(aftermath.ending, Ending::delivered);
  EXPECT_EQ(aftermath.words, "");
  EXPECT_EQ(plan_.size(), 0U);
  EXPECT_EQ(due_after("mail", 300), -1);
  EXPECT_THAT(endings(), IsEmpty()) << "the answer told it";
}

TEST_F(PlanTest, AnAcknowledgementIsAnEnding) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  EXPECT_EQ(answered(on_it, 10).ending, Ending::acknowledged);
  EXPECT_EQ(plan_.size(), 0U);
}

TEST_F(PlanTest, AfterAFailureTheNextChannelIsTriedAtOnce) {
  add({.id = "M1", .priority = Priority::medium}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  const Aftermath aftermath = answered(busy, 700);
  EXPECT_FALSE(aftermath.ending);
  EXPECT_EQ(aftermath.again_in_ms, 0);
  EXPECT_EQ(aftermath.words, "goes on to hook");
  EXPECT_EQ(taken("mail", 700), "");
  EXPECT_EQ(taken("hook", 700), "M1");
  EXPECT_EQ(last_.letter.address, "anna@hook");
}

TEST_F(PlanTest, RoundsBeginAgainAfterDoublingWaitsUpToFiveMinutes) {
  add({.id = "M1"}, 0);
  std::int64_t now = 0;
  for (const std::int64_t wait : {10, 20, 40, 80, 160, 300, 300}) {
    ASSERT_EQ(taken("mail", now), "M1") << wait;
    answered(busy, now);
    ASSERT_EQ(taken("hook", now), "M1");
    const Aftermath aftermath = answered(busy, now);
    EXPECT_EQ(aftermath.again_in_ms, wait * second_ms);
    EXPECT_EQ(aftermath.words, "tried again in " + std::to_string(wait) + " s");
    now += wait * second_ms;
    EXPECT_EQ(taken("mail", now - 1), "");
    EXPECT_EQ(due_after("mail", now - 1), now);
  }
}

TEST_F(PlanTest, AChannelThatRefusedIsSkippedForThisMessageOnly) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  EXPECT_EQ(answered(refusal, 0).words, "goes on to hook");
  ASSERT_EQ(taken("hook", 0), "M1");
  EXPECT_EQ(answered(busy, 0).again_in_ms, 10 * second_ms);
  EXPECT_EQ(taken("mail", 10 * second_ms), "") << "refused";
  EXPECT_EQ(taken("hook", 10 * second_ms), "M1");
  add({.id = "M2", .occurrence = "A2"}, 0);
  EXPECT_EQ(taken("mail", 10 * second_ms), "M2");
}

TEST_F(PlanTest, MediumEndsWhenEveryChannelRefused) {
  add({.id = "M1", .priority = Priority::medium}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(refusal, 0);
  ASSERT_EQ(taken("hook", 0), "M1");
  const Aftermath aftermath = answered(refusal, 0);
  EXPECT_EQ(aftermath.ending, Ending::refused);
  EXPECT_EQ(aftermath.words, "refused by every channel, not tried again");
  EXPECT_EQ(plan_.size(), 0U);
}

TEST_F(PlanTest, HighBeginsAgainWhenEveryChannelRefused) {
  add({.id = "M1", .person = "ben"}, 0);
  ASSERT_EQ(taken("hook", 0), "M1");
  const Aftermath aftermath = answered(refusal, 0);
  EXPECT_FALSE(aftermath.ending);
  EXPECT_EQ(aftermath.again_in_ms, 5 * minute_ms);
  EXPECT_EQ(aftermath.words, "refused by every channel, tried again in 300 s");
  EXPECT_EQ(taken("hook", 5 * minute_ms - 1), "");
  EXPECT_EQ(taken("hook", 5 * minute_ms), "M1");
}

TEST_F(PlanTest, MediumIsGivenUpSixHoursAfterItWasDueHighNever) {
  add({.id = "M1", .priority = Priority::medium, .not_before_ms = hour_ms}, 0);
  add({.id = "M2", .occurrence = "A2"}, 0);
  EXPECT_EQ(due_after("", 0), hour_ms);
  plan_.pass_time(at(hour_ms), settled_);
  EXPECT_EQ(due_after("", hour_ms), 7 * hour_ms);
  plan_.pass_time(at(7 * hour_ms - 1), settled_);
  EXPECT_THAT(endings(), IsEmpty());
  plan_.pass_time(at(7 * hour_ms), settled_);
  ASSERT_EQ(settled_.size(), 1U);
  EXPECT_EQ(settled_[0].why, "given up after 360 min");
  EXPECT_THAT(endings(), ElementsAre("M1 gave-up"));
  plan_.pass_time(at(400 * hour_ms), settled_);
  EXPECT_THAT(endings(), IsEmpty());
  EXPECT_EQ(taken("mail", 400 * hour_ms), "M2");
}

TEST_F(PlanTest, AHighOverIsGivenUpLikeAnyOther) {
  plan_.remember_told({"A1", "anna"});
  add({.id = "M1", .reason = TellReason::over}, 0);
  plan_.pass_time(at(6 * hour_ms), settled_);
  EXPECT_THAT(endings(), ElementsAre("M1 gave-up"));
}

TEST_F(PlanTest, GivenUpInFlightItEndsWithTheAnswer) {
  add({.id = "M1", .priority = Priority::medium}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  plan_.pass_time(at(6 * hour_ms), settled_);
  EXPECT_THAT(endings(), IsEmpty());
  const Aftermath aftermath = answered(busy, 6 * hour_ms);
  EXPECT_EQ(aftermath.ending, Ending::gave_up);
  EXPECT_EQ(aftermath.words, "given up after 360 min");
  EXPECT_EQ(plan_.size(), 0U);
}

TEST_F(PlanTest, NotBeforeIsByTheWallClockAndSurvivesItsSteps) {
  add({.id = "M1", .not_before_ms = hour_ms}, 0);
  EXPECT_EQ(taken("mail", hour_ms - 1), "");
  EXPECT_EQ(due_after("mail", 0), hour_ms);
  const Stamp stepped{test_start + hour_ms, at(1000).elapsed};  // the wall clock was set forward
  EXPECT_EQ(plan_.next_due("mail", stepped), stepped.elapsed);
  const Stamp back{test_start, at(2000).elapsed};
  plan_.pass_time(stepped, settled_);
  ASSERT_TRUE(plan_.take("mail", back)) << "what was due once stays due";
}

TEST_F(PlanTest, AMessageThatBecomesDueOffersItsChannelsInOrder) {
  add({.id = "M1", .not_before_ms = hour_ms}, 0);
  EXPECT_EQ(due_after("hook", 0), hour_ms) << "somebody must notice the moment it becomes due";
  plan_.pass_time(at(hour_ms), settled_);
  EXPECT_EQ(due_after("hook", hour_ms), hour_ms + 5 * second_ms);
  EXPECT_EQ(taken("hook", hour_ms + 5 * second_ms - 1), "");
}

TEST_F(PlanTest, AFarDateDoesNotOverflow) {
  MessageDraft draft = message({.id = "M1"});
  draft.not_before = {INT64_MAX};
  plan_.add(draft, at(0), settled_);
  EXPECT_EQ(due_after("mail", 0), 366 * day_ms);
}

TEST_F(PlanTest, ABusyChannelIsOvertakenAfterPatience) {
  add({.id = "M1"}, 0);
  add({.id = "M2", .occurrence = "A2", .priority = Priority::medium}, 0);
  EXPECT_EQ(taken("hook", 5 * second_ms - 1), "");
  EXPECT_EQ(due_after("hook", 0), 5 * second_ms);
  EXPECT_EQ(taken("hook", 5 * second_ms), "M1");
  EXPECT_EQ(taken("hook", 60 * second_ms - 1), "");
  EXPECT_EQ(taken("hook", 60 * second_ms), "M2");
}

TEST_F(PlanTest, AHangingCallIsOvertakenAfterPatienceAndBothMayArrive) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 1000), "M1");
  const Attempt hanging = last_;
  EXPECT_EQ(taken("hook", 5999), "");
  ASSERT_EQ(taken("hook", 6000), "M1");
  EXPECT_EQ(answered(took, 6100).ending, Ending::delivered);
  EXPECT_EQ(plan_.size(), 1U) << "an answer is still to come";
  EXPECT_THAT(plan_.undelivered(true), IsEmpty());
  EXPECT_THAT(plan_.undelivered(false), IsEmpty());
  EXPECT_EQ(taken("hook", hour_ms), "");
  plan_.withdraw("A1", settled_);
  EXPECT_THAT(endings(), IsEmpty());
  EXPECT_EQ(plan_.answer(hanging, busy, at(21000)).ending, Ending::delivered);
  EXPECT_EQ(plan_.size(), 0U);
}

TEST_F(PlanTest, WithAHangingCallTheOtherChannelKeepsItsRounds) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  const Attempt hanging = last_;
  ASSERT_EQ(taken("hook", 5000), "M1");
  const Aftermath aftermath = answered(busy, 5000);
  EXPECT_TRUE(aftermath.in_flight);
  EXPECT_EQ(aftermath.again_in_ms, 10 * second_ms);
  ASSERT_EQ(taken("hook", 15000), "M1");
  EXPECT_TRUE(answered(refusal, 15000).in_flight);
  EXPECT_EQ(taken("hook", hour_ms), "") << "refused; only the hanging call is left";
  EXPECT_EQ(plan_.answer(hanging, busy, at(hour_ms)).again_in_ms, 20 * second_ms);
}

TEST_F(PlanTest, TheMostUrgentThenTheLongestWaitingComesFirst) {
  add({.id = "M1", .occurrence = "A1", .person = "ben", .priority = Priority::low}, 0);
  add({.id = "M2", .occurrence = "A2", .person = "ben", .priority = Priority::medium}, 0);
  add({.id = "M3", .occurrence = "A3", .person = "ben"}, 0);
  add({.id = "M4", .occurrence = "A4", .person = "ben"}, 1);
  EXPECT_EQ(taken("hook", 1), "M3");
  answered(busy, 1);  // until 10001
  EXPECT_EQ(taken("hook", 2), "M4");
  EXPECT_EQ(taken("hook", 2), "M2");
  EXPECT_EQ(taken("hook", 2), "M1");
  EXPECT_EQ(taken("hook", 2), "");
}

TEST_F(PlanTest, TwoAddressesOnOneChannelAreTwoSteps) {
  add({.id = "M1", .person = "two-boxes"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  EXPECT_EQ(last_.step, 0U);
  answered(busy, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  EXPECT_EQ(last_.step, 1U);
  EXPECT_EQ(answered(took, 0).ending, Ending::delivered);
}

TEST_F(PlanTest, WithdrawnMessagesAreNotSentButOverIs) {
  add({.id = "M1"}, 0);
  add({.id = "M2", .person = "ben"}, 0);
  add({.id = "M3", .occurrence = "A2"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  plan_.withdraw("A1", settled_);
  EXPECT_THAT(endings(), ElementsAre("M2 withdrawn"));
  add({.id = "M4", .reason = TellReason::over, .priority = Priority::medium}, 0);
  add({.id = "M5", .person = "ben", .reason = TellReason::over, .priority = Priority::medium}, 0);
  EXPECT_THAT(endings(), ElementsAre("M5 not-needed")) << "ben never heard of it";
  EXPECT_EQ(answered(busy, 10).ending, Ending::withdrawn) << "not tried again";
  plan_.withdraw("A1", settled_);
  EXPECT_THAT(endings(), IsEmpty());
  EXPECT_EQ(taken("mail", 10), "M3");
  EXPECT_EQ(taken("mail", 10), "M4");
}

TEST_F(PlanTest, AnOldOverNeverComesAfterANewAlarm) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(took, 0);
  add({.id = "M2", .reason = TellReason::over}, 10);
  add({.id = "M3", .priority = Priority::medium}, 20);  // the same occurrence, raised again
  EXPECT_THAT(endings(), ElementsAre("M2 replaced"));
  add({.id = "M4", .reason = TellReason::over}, 30);
  EXPECT_THAT(endings(), ElementsAre("M3 replaced"));
  EXPECT_EQ(taken("mail", 30), "M4") << "of M1 they heard";
}

TEST_F(PlanTest, AnOverUnderWayForgetsOnlyWhatWasBeforeIt) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(took, 0);
  add({.id = "M2", .reason = TellReason::over}, 10);
  ASSERT_EQ(taken("mail", 10), "M2");
  const Attempt over = last_;
  EXPECT_THAT(plan_.told(), ::testing::SizeIs(1)) << "for whoever takes the outbox over now";
  add({.id = "M3"}, 20);  // raised again while the over hangs
  ASSERT_EQ(taken("mail", 20), "M3");
  answered(took, 20);
  EXPECT_EQ(plan_.answer(over, busy, at(30)).ending, Ending::replaced);
  add({.id = "M4", .reason = TellReason::over}, 40);
  EXPECT_EQ(taken("mail", 40), "M4");
  answered(took, 40);
  add({.id = "M5", .reason = TellReason::over}, 50);
  EXPECT_THAT(endings(), ElementsAre("M5 not-needed"));
}

TEST_F(PlanTest, WithdrawnInFlightMayStillArrive) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  plan_.withdraw("A1", settled_);
  EXPECT_EQ(answered(took, 10).ending, Ending::delivered);
}

TEST_F(PlanTest, AnAttemptThatFailedCountsAsTold) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(busy, 0);
  plan_.withdraw("A1", settled_);
  add({.id = "M2", .reason = TellReason::over}, 1);
  EXPECT_THAT(endings(), ElementsAre("M1 withdrawn"));
  ASSERT_EQ(taken("mail", 1), "M2");
  EXPECT_THAT(plan_.told(), ::testing::SizeIs(1));
  answered(took, 2);
  EXPECT_THAT(plan_.told(), IsEmpty());
}

TEST_F(PlanTest, ToldIsPerPersonAndOccurrenceAndSurvivesAStart) {
  plan_.remember_told({"A7", "ben"});
  plan_.remember_told({"A7", "ben"});
  plan_.remember_told({"", "ben"});
  EXPECT_THAT(plan_.told(), ::testing::SizeIs(1));
  add({.id = "M1", .occurrence = "A7", .person = "anna", .reason = TellReason::over}, 0);
  add({.id = "M2", .occurrence = "A8", .person = "ben", .reason = TellReason::over}, 0);
  EXPECT_THAT(endings(), ElementsAre("M1 not-needed", "M2 not-needed"));
  add({.id = "M3", .occurrence = "A7", .person = "ben", .reason = TellReason::over}, 0);
  EXPECT_EQ(taken("hook", 0), "M3");
}

TEST_F(PlanTest, ARepeatTakesThePlaceOfTheOlderTextAndOfItsWait) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(busy, 0);
  ASSERT_EQ(taken("hook", 0), "M1");
  answered(busy, 0);  // until 10 s
  add({.id = "M2", .reason = TellReason::repeated}, 1000);
  ASSERT_EQ(settled_.size(), 1U);
  EXPECT_EQ(settled_[0].why, "replaced by M2");
  EXPECT_THAT(endings(), ElementsAre("M1 replaced"));
  EXPECT_EQ(taken("mail", 9999), "");
  ASSERT_EQ(taken("mail", 10000), "M2");
  answered(busy, 10000);
  ASSERT_EQ(taken("hook", 10000), "M2");
  EXPECT_EQ(answered(busy, 10000).again_in_ms, 20 * second_ms);
}

TEST_F(PlanTest, ARepeatForgetsARefusal) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  answered(refusal, 0);
  add({.id = "M2", .reason = TellReason::repeated}, 1000);
  EXPECT_EQ(taken("mail", 1000), "M2");
}

TEST_F(PlanTest, NewsBeginsAfresh) {
  for (const TellReason news : {TellReason::worse, TellReason::reached_harm}) {
    add({.id = "M1"}, 0);
    ASSERT_EQ(taken("mail", 0), "M1");
    answered(busy, 0);
    ASSERT_EQ(taken("hook", 0), "M1");
    answered(busy, 0);
    add({.id = "M2", .reason = news}, 1000);
    EXPECT_THAT(endings(), ElementsAre("M1 replaced"));
    ASSERT_EQ(taken("mail", 1000), "M2");
    answered(took, 1000);
  }
}

TEST_F(PlanTest, ALowerPriorityDoesNotReplaceAHigherOneButOverDoes) {
  add({.id = "M1"}, 0);
  add({.id = "M2", .reason = TellReason::repeated, .priority = Priority::medium}, 0);
  EXPECT_THAT(endings(), IsEmpty());
  add({.id = "M3", .reason = TellReason::repeated}, 0);
  EXPECT_THAT(endings(), ElementsAre("M1 replaced", "M2 replaced"));
  ASSERT_EQ(taken("mail", 0), "M3");
  answered(busy, 0);
  add({.id = "M4", .reason = TellReason::over, .priority = Priority::low}, 0);
  EXPECT_THAT(endings(), ElementsAre("M3 replaced"));
  EXPECT_EQ(taken("mail", 0), "M4");
}

TEST_F(PlanTest, OverOfWhatNobodyTriedToTellTakesItAlong) {
  add({.id = "M1", .not_before_ms = hour_ms}, 0);
  add({.id = "M2", .reason = TellReason::over}, 10);
  EXPECT_THAT(endings(), ElementsAre("M1 replaced", "M2 not-needed"));
  EXPECT_EQ(plan_.size(), 0U);
}

TEST_F(PlanTest, ReplacedInFlightItIsNotTriedAgainAndTheNewerOneGoesItsOwnWay) {
  add({.id = "M1"}, 0);
  ASSERT_EQ(taken("mail", 0), "M1");
  const Attempt first = last_;
  add({.id = "M2", .reason = TellReason::repeated}, 1000);
  EXPECT_THAT(endings(), IsEmpty());
  EXPECT_EQ(taken("mail", 1000), "M2");
  const Aftermath aftermath = plan_.answer(first, busy, at(2000));
  EXPECT_EQ(aftermath.ending, Ending::replaced);
  EXPECT_EQ(aftermath.words, "replaced by M2");
  EXPECT_EQ(plan_.size(), 1U);
}

TEST_F(PlanTest, DrillsDoNotReplaceEachOther) {
  add({.id = "M1", .occurrence = ""}, 0);
  add({.id = "M2", .occurrence = ""}, 0);
  plan_.withdraw("", settled_);
  EXPECT_THAT(endings(), IsEmpty());
  EXPECT_EQ(plan_.size(), 2U);
}

TEST_F(PlanTest, TwoHundredRepeatsToADeadServerAreOneMessage) {
  for (int i = 0; i < 200; ++i) {
    const std::int64_t now = i * (3 * minute_ms);
    add({.id = "M" + std::to_string(i), .reason = i == 0 ? TellReason::raised : TellReason::repeated}, now);
    while (!taken("mail", now).empty()) answered(busy, now);
    while (!taken("hook", now).empty()) answered(busy, now);
    EXPECT_EQ(plan_.size(), 1U);
  }
  ASSERT_EQ(plan_.undelivered(false).size(), 1U);
  EXPECT_EQ(plan_.undelivered(false)[0].id, "M199");
}

TEST_F(PlanTest, TheSameIdIsNotTakenTwice) {
  add({.id = "M1"}, 0);
  add({.id = "M1"}, 0);
  EXPECT_EQ(plan_.size(), 1U);
  EXPECT_THAT(endings(), IsEmpty());
}

TEST_F(PlanTest, WithoutAChannelItEndsAtOnceInWords) {
  add({.id = "M1", .person = "nobody"}, 0);
  add({.id = "M2", .person = "gone"}, 0);  // its only channel is not there
  add({.id = "M3", .person = "stranger"}, 0);
  ASSERT_EQ(settled_.size(), 3U);
  EXPECT_EQ(settled_[0].why, "Person nobody has no delivery channel");
  EXPECT_EQ(settled_[2].why, "no such person: stranger");
  EXPECT_THAT(endings(), ElementsAre("M1 no-channel", "M2 no-channel", "M3 no-channel"));
  EXPECT_EQ(plan_.size(), 0U);
}

TEST(PlanBounds, AFullOutboxDropsTheLeastUrgentOldest) {
  PlanSettings settings;
  settings.most_messages = 3;
  settings.most_told = 2;
  DeliveryPlan plan({person("anna", {"mail"})}, {"mail"}, settings);
  std::vector<Settlement> settled;
  const auto add = [&](const std::string& id, Priority priority) {
    plan.add(message({.id = "M" + id, .occurrence = "A" + id, .priority = priority}), at(0), settled);
    std::string dropped;
    for (const Settlement& one : settled) {
      EXPECT_EQ(one.ending, Ending::dropped);
      EXPECT_THAT(one.why, HasSubstr("the outbox is full (3 messages)"));
      dropped += one.id;
    }
    settled.clear();
    return dropped;
  };
  EXPECT_EQ(add("1", Priority::medium), "");
  EXPECT_EQ(add("2", Priority::low), "");
  EXPECT_EQ(add("3", Priority::high), "");
  EXPECT_EQ(add("4", Priority::medium), "M2");
  EXPECT_EQ(add("5", Priority::low), "M5") << "less urgent than all";
  EXPECT_EQ(add("6", Priority::medium), "M1") << "the oldest of the least urgent";
  const auto attempt = plan.take("mail", at(0));
  ASSERT_TRUE(attempt);
  EXPECT_EQ(attempt->letter.id, "M3");
  EXPECT_EQ(add("7", Priority::high), "M4");
  EXPECT_EQ(add("8", Priority::high), "M6");
  EXPECT_EQ(add("9", Priority::high), "M7") << "the one in flight cannot be dropped";
  EXPECT_EQ(plan.size(), 3U);
  ASSERT_TRUE(plan.take("mail", at(0)));
  ASSERT_TRUE(plan.take("mail", at(0)));
  EXPECT_EQ(add("10", Priority::high), "M10") << "all are in flight";
  EXPECT_EQ(plan.told().size(), 2U);
  EXPECT_EQ(plan.told()[0].occurrence, "A8") << "the oldest is forgotten";
  EXPECT_EQ(plan.undelivered(true).size(), 3U);
}

}  // namespace
}  // namespace baskwell::notify
