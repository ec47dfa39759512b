// docs/store.md against a store: every example query of the page is run on a small sample, and its answer is
// the one the page shows; every table and column of the file is on the page.

#include <gtest/gtest.h>

#include <fstream>
#include <memory>
#include <sstream>
#include <utility>

#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::start;

std::string page() {
  std::ifstream file(BASKWELL_SOURCE_DIR "/docs/store.md");
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

struct Example {
  std::string sql;
  std::string answer;
};

// Each ```sql block and the ```text block after it.
std::vector<Example> examples_in(const std::string& text) {
  const std::string open_sql = "```sql\n";
  const std::string open_text = "```text\n";
  std::vector<Example> found;
  std::size_t at = 0;
  while ((at = text.find(open_sql, at)) != std::string::npos) {
    at += open_sql.size();
    const std::size_t sql_end = text.find("```", at);
    const std::size_t answer = text.find(open_text, sql_end);
    if (sql_end == std::string::npos || answer == std::string::npos) break;
    const std::size_t answer_begin = answer + open_text.size();
    const std::size_t answer_end = text.find("```", answer_begin);
    found.push_back({text.substr(at, sql_end - at), text.substr(answer_begin, answer_end - answer_begin)});
    at = answer_end;
  }
  return found;
}

StoredReading sample_reading(Index channel, Decimal value, std::int64_t after_ms) {
  StoredReading reading;
  reading.channel = channel;
  reading.value = value;
  reading.measured = start + after_ms;
  reading.received = start + after_ms + 12;
  reading.elapsed = {100'000 + after_ms};
  return reading;
}

// A basking spot that cools down over half an hour, told of and acknowledged. The page's sample.
void make_sample(const std::string& path) {
  StoreOptions options = test::options_at(start, "3f2c9a40-boot");
  options.program_version = "0.1.0";
  const auto store = test::open_store(path, std::move(options));
  auto room = std::make_shared<Room>();
  for (const char* id : {"shelf-2/basking", "shelf-2/humidity"}) {
    Channel channel;
    channel.id = id;
    room->channels.push_back(std::move(channel));
  }
  room->version =
      store->put_settings({{"room.toml", "[room]\n"}, {"care/royal-python.toml", "# ...\n"}}, start).value();

  Batch batch;
  batch.room = room;
  for (std::int64_t i = 0; i < 6; ++i) {
    batch.readings.push_back(sample_reading(0, {320'625 - i * 20'000, 4}, i * 5 * minute_ms));
  }
  batch.readings.push_back(sample_reading(1, {555, 1}, 30 * minute_ms));
  batch.readings.back().unit = Unit::rh_percent;
  batch.readings.push_back(sample_reading(0, {-127, 0}, 31 * minute_ms));
  batch.readings.back().quality = Quality::fault_code;
  batch.readings.back().own_time = true;
  TransitionRecord raised = test::transition_of("A1", start + 20 * minute_ms);
  raised.subject = "shelf-2/hot/surface";
  raised.value = 24.0625;
  raised.limit = 30;
  raised.why = "below the target band for 10 min";
  raised.priority = Priority::medium;
  raised.level = Level::target;
  batch.transitions.push_back(raised);
  MessageDraft message = test::message_of("M1", "A1");
  message.headline = "Shelf 2, Asha: hot spot 24.1 degC, too cold. Look whether the basking lamp is on";
  batch.messages.push_back(message);
  batch.snapshot = "...";
  batch.at = start + 31 * minute_ms;
  store->submit(std::move(batch));
  store->record_attempt({"M1", "mail", start + 20 * minute_ms + 40}, {});
  store->record_outcome({{"M1", "mail", start + 20 * minute_ms + 40},
                         start + 20 * minute_ms + 900,
                         true,
                         "250 accepted",
                         MessageState::delivered,
                         {}});
  Batch later;
  later.room = room;
  TransitionRecord acknowledged = raised;
  acknowledged.at = start + 26 * minute_ms;
  acknowledged.from = AlarmState::unacknowledged;
  acknowledged.to = AlarmState::acknowledged;
  acknowledged.input = AlarmInput::acknowledge;
  acknowledged.who = "Ines";
  acknowledged.why = "changing the lamp";
  later.transitions.push_back(acknowledged);
  later.notes.push_back({start + 24 * minute_ms, NoteType::lamp_changed, "shelf-2", "lamp changed, 75 W",
                         "Ines", std::nullopt});
  store->submit(std::move(later));
  ASSERT_TRUE(store->flush());
}

TEST(Format, TheExamplesOfThePageGiveTheirAnswers) {
  const test::Folder folder;
  make_sample(folder.file());
  const std::vector<Example> examples = examples_in(page());
  EXPECT_GE(examples.size(), 6U);
  for (const Example& example : examples) {
    std::string answer;
    for (const std::string& row : test::query(folder.file(), example.sql)) answer += row + "\n";
    EXPECT_EQ(answer, example.answer) << example.sql;
  }
}

TEST(Format, ThePageNamesEveryTableAndColumn) {
  const test::Folder folder;
  test::open_store(folder.file()).reset();
  const std::string text = page();
  const auto columns =
      test::query(folder.file(),
                  "SELECT t.name, c.name FROM pragma_table_list t, pragma_table_info(t.name) c "
                  "WHERE t.schema = 'main' AND t.name NOT LIKE 'sqlite%'");
  EXPECT_GT(columns.size(), 60U);
  for (const std::string& row : columns) {
    const std::string table = row.substr(0, row.find('|'));
    const std::string column = row.substr(row.find('|') + 1);
    const std::size_t section = text.find("`" + table + "`");
    ASSERT_NE(section, std::string::npos) << table;
    EXPECT_NE(text.find("`" + column + "`"), std::string::npos) << table << "." << column;
  }
}

}  // namespace
}  // namespace baskwell::store
