// What goes in comes out, to the last digit, and what a commit and a mode of the file promise.

#include "store/store.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <cmath>
#include <limits>
#include <thread>
#include <utility>

#include "store/fixture.h"
#include "store/sqlite.h"

namespace baskwell::store {
namespace {

using test::Folder;
using test::open_reader;
using test::open_store;
using test::options_at;
using test::start;

// Everything of a reading, and its texts.
struct Kept {
  std::string channel;
  StoredReading reading;
  std::string boot_id;
  std::uint64_t settings_version = 0;
};
std::vector<Kept> readings_in(const std::string& path, std::string_view channel = {},
                              UtcMs from = {INT64_MIN}, UtcMs to = {INT64_MAX}) {
  std::vector<Kept> found;
  const StoreReader reader = open_reader(path);
  const Outcome outcome = reader.readings(channel, from, to, [&](const ReadingRow& row) {
    found.push_back({std::string(row.channel), row.reading, std::string(row.boot_id), row.settings_version});
    return true;
  });
  EXPECT_TRUE(outcome.ok());
  return found;
}

TEST(Store, KeepsNotesForEverAsTheyWereWritten) {
  const Folder folder;
  std::vector<NoteRecord> given;
  given.reserve(note_type_count);
  for (int i = 0; i < note_type_count; ++i) {
    given.push_back({start + i * minute_ms, static_cast<NoteType>(i), i % 2 == 0 ? "shelf-0" : "mat-1",
                     "Nr. " + std::to_string(i) + ", größer; 'so'", i == 3 ? "" : "Ines", std::nullopt});
  }
  {
    const auto store = open_store(folder.file());
    for (const NoteRecord& note : given) {
      Batch batch;
      batch.notes = {note};
      batch.urgent = true;
      store->submit(std::move(batch));
    }
    EXPECT_TRUE(store->flush());
  }
  const StoreReader reader = open_reader(folder.file());
  const std::vector<NoteRow> kept = reader.notes("", 100).value();
  ASSERT_EQ(kept.size(), given.size());
  for (std::size_t i = 0; i < given.size(); ++i) {
    EXPECT_EQ(kept[i].id, static_cast<std::int64_t>(i) + 1);
    EXPECT_EQ(kept[i].record.at, given[i].at);
    EXPECT_EQ(kept[i].record.type, given[i].type);
    EXPECT_EQ(kept[i].record.subject, given[i].subject);
    EXPECT_EQ(kept[i].record.text, given[i].text);
    EXPECT_EQ(kept[i].record.who, given[i].who);
  }
  // Those of one subject; of many the newest, oldest first.
  EXPECT_EQ(reader.notes("mat-1", 100).value().size(), 6U);
  EXPECT_EQ(reader.notes("mat", 100).value().size(), 0U);
  const std::vector<NoteRow> newest = reader.notes("", 3).value();
  ASSERT_EQ(newest.size(), 3U);
  EXPECT_EQ(newest.front().id, note_type_count - 2);
  EXPECT_EQ(newest.back().id, note_type_count);
  // The file itself refuses, whoever writes to it.
  Database other(folder.file(), SQLITE_OPEN_READWRITE, "");
  EXPECT_THROW(other.execute("DELETE FROM notes"), Trouble);
  EXPECT_THROW(other.execute("UPDATE notes SET text = 'nothing happened'"), Trouble);
  EXPECT_EQ(reader.notes("", 100).value().size(), given.size());
}

TEST(Store, KeepsEveryPartOfAReadingExactly) {
  const Folder folder;
  const auto room = test::room_of(3, 41);
  std::vector<StoredReading> given;
  const auto add = [&given](Index channel, Decimal value, Unit unit, Quality quality) {
    StoredReading reading = test::reading_of(channel, 0, start + static_cast<std::int64_t>(given.size()));
    reading.value = value;
    reading.unit = unit;
    reading.quality = quality;
    reading.own_time = given.size() % 2 == 1;
    reading.calibration_version = static_cast<std::uint16_t>(given.size() * 13'000);
    given.push_back(reading);
  };
  add(0, {230'625, 4}, Unit::degc, Quality::good);  // 23.0625, a step of a digital probe
  add(1, {734, 1}, Unit::degf, Quality::jump);
  add(2, {INT64_MAX, 18}, Unit::lux, Quality::duplicate);
  add(0, {INT64_MIN, 0}, Unit::kelvin, Quality::unplaced);
  add(1, {2350, 2}, Unit::rh_percent, Quality::not_finite);  // 23.50 is not 23.5
  given[2].measured = {INT64_MIN};
  given[2].received = {-1};
  given[2].elapsed = {INT64_MAX};
  {
    const auto store = open_store(folder.file(), options_at(start, "boot-x"));
    Batch batch;
    batch.room = room;
    batch.readings = given;
    EXPECT_EQ(store->submit(std::move(batch)), 0U);
    EXPECT_TRUE(store->flush());
  }
  const std::vector<Kept> kept = readings_in(folder.file());
  ASSERT_EQ(kept.size(), given.size());
  for (std::size_t i = 0; i < given.size(); ++i) {
    SCOPED_TRACE(i);
    const StoredReading& got = kept[i].reading;
    EXPECT_EQ(kept[i].channel, room->channels[given[i].channel].id);
    EXPECT_EQ(kept[i].boot_id, "boot-x");
    EXPECT_EQ(kept[i].settings_version, 41U);
    EXPECT_EQ(got.value, given[i].value);
    EXPECT_EQ(got.unit, given[i].unit);
    EXPECT_EQ(got.quality, given[i].quality);
    EXPECT_EQ(got.own_time, given[i].own_time);
    EXPECT_EQ(got.calibration_version, given[i].calibration_version);
    EXPECT_EQ(got.measured, given[i].measured);
    EXPECT_EQ(got.received, given[i].received);
    EXPECT_EQ(got.elapsed, given[i].elapsed);
  }
}

TEST(Store, KeepsEveryPartOfATransition) {
  const Folder folder;
  const auto store = open_store(folder.file());
  Batch batch;
  batch.room = test::room_of(1, 7);
  for (int kind = 0; kind < alarm_kind_count; ++kind) {
    TransitionRecord record = test::transition_of("A" + std::to_string(kind), start + kind);
    record.kind = static_cast<AlarmKind>(kind);
    record.from = static_cast<AlarmState>(kind % alarm_state_count);
    record.to = static_cast<AlarmState>((kind + 3) % alarm_state_count);
    record.input = static_cast<AlarmInput>(kind % alarm_input_count);
    record.priority = static_cast<Priority>(kind % 3);
    record.level = static_cast<Level>(kind % 3);
    if (kind % 2 == 0) record.value = std::numeric_limits<double>::quiet_NaN();
    record.limit = 0.1 * kind;
    batch.transitions.push_back(record);
  }
  const std::vector<TransitionRecord> given = batch.transitions;
  store->submit(std::move(batch));
  ASSERT_TRUE(store->flush());

  const StoreReader reader = open_reader(folder.file());
  const auto found = reader.transitions(start, start + alarm_kind_count, 1'000);
  ASSERT_TRUE(found.ok()) << found.error().text;
  ASSERT_EQ(found.value().size(), given.size());
  for (std::size_t i = 0; i < given.size(); ++i) {
    SCOPED_TRACE(i);
    const TransitionRecord& got = found.value()[i].record;
    EXPECT_EQ(found.value()[i].settings_version, 7U);
    EXPECT_EQ(got.occurrence, given[i].occurrence);
    EXPECT_EQ(got.kind, given[i].kind);
    EXPECT_EQ(got.subject, given[i].subject);
    EXPECT_EQ(got.from, given[i].from);
    EXPECT_EQ(got.to, given[i].to);
    EXPECT_EQ(got.input, given[i].input);
    EXPECT_EQ(got.priority, given[i].priority);
    EXPECT_EQ(got.level, given[i].level);
    EXPECT_EQ(got.at, given[i].at);
    EXPECT_TRUE(got.value == given[i].value || (std::isnan(got.value) && std::isnan(given[i].value)));
    EXPECT_EQ(got.limit, given[i].limit);
    EXPECT_EQ(got.who, given[i].who);
    EXPECT_EQ(got.why, given[i].why);
  }
  // Half-open range, and the bound on how many.
  EXPECT_EQ(reader.transitions(start + 2, start + 5, 1'000).value().size(), 3U);
  EXPECT_EQ(reader.transitions(start, start + 100, 4).value().size(), 4U);
}

// Readings by channel and time, past many strides of the sparse index, with late ones among them.
TEST(Store, FindsReadingsByChannelAndMeasuredTime) {
  const Folder folder;
  const auto room = test::room_of(5);
  constexpr std::int64_t total = 30'000;
  std::vector<StoredReading> given;
  for (std::int64_t i = 0; i < total; ++i) {
    const auto channel = static_cast<Index>(i % 5);
    // Every 97th comes an hour late out of a probe's own memory.
    const std::int64_t late_ms = i % 97 == 0 ? hour_ms : 0;
    given.push_back(test::reading_of(channel, i, start + i * second_ms - late_ms));
  }
  const auto check = [&](UtcMs from, UtcMs to, Index channel) {
    std::vector<std::int64_t> expected;
    for (const StoredReading& reading : given) {
      if (reading.channel == channel && from <= reading.measured && reading.measured < to) {
        expected.push_back(reading.value.digits);
      }
    }
    std::vector<std::int64_t> found;
    for (const Kept& kept : readings_in(folder.file(), room->channels[channel].id, from, to)) {
      found.push_back(kept.reading.value.digits);
    }
    EXPECT_EQ(found, expected);
    return expected.size();
  };
  for (int part = 0; part < 3; ++part) {  // opened three times: the open stride is found again
    const auto store = open_store(folder.file());
    Batch batch;
    batch.room = room;
    batch.readings.assign(given.begin() + part * total / 3, given.begin() + (part + 1) * total / 3);
    store->submit(std::move(batch));
    ASSERT_TRUE(store->flush());
  }
  EXPECT_GT(check({INT64_MIN}, {INT64_MAX}, 3), 0U);
  EXPECT_GT(check(start + 9'000 * second_ms, start + 9'500 * second_ms, 2), 0U);
  EXPECT_GT(check(start - hour_ms, start, 0), 0U);
  EXPECT_EQ(check(start + total * second_ms, start + 2 * total * second_ms, 1), 0U);
  EXPECT_EQ(open_reader(folder.file()).counts().value().readings, static_cast<std::uint64_t>(total));
  EXPECT_EQ(test::query(folder.file(),
                        "SELECT count(*), min(last_id - first_id), max(last_id - first_id) "
                        "FROM reading_index"),
            std::vector<std::string>{std::to_string(total / 4096) + "|4095|4095"});
  // A channel that the store never heard of is an empty answer.
  EXPECT_TRUE(readings_in(folder.file(), "no/such").empty());
}

TEST(Store, ChannelsKeepTheirKeyWhenSettingsChange) {
  const Folder folder;
  const auto store = open_store(folder.file());
  auto first = test::room_of(3, 1);
  auto second = std::make_shared<Room>(*first);
  second->version = 2;
  std::swap(second->channels[0], second->channels[2]);
  for (const auto& room : {std::shared_ptr<const Room>(first), std::shared_ptr<const Room>(second)}) {
    Batch batch;
    batch.room = room;
    batch.readings.push_back(test::reading_of(0, 100, start));
    store->submit(std::move(batch));
  }
  ASSERT_TRUE(store->flush());
  const std::vector<Kept> kept = readings_in(folder.file());
  ASSERT_EQ(kept.size(), 2U);
  EXPECT_EQ(kept[0].channel, "shelf-0/p0");
  EXPECT_EQ(kept[0].settings_version, 1U);
  EXPECT_EQ(kept[1].channel, "shelf-2/p2");
  EXPECT_EQ(kept[1].settings_version, 2U);
}

TEST(Store, KeepsTheLatestTwoSnapshots) {
  const Folder folder;
  const auto store = open_store(folder.file());
  EXPECT_FALSE(store->last_snapshot().value());
  const std::string large(100'000, 'x');
  for (int i = 0; i < 5; ++i) {
    Batch batch;
    batch.at = start + i;
    batch.snapshot = large + std::to_string(i);
    store->submit(std::move(batch));
    ASSERT_TRUE(store->flush());
  }
  const auto last = store->last_snapshot();
  ASSERT_TRUE(last.ok() && last.value());
  EXPECT_EQ(last.value()->text, large + "4");
  EXPECT_EQ(last.value()->at, start + 4);
  EXPECT_EQ(test::query(folder.file(), "SELECT count(*) FROM snapshots"), std::vector<std::string>{"2"});
}

TEST(Store, KeepsTheLatestOfWhatWasLearned) {
  const Folder folder;
  {
    const auto store = open_store(folder.file());
    EXPECT_FALSE(store->last_learned().value());
    for (int i = 0; i < 3; ++i) {
      Batch batch;
      batch.at = start + i;
      batch.learned = std::string(200'000, 'x') + std::to_string(i);
      store->submit(std::move(batch));
      Batch without;  // leaves it as it is
      without.at = start + i + 10;
      without.snapshot = "state";
      store->submit(std::move(without));
      ASSERT_TRUE(store->flush());
    }
  }
  const auto last = open_reader(folder.file()).last_learned();
  ASSERT_TRUE(last.ok() && last.value());
  EXPECT_EQ(last.value()->text, std::string(200'000, 'x') + "2");
  EXPECT_EQ(last.value()->at, start + 2);
  EXPECT_EQ(test::query(folder.file(), "SELECT count(*) FROM learned"), std::vector<std::string>{"1"});
}

TEST(Store, TellsWhenAnythingWasLastStored) {
  const Folder folder;
  {
    const auto store = open_store(folder.file());
    EXPECT_FALSE(store->last_stored_utc().value());
    Batch batch;
    batch.room = test::room_of(1);
    batch.readings.push_back(test::reading_of(0, 1, start + 500));  // received 7 ms later
    store->submit(std::move(batch));
    ASSERT_TRUE(store->flush());
    EXPECT_EQ(*store->last_stored_utc().value(), start + 507);
  }
  const auto store = open_store(folder.file());
  Batch batch;
  batch.transitions.push_back(test::transition_of("A1", start + 900));
  store->submit(std::move(batch));
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(*store->last_stored_utc().value(), start + 900);
}

TEST(Store, IsReadableByItsOwnerOnly) {
  const Folder folder;
  const auto store = open_store(folder.file());
  store->submit(test::numbered_batch(test::room_of(1), 1));
  ASSERT_TRUE(store->flush());
  for (const char* name : {"room.baskwell", "room.baskwell-wal", "room.baskwell-shm", "room.baskwell-lock"}) {
    struct stat found {};
    ASSERT_EQ(::stat(folder.file(name).c_str(), &found), 0) << name;
    EXPECT_EQ(found.st_mode & 0777U, 0600U) << name;
  }
}

TEST(Store, TakesAFileThatOthersCouldReadBackToItsOwner) {
  const Folder folder;
  open_store(folder.file()).reset();
  ASSERT_EQ(::chmod(folder.file().c_str(), 0644), 0);
  const auto store = open_store(folder.file());
  struct stat found {};
  ASSERT_EQ(::stat(folder.file().c_str(), &found), 0);
  EXPECT_EQ(found.st_mode & 0777U, 0600U);
}

TEST(Store, HasOneWriterAtATime) {
  const Folder folder;
  const auto store = open_store(folder.file());
  const auto second = Store::open(folder.file(), options_at());
  ASSERT_FALSE(second.ok());
  EXPECT_NE(second.error().text.find("another Baskwell is writing"), std::string::npos)
      << second.error().text;
}

TEST(Store, ReadersSeeWhatIsCommittedWhileItWrites) {
  const Folder folder;
  const auto store = open_store(folder.file());
  const auto room = test::room_of(2);
  const StoreReader reader = open_reader(folder.file());
  for (int i = 1; i <= 20; ++i) {
    store->submit(test::numbered_batch(room, i));
    ASSERT_TRUE(store->flush());
    EXPECT_EQ(reader.counts().value().readings, static_cast<std::uint64_t>(3 * i));
    EXPECT_EQ(reader.counts().value().transitions, static_cast<std::uint64_t>(i));
  }
}

TEST(Store, ReadsAStoreThatNobodyWrites) {
  const Folder folder;
  {
    const auto store = open_store(folder.file());
    store->submit(test::numbered_batch(test::room_of(2), 1));
  }
  EXPECT_EQ(open_reader(folder.file()).counts().value().readings, 3U);
  EXPECT_FALSE(StoreReader::open(folder.file("missing")).ok());
}

}  // namespace
}  // namespace baskwell::store
