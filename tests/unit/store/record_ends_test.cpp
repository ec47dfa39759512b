// What is left to know of alarms and messages where the state beside the record is lost.

#include <gtest/gtest.h>

#include <utility>

#include "store/fixture.h"

namespace baskwell::store {
namespace {

TEST(RecordEnds, AreTheOpenAlarmsAndTheHighestNumbers) {
  const test::Folder folder;
  const auto store = test::open_store(folder.file());
  ASSERT_TRUE(store->flush());
  const RecordEnds none = test::open_reader(folder.file()).record_ends().value();
  EXPECT_TRUE(none.open.empty());
  EXPECT_EQ(none.last_occurrence, 0U);
  EXPECT_EQ(none.last_message, 0U);

  Batch batch;
  batch.at = test::start;
  const auto add = [&](const char* occurrence, const char* subject, AlarmState to) {
    TransitionRecord record = test::transition_of(occurrence, test::start);
    record.subject = subject;
    record.to = to;
    batch.transitions.push_back(std::move(record));
  };
  add("A9", "north/hot", AlarmState::unacknowledged);
  add("A10", "south/hot", AlarmState::unacknowledged);
  add("A9", "north/hot", AlarmState::acknowledged);
  add("A10", "south/hot", AlarmState::normal);
  batch.messages = {test::message_of("M9", "A9"), test::message_of("M100", "A10")};
  store->submit(std::move(batch));
  ASSERT_TRUE(store->flush());

  const RecordEnds ends = test::open_reader(folder.file()).record_ends().value();
  ASSERT_EQ(ends.open.size(), 1U);
  EXPECT_EQ(ends.open[0].occurrence, "A9");
  EXPECT_EQ(ends.open[0].to, AlarmState::acknowledged);
  EXPECT_EQ(ends.last_occurrence, 10U);  // not by the alphabet
  EXPECT_EQ(ends.last_message, 100U);
}

}  // namespace
}  // namespace baskwell::store
