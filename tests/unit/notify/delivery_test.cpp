// The delivery threads with channels made of functions and a clock that stands still unless it is moved.

#include "notify/delivery.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <optional>
#include <set>
#include <stdexcept>
#include <thread>

#include "fakes.h"
#include "outbox_words.h"

namespace baskwell::notify {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using ::testing::Not;

class DeliveryTest : public ::testing::Test {
 protected:
  DeliverySettings settings() {
    DeliverySettings made;
    made.people = {person("anna", {"mail", "hook"}), person("ben", {"hook"}), person("nobody", {})};
    made.channels = {{"mail", mail_.call(&diary_), 20000}, {"hook", hook_.call(&diary_), 5000}};
    made.clock = [this] { return clock_.now(); };
    return made;
  }

  DeliveryCallbacks callbacks() {
    DeliveryCallbacks made;
    made.before_attempt = [this](const std::string& id, const std::string& channel, UtcMs) -> Outcome {
      diary_.write("before " + id + " " + channel);
      if (store_down_) return Error{"disk full"};
      return Done{};
    };
    made.after_attempt = [this](const AttemptDone& done) {
      diary_.write("after " + done.message + " " + done.channel + " " +
                   std::string(name_of(done.answer.answer)) +
                   (done.aftermath.ending ? " " + std::string(name_of(*done.aftermath.ending)) : ""));
    };
    made.settled = [this](const Settlement& settlement) {
      diary_.write("settled " + settlement.id + " " + std::string(name_of(settlement.ending)));
    };
    made.post = [this](const DeliveryEvent& event) {
      diary_.write("post " + event.channel + " " + event.person + " " + event.occurrence + " " +
                   (event.delivered ? "delivered" : "failed") + (event.acknowledged ? " acknowledged" : "") +
                   ": " + event.detail);
    };
    return made;
  }

  void begin(Resume resume = {}) {
    delivery_.emplace(settings(), callbacks());
    delivery_->start(std::move(resume));
  }
  void tell(const Wanted& wanted, const std::vector<std::string>& withdrawn = {}) {
    delivery_->tell({message(wanted)}, withdrawn);
  }
  void pass(std::int64_t duration_ms) {
    clock_.advance(duration_ms);
    delivery_->wake();
  }

  FakeClock clock_{at(0)};
  Diary diary_;
  FakeChannel mail_, hook_;
  std::atomic<bool> store_down_ = false;
  std::optional<Delivery> delivery_;
};

TEST_F(DeliveryTest, AnAttemptIsWrittenDownBeforeAndAfter) {
  begin();
  tell({.id = "M1"});
  ASSERT_TRUE(diary_.wait_for(4));
  EXPECT_THAT(diary_.lines(),
              ElementsAre("before M1 mail", "call M1 20000", "after M1 mail delivered delivered",
                          "post mail anna A1 delivered: 250 taken"));
  const DeliveryCounts counts = delivery_->counts();
  EXPECT_EQ(counts.attempts, 1U);
  EXPECT_EQ(counts.delivered, 1U);
  EXPECT_EQ(counts.failed + counts.unrecorded + counts.dropped + counts.waiting, 0U);
}

TEST_F(DeliveryTest, AnAcknowledgementIsPosted) {
  mail_.will_answer({on_it});
  begin();
  tell({.id = "M1"});
  EXPECT_TRUE(diary_.wait_for("post mail anna A1 delivered acknowledged: on it"));
}

TEST_F(DeliveryTest, WithTheStoreDownPeopleAreToldAnyway) {
  store_down_ = true;
  begin();
  tell({.id = "M1"});
  ASSERT_TRUE(diary_.wait_for("post mail anna A1 delivered: 250 taken"));
  EXPECT_EQ(delivery_->counts().unrecorded, 1U);
}

TEST_F(DeliveryTest, AFailedAttemptGoesOnAtOnceAndSaysSo) {
  mail_.will_answer({busy});
  begin();
  tell({.id = "M1", .priority = Priority::medium});
  ASSERT_TRUE(diary_.wait_for(8));
  EXPECT_THAT(diary_.lines(), Contains("post mail anna A1 failed: connection refused; goes on to hook"));
  EXPECT_THAT(diary_.lines(), Contains("after M1 hook delivered delivered"));
}

// Fail the first N attempts, for N = 0, 1, 2 ...: delivered by attempt N + 1, never more, never fewer.
TEST_F(DeliveryTest, HoweverOftenItFailsItArrivesOnce) {
  begin();
  std::size_t calls = 0;
  for (std::size_t failures = 0; failures < 9; ++failures) {
    SCOPED_TRACE(failures);
    const std::string id = "M" + std::to_string(failures);
    hook_.will_answer(std::vector<ChannelAnswer>(failures, busy));
    tell({.id = id, .occurrence = "A" + id, .person = "ben"});
    for (std::size_t attempt = 1; attempt <= failures; ++attempt) {
      ASSERT_TRUE(hook_.wait_for_calls(calls + attempt));
      // The wait is told before the clock moves on.
      ASSERT_TRUE(diary_.wait_for(4 * (calls + attempt)));
      pass(5 * minute_ms);
    }
    calls += failures + 1;
    ASSERT_TRUE(hook_.wait_for_calls(calls));
    ASSERT_TRUE(diary_.wait_for(4 * calls));
    EXPECT_EQ(diary_.lines().back(), "post hook ben A" + id + " delivered: 250 taken");
    EXPECT_EQ(delivery_->counts().waiting, 0U);
  }
  EXPECT_EQ(delivery_->counts().delivered, 9U);
  EXPECT_EQ(delivery_->counts().failed, 36U);
}

TEST_F(DeliveryTest, AChannelThatThrowsIsAFailedAttempt) {
  DeliverySettings made = settings();
  made.channels[0].call = [](const Letter&, std::uint32_t) -> ChannelAnswer {
    throw std::runtime_error("no memory");
  };
  delivery_.emplace(std::move(made), callbacks());
  delivery_->start({});
  tell({.id = "M1"});
  EXPECT_TRUE(diary_.wait_for("post mail anna A1 failed: the channel failed: no memory; goes on to hook"));
  EXPECT_TRUE(hook_.wait_for_calls(1));
}

TEST_F(DeliveryTest, AHangingChannelDelaysNoOther) {
  mail_.hang();
  begin();
  tell({.id = "M1"});
  ASSERT_TRUE(mail_.wait_for_calls(1));
  for (int i = 2; i < 50; ++i)
    tell({.id = "M" + std::to_string(i), .occurrence = "A" + std::to_string(i), .person = "ben"});
  EXPECT_TRUE(hook_.wait_for_calls(48)) << "though the clock stands still";
  EXPECT_THAT(hook_.ids(), Not(Contains("M1")));
  pass(5 * second_ms);
  EXPECT_TRUE(hook_.wait_for_calls(49)) << "after its patience the high one goes by the other channel too";
  EXPECT_EQ(hook_.ids().back(), "M1");
  mail_.release();
  EXPECT_TRUE(diary_.wait_for("after M1 mail delivered delivered"));
  EXPECT_FALSE(mail_.was_called_twice_at_once());
  EXPECT_FALSE(hook_.was_called_twice_at_once());
}

TEST_F(DeliveryTest, WithdrawnIsSettledAndNotSent) {
  begin();
  tell({.id = "M1", .not_before_ms = hour_ms});
  tell({.id = "M2", .occurrence = "A2", .not_before_ms = hour_ms}, {"A1"});
  ASSERT_TRUE(diary_.wait_for("settled M1 withdrawn"));
  pass(hour_ms);
  ASSERT_TRUE(mail_.wait_for_calls(1));
  EXPECT_THAT(mail_.ids(), ElementsAre("M2"));
}

TEST_F(DeliveryTest, OneStepWithdrawsFirst) {
  begin();
  tell({.id = "M1"}, {"A1"});
  EXPECT_TRUE(mail_.wait_for_calls(1));
}

TEST_F(DeliveryTest, AStepOfTheWallClockIsNoticedWhenTold) {
  begin();
  tell({.id = "M1", .not_before_ms = hour_ms});
  clock_.step(2 * hour_ms, 0);
  delivery_->wake();
  EXPECT_TRUE(mail_.wait_for_calls(1));
}

TEST_F(DeliveryTest, GivingUpIsSettledAndPosted) {
  mail_.will_answer({busy});
  hook_.will_answer({busy});
  begin();
  tell({.id = "M1", .priority = Priority::medium});
  ASSERT_TRUE(diary_.wait_for(8));
  mail_.hang();
  tell({.id = "M2", .occurrence = "A2"});  // keeps mail busy, so that M1 is not tried again
  ASSERT_TRUE(mail_.wait_for_calls(2));
  hook_.hang();
  tell({.id = "M3", .occurrence = "A3", .person = "ben"});
  ASSERT_TRUE(hook_.wait_for_calls(2));
  pass(6 * hour_ms);
  EXPECT_TRUE(diary_.wait_for("settled M1 gave-up"));
  EXPECT_TRUE(diary_.wait_for("post  anna A1 failed: given up after 360 min"));
  mail_.release();
  hook_.release();
}

TEST_F(DeliveryTest, APersonWithoutAChannelIsPosted) {
  begin();
  tell({.id = "M1", .person = "nobody"});
  EXPECT_TRUE(diary_.wait_for("settled M1 no-channel"));
  EXPECT_TRUE(diary_.wait_for("post  nobody A1 failed: Person nobody has no delivery channel"));
}

TEST_F(DeliveryTest, AStartSendsWhatWaitsAndReportsWhatItCannotKnow) {
  Resume resume;
  resume.waiting = {message({.id = "M1"}), message({.id = "M3", .reason = TellReason::over}),
                    message({.id = "M4", .occurrence = "A2", .reason = TellReason::over}),
                    message({.id = "M5", .occurrence = "A5", .person = "ben", .reason = TellReason::over})};
  resume.unsure = {message({.id = "M2", .occurrence = "A2"})};
  resume.told = {{"A5", "ben"}};
  begin(std::move(resume));
  ASSERT_TRUE(mail_.wait_for_calls(1));
  ASSERT_TRUE(hook_.wait_for_calls(1));
  ASSERT_TRUE(diary_.wait_for("settled M2 unsure"));
  ASSERT_TRUE(diary_.wait_for("settled M3 not-needed"));
  delivery_->stop(10000);
  EXPECT_THAT(mail_.ids(), ElementsAre("M4")) << "M2 is not sent again, but its over is";
  EXPECT_THAT(hook_.ids(), ElementsAre("M5"));
}

TEST_F(DeliveryTest, AStopHandsOverWhatIsLeft) {
  begin();
  tell({.id = "M1"});
  ASSERT_TRUE(diary_.wait_for(4));
  mail_.hang();
  tell({.id = "M2", .occurrence = "A2"});
  ASSERT_TRUE(mail_.wait_for_calls(2));
  tell({.id = "M3", .occurrence = "A3", .not_before_ms = hour_ms});
  const StopReport report = delivery_->stop(0);
  EXPECT_THAT(report.hanging, ElementsAre("mail"));
  ASSERT_EQ(report.left.waiting.size(), 1U);
  EXPECT_EQ(report.left.waiting[0].id, "M3");
  ASSERT_EQ(report.left.unsure.size(), 1U);
  EXPECT_EQ(report.left.unsure[0].id, "M2");
  EXPECT_EQ(report.left.told.size(), 2U);

  const auto lines = diary_.lines();
  delivery_.reset();
  mail_.release();
  ASSERT_TRUE(mail_.wait_for_rest());
  EXPECT_EQ(diary_.lines(), lines) << "nothing is called after stop()";
}

TEST_F(DeliveryTest, AStopWaitsForAnAttemptThatEndsInTime) {
  mail_.hang();
  begin();
  tell({.id = "M1"});
  ASSERT_TRUE(mail_.wait_for_calls(1));
  std::thread other([&] { mail_.release(); });
  const StopReport report = delivery_->stop(10000);
  other.join();
  EXPECT_THAT(report.hanging, IsEmpty());
  EXPECT_THAT(report.left.unsure, IsEmpty());
  EXPECT_EQ(diary_.lines().back(), "post mail anna A1 delivered: 250 taken");
  EXPECT_THAT(delivery_->stop(0).left.told, IsEmpty()) << "a second stop reports nothing";
}

TEST_F(DeliveryTest, ACallbackMayTell) {
  DeliveryCallbacks made = callbacks();
  made.post = [this](const DeliveryEvent& event) {
    diary_.write("post " + event.occurrence);
    if (event.occurrence != "A3")
      tell({.id = "M" + event.occurrence, .occurrence = event.occurrence == "A1" ? "A2" : "A3"});
  };
  delivery_.emplace(settings(), std::move(made));
  delivery_->start({});
  tell({.id = "M1"});
  EXPECT_TRUE(diary_.wait_for("post A3"));
}

TEST_F(DeliveryTest, ManyThreadsTellAndEveryMessageArrivesOnce) {
  begin();
  constexpr int tellers = 4;
  constexpr int each = 200;
  std::vector<std::thread> threads;
  threads.reserve(tellers);
  for (int teller = 0; teller < tellers; ++teller)
    threads.emplace_back([&, teller] {
      for (int i = 0; i < each; ++i) {
        const std::string id = std::to_string(teller) + "." + std::to_string(i);
        tell({.id = "M" + id, .occurrence = "A" + id, .person = i % 2 == 0 ? "anna" : "ben"});
      }
    });
  for (std::thread& thread : threads) thread.join();
  ASSERT_TRUE(mail_.wait_for_calls(tellers * each / 2));
  ASSERT_TRUE(hook_.wait_for_calls(tellers * each / 2));
  EXPECT_THAT(delivery_->stop(10000).left.waiting, IsEmpty());
  auto ids = mail_.ids();
  for (const std::string& id : hook_.ids()) ids.push_back(id);
  std::sort(ids.begin(), ids.end());
  EXPECT_EQ(ids.size(), static_cast<std::size_t>(tellers * each));
  EXPECT_EQ(std::unique(ids.begin(), ids.end()), ids.end());
}

// Else a store could find a message waiting that is being sent, and after a crash it would be sent twice.
TEST_F(DeliveryTest, AnAnswerIsWrittenDownBeforeTheNextChannelIsTried) {
  constexpr std::size_t count = 300;
  mail_.will_answer(std::vector<ChannelAnswer>(count, busy));
  begin();
  for (std::size_t i = 0; i < count; ++i)
    tell({.id = "M" + std::to_string(i), .occurrence = "A" + std::to_string(i)});
  ASSERT_TRUE(diary_.wait_for(8 * count));
  std::set<std::string> written;
  std::size_t tried_next = 0;
  for (const std::string& line : diary_.lines()) {
    const std::string id =
        line.substr(line.find(' ') + 1, line.find(' ', line.find(' ') + 1) - line.find(' ') - 1);
    if (line == "after " + id + " mail try-again") written.insert(id);
    if (line != "before " + id + " hook") continue;
    ++tried_next;
    EXPECT_EQ(written.count(id), 1U) << id;
  }
  EXPECT_EQ(tried_next, count);
}

TEST_F(DeliveryTest, ADeliveryThatWasNeverStartedEnds) {
  delivery_.emplace(settings(), callbacks());
  tell({.id = "M1"});
  const StopReport report = delivery_->stop(0);
  EXPECT_EQ(report.left.waiting.size(), 1U);
}

}  // namespace
}  // namespace baskwell::notify
