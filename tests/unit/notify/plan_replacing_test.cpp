// The plan: what is withdrawn, replaced, told as over, dropped at the bound.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "plan_fixture.h"

namespace baskwell::notify {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

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
