// The plan: order of channels, waits, patience, not_before, giving up.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "plan_fixture.h"

namespace baskwell::notify {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

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

}  // namespace
}  // namespace baskwell::notify
