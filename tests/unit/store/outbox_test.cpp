// The outbox: a message's way through its states, and what a start after a crash finds.

#include <gtest/gtest.h>

#include <utility>

#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Folder;
using test::open_reader;
using test::open_store;
using test::start;

class Outbox : public testing::Test {
 protected:
  void put(const std::string& id, const std::string& occurrence, TellReason reason = TellReason::raised) {
    Batch batch;
    batch.messages.push_back(test::message_of(id, occurrence));
    batch.messages.back().reason = reason;
    batch.messages.back().not_before = start + 30;
    store_->submit(std::move(batch));
    ASSERT_TRUE(store_->flush());
  }
  void attempt(const std::string& id, const std::string& channel, UtcMs at, bool expect_ok = true) {
    bool ok = false;
    std::string error;
    store_->record_attempt({id, channel, at}, [&](bool committed, const std::string& text) {
      ok = committed;
      error = text;
    });
    ASSERT_TRUE(store_->flush());
    EXPECT_EQ(ok, expect_ok) << error;
  }
  void end(AttemptOutcome outcome) {
    store_->record_outcome(std::move(outcome));
    ASSERT_TRUE(store_->flush());
  }
  [[nodiscard]] OutboxMessage message(const std::string& id) const {
    return *open_reader(folder_.file()).message(id).value();
  }

  Folder folder_;
  std::unique_ptr<Store> store_ = open_store(folder_.file());
};

TEST_F(Outbox, KeepsEveryPartOfAMessage) {
  Batch batch;
  MessageDraft given = test::message_of("M1", "A1");
  given.reason = TellReason::over;
  given.priority = Priority::medium;
  given.written = start + 1;
  given.not_before = start + 2;
  given.only_if_told = true;
  given.body =
      "31.5 \xC2\xB0"
      "C\n\"quoted\"; -- no SQL";
  batch.messages.push_back(given);
  store_->submit(std::move(batch));
  ASSERT_TRUE(store_->flush());
  const OutboxMessage kept = message("M1");
  EXPECT_EQ(kept.draft.id, given.id);
  EXPECT_EQ(kept.draft.occurrence, given.occurrence);
  EXPECT_EQ(kept.draft.person, given.person);
  EXPECT_EQ(kept.draft.reason, given.reason);
  EXPECT_EQ(kept.draft.priority, given.priority);
  EXPECT_EQ(kept.draft.written, given.written);
  EXPECT_EQ(kept.draft.not_before, given.not_before);
  EXPECT_EQ(kept.draft.only_if_told, given.only_if_told);
  EXPECT_EQ(kept.draft.headline, given.headline);
  EXPECT_EQ(kept.draft.body, given.body);
  EXPECT_EQ(kept.draft.json, given.json);
  EXPECT_EQ(kept.state, MessageState::waiting);
  EXPECT_EQ(kept.next_try, given.not_before);
  EXPECT_EQ(kept.attempts, 0U);
}

TEST_F(Outbox, GoesFromWaitingByAttemptsToDelivered) {
  put("M1", "A1");
  attempt("M1", "mail", start + 40);
  EXPECT_EQ(message("M1").state, MessageState::attempted);
  end({{"M1", "mail", start + 40}, start + 45, false, "450 try later", MessageState::waiting, start + 90});
  EXPECT_EQ(message("M1").state, MessageState::waiting);
  EXPECT_EQ(message("M1").next_try, start + 90);
  attempt("M1", "hook", start + 91);
  end({{"M1", "hook", start + 91}, start + 95, true, "200", MessageState::delivered, {}});
  EXPECT_EQ(message("M1").state, MessageState::delivered);
  EXPECT_EQ(message("M1").attempts, 2U);

  const auto attempts = open_reader(folder_.file()).attempts("M1").value();
  ASSERT_EQ(attempts.size(), 2U);
  EXPECT_EQ(attempts[0].attempt.channel, "mail");
  EXPECT_FALSE(attempts[0].delivered);
  EXPECT_EQ(attempts[0].answer, "450 try later");
  EXPECT_EQ(attempts[0].ended, start + 45);
  EXPECT_EQ(attempts[1].attempt.at, start + 91);
  EXPECT_TRUE(attempts[1].delivered);
}

TEST_F(Outbox, AStartTellsWaitingFromUnknown) {
  put("M1", "A1");
  put("M2", "A2");
  put("M3", "A3");
  attempt("M2", "mail", start + 40);  // and then the power goes
  attempt("M3", "mail", start + 41);
  end({{"M3", "mail", start + 41}, start + 42, true, "250", MessageState::delivered, {}});
  store_.reset();
  store_ = open_store(folder_.file());
  const PendingMessages pending = store_->pending_messages().value();
  ASSERT_EQ(pending.waiting.size(), 1U);
  EXPECT_EQ(pending.waiting[0].draft.id, "M1");
  ASSERT_EQ(pending.unknown_outcome.size(), 1U);
  EXPECT_EQ(pending.unknown_outcome[0].draft.id, "M2");
  EXPECT_EQ(pending.unknown_outcome[0].attempts, 1U);
}

TEST_F(Outbox, WithdrawsWhatWaitsButNotOverNorWhatIsOnItsWay) {
  put("M1", "A1");
  put("M2", "A1", TellReason::over);
  put("M3", "A1", TellReason::repeated);
  put("M4", "A2");
  attempt("M3", "mail", start + 40);
  Batch batch;
  batch.withdrawn.emplace_back("A1");
  batch.messages.push_back(test::message_of("M5", "A1"));  // of the same step: stays
  store_->submit(std::move(batch));
  ASSERT_TRUE(store_->flush());
  EXPECT_EQ(message("M1").state, MessageState::withdrawn);
  EXPECT_EQ(message("M2").state, MessageState::waiting);
  EXPECT_EQ(message("M3").state, MessageState::attempted);
  EXPECT_EQ(message("M4").state, MessageState::waiting);
  EXPECT_EQ(message("M5").state, MessageState::waiting);
}

TEST_F(Outbox, KnowsWhoWasTold) {
  put("M1", "A1");
  const StoreReader reader = open_reader(folder_.file());
  EXPECT_FALSE(reader.was_told("A1", "ines").value());
  attempt("M1", "mail", start + 40);
  EXPECT_TRUE(reader.was_told("A1", "ines").value());  // it may have reached her
  EXPECT_FALSE(reader.was_told("A1", "bo").value());
  EXPECT_FALSE(reader.was_told("A2", "ines").value());
  end({{"M1", "mail", start + 40}, start + 41, false, "no such address", MessageState::failed, {}});
  EXPECT_FALSE(reader.was_told("A1", "ines").value());
}

TEST_F(Outbox, RefusesWhatDoesNotFitInWordsAndKeepsTheRest) {
  put("M1", "A1");
  attempt("M9", "mail", start, false);
  std::string error;
  Batch batch;
  batch.messages.push_back(test::message_of("M1", "A7"));
  batch.messages.push_back(test::message_of("M2", "A7"));
  batch.on_committed = [&](bool ok, const std::string& text) { error = ok ? "" : text; };
  store_->submit(std::move(batch));
  ASSERT_TRUE(store_->flush());
  EXPECT_NE(error.find("message M1 is in the store already"), std::string::npos) << error;
  EXPECT_EQ(message("M1").draft.occurrence, "A1");
  EXPECT_EQ(message("M2").draft.occurrence, "A7");
  EXPECT_TRUE(store_->stats().working);
}

}  // namespace
}  // namespace baskwell::store
