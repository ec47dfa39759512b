#include "store/fixture.h"

#include <gtest/gtest.h>
#include <sqlite3.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <utility>

namespace baskwell::store::test {

Folder::Folder() {
  std::string name = (std::filesystem::temp_directory_path() / "baskwell-store-XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) std::abort();
  path_ = name;
}
Folder::~Folder() {
  std::error_code ignored;  // a folder left behind fails no test
  std::filesystem::remove_all(path_, ignored);
}
std::string Folder::file(std::string_view name) const {
  return path_ + "/" + std::string(name);
}

std::shared_ptr<const Room> room_of(int channels, std::uint64_t version) {
  auto room = std::make_shared<Room>();
  room->id = "reptiles";
  room->version = version;
  for (int i = 0; i < channels; ++i) {
    Channel channel;
    channel.id = "shelf-" + std::to_string(i) + "/p" + std::to_string(i);
    room->channels.push_back(std::move(channel));
  }
  return room;
}

StoreOptions options_at(UtcMs now, const std::string& boot_id) {
  StoreOptions options;
  options.boot_id = boot_id;
  options.program_version = "test";
  options.now = now;
  options.retry_first_ms = 1;
  options.retry_most_ms = 8;
  return options;
}

std::unique_ptr<Store> open_store(const std::string& path, StoreOptions options) {
  Result<std::unique_ptr<Store>> opened = Store::open(path, std::move(options));
  if (!opened) {
    ADD_FAILURE() << opened.error().text;
    return nullptr;
  }
  return std::move(opened).value();
}

StoreReader open_reader(const std::string& path) {
  Result<StoreReader> opened = StoreReader::open(path);
  EXPECT_TRUE(opened.ok()) << (opened ? "" : opened.error().text);
  return std::move(opened).value();
}

StoredReading reading_of(Index channel, std::int64_t digits, UtcMs measured) {
  StoredReading reading;
  reading.channel = channel;
  reading.value = {digits, 2};
  reading.measured = measured;
  reading.received = measured + 7;
  reading.elapsed = {measured.ms - start.ms + 5'000};
  return reading;
}

TransitionRecord transition_of(const std::string& occurrence, UtcMs at) {
  TransitionRecord record;
  record.occurrence = occurrence;
  record.kind = AlarmKind::too_cold;
  record.subject = "shelf-1/hot/surface";
  record.from = AlarmState::normal;
  record.to = AlarmState::unacknowledged;
  record.input = AlarmInput::occurs;
  record.priority = Priority::high;
  record.level = Level::harm;
  record.at = at;
  record.value = 18.0625;
  record.limit = 20;
  record.who = "baskwell";
  record.why = "below the harm limit for 2 min";
  return record;
}

MessageDraft message_of(const std::string& id, const std::string& occurrence) {
  MessageDraft draft;
  draft.id = id;
  draft.occurrence = occurrence;
  draft.person = "ines";
  draft.reason = TellReason::raised;
  draft.priority = Priority::high;
  draft.written = start;
  draft.not_before = start;
  draft.headline = "Shelf 1, Asha: hot spot 18.1 degC. Look at the mat at socket 7";
  draft.body = "two\nlines";
  draft.json = "{}";
  return draft;
}

Batch numbered_batch(const std::shared_ptr<const Room>& room, int number, int readings) {
  Batch batch;
  batch.room = room;
  batch.at = start + number * second_ms;
  batch.urgent = true;
  for (int i = 0; i < readings; ++i) {
    const auto channel = static_cast<Index>(static_cast<std::size_t>(i) % room->channels.size());
    batch.readings.push_back(reading_of(channel, number, batch.at + i));
  }
  const std::string text = std::to_string(number);
  batch.transitions.push_back(transition_of("A" + text, batch.at));
  batch.messages.push_back(message_of("M" + text, "A" + text));
  return batch;
}

int presence_of(const std::string& path, int number, int readings) {
  const std::string text = std::to_string(number);
  const auto found = query(path, "SELECT (SELECT count(*) FROM readings WHERE digits = " + text +
                                     "), (SELECT count(*) FROM transitions WHERE occurrence = 'A" + text +
                                     "'), (SELECT count(*) FROM outbox WHERE id = 'M" + text + "')");
  if (found == std::vector<std::string>{"0|0|0"}) return 0;
  if (found == std::vector<std::string>{std::to_string(readings) + "|1|1"}) return 1;
  return -1;
}

std::vector<std::string> query(const std::string& path, const std::string& sql) {
  sqlite3* database = nullptr;
  std::vector<std::string> rows;
  if (sqlite3_open_v2(path.c_str(), &database, SQLITE_OPEN_READWRITE, nullptr) != SQLITE_OK) {
    ADD_FAILURE() << path << ": " << sqlite3_errmsg(database);
    sqlite3_close(database);
    return rows;
  }
  sqlite3_busy_timeout(database, 2'000);
  const auto take = [](void* into, int columns, char** values, char** /*names*/) {
    std::string row;
    for (int i = 0; i < columns; ++i) {
      if (i > 0) row += '|';
      if (values[i] != nullptr) row += values[i];
    }
    static_cast<std::vector<std::string>*>(into)->push_back(std::move(row));
    return 0;
  };
  if (sqlite3_exec(database, sql.c_str(), take, &rows, nullptr) != SQLITE_OK) {
    ADD_FAILURE() << sql << ": " << sqlite3_errmsg(database);
  }
  sqlite3_close(database);
  return rows;
}

}  // namespace baskwell::store::test
