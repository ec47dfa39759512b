// Formats by version: forward only, one transaction each, and no guess at a file of something else.

#include "store/schema.h"

#include <gtest/gtest.h>

#include <array>
#include <fstream>

#include "store/fixture.h"
#include "store/sqlite.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Folder;
using test::open_store;
using test::options_at;

constexpr int writable = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;

std::string refusal_of(const std::string& path) {
  const auto opened = Store::open(path, options_at());
  return opened ? "" : opened.error().text;
}

TEST(Schema, BringsAnOlderFileForwardStepByStep) {
  const Folder folder;
  Database database(folder.file(), writable, "");
  const std::array<Migration, 3> steps{
      {{1, "PRAGMA application_id = 1113682795; CREATE TABLE first(x INTEGER);"},
       {2, "INSERT INTO first VALUES(7);"},
       {3, "ALTER TABLE first ADD COLUMN y INTEGER NOT NULL DEFAULT 5;"}}};
  bring_forward(database, std::span(steps).first(1));
  EXPECT_EQ(database.integer("PRAGMA user_version"), 1);
  bring_forward(database, steps);
  EXPECT_EQ(database.integer("PRAGMA user_version"), 3);
  EXPECT_EQ(database.integer("SELECT x * 10 + y FROM first"), 75);
  bring_forward(database, steps);  // nothing left to do
  EXPECT_EQ(database.integer("SELECT count(*) FROM first"), 1);
}

TEST(Schema, AStepThatFailsLeavesTheFileAsItWas) {
  const Folder folder;
  Database database(folder.file(), writable, "");
  const std::array<Migration, 2> steps{
      {{1, "PRAGMA application_id = 1113682795; CREATE TABLE first(x INTEGER);"},
       {2, "INSERT INTO first VALUES(1); CREATE TABLE first(x INTEGER);"}}};
  try {
    bring_forward(database, steps);
    FAIL() << "a table cannot be made twice";
  } catch (const Trouble& trouble) {
    EXPECT_NE(trouble.text.find("to format 2 failed, it is as it was before"), std::string::npos)
        << trouble.text;
  }
  EXPECT_EQ(database.integer("PRAGMA user_version"), 1);
  EXPECT_EQ(database.integer("SELECT count(*) FROM first"), 0);
}

TEST(Schema, MigrationsCountUpFromOne) {
  int expected = 1;
  for (const Migration& step : migrations()) EXPECT_EQ(step.version, expected++);
}

// What the program before this one left behind.
TEST(Schema, AFileOfFormat1KeepsAllAndTakesNotesAndWhatIsLearned) {
  const Folder folder;
  {
    Database old(folder.file(), writable, "");
    bring_forward(old, migrations().first(1));
    old.execute(
        "INSERT INTO channels VALUES(1, 'shelf-0/p0'); INSERT INTO sessions VALUES(1, 'boot-0', 5, 3, "
        "'0.1.0');"
        "INSERT INTO readings VALUES(1, 1, 1, 1000, 1001, 7, 2350, 2, 1, 0, 0, 0);"
        "INSERT INTO transitions VALUES(1, 1002, 1, 'A1', 'too-cold', 'shelf-0/hot/air/temperature', "
        "'normal', "
        "'unacknowledged', 'occurs', 'high', 'harm', 23.5, 30, 'baskwell', 'held');"
        "INSERT INTO outbox VALUES(1, 'M1', 'A1', 'ines', 'raised', 'high', 1003, 1003, 0, 'h', 'b', '{}', "
        "'attempted', 1004, 1);"
        "INSERT INTO attempts VALUES('M1', 'mail', 1004, NULL, 'unknown', '');"
        "INSERT INTO settings_versions VALUES(3, 5, 'label'); INSERT INTO settings_files VALUES(3, 0, "
        "'room.toml', '[room]'); INSERT INTO snapshots VALUES(1, 1005, 'state')");
  }
  const auto everything = [&] {
    std::vector<std::string> rows;
    for (const char* table : {"channels", "sessions", "readings", "transitions", "outbox", "attempts",
                              "settings_versions", "settings_files", "snapshots"}) {
      rows.emplace_back(table);
      for (std::string& row : test::query(folder.file(), std::string("SELECT * FROM ") + table))
        rows.push_back(std::move(row));
    }
    return rows;
  };
  const std::vector<std::string> before = everything();
  ASSERT_EQ(before.size(), 18U);
  const auto too_early = StoreReader::open(folder.file());
  ASSERT_FALSE(too_early.ok());
  EXPECT_NE(too_early.error().text.find("older format 1"), std::string::npos) << too_early.error().text;
  {
    const auto store = open_store(folder.file());
    EXPECT_EQ(everything(), before);
    EXPECT_EQ(test::query(folder.file(), "PRAGMA user_version"), std::vector<std::string>{"4"});
    EXPECT_FALSE(store->last_learned().value());
    Batch batch;
    batch.notes.push_back({test::start, NoteType::fed, "shelf-0", "fed, one mouse", "Ines", std::nullopt});
    batch.at = test::start;
    batch.learned = "learned";
    store->submit(std::move(batch));
    EXPECT_TRUE(store->flush());
    EXPECT_EQ(store->last_learned().value().value().text, "learned");
  }
  EXPECT_EQ(test::open_reader(folder.file()).notes("shelf-0", 10).value().size(), 1U);
}

TEST(Schema, RefusesANewerFileInWordsAndLeavesItAlone) {
  const Folder folder;
  open_store(folder.file()).reset();
  test::query(folder.file(), "PRAGMA user_version = 99");
  const std::string text = refusal_of(folder.file());
  EXPECT_NE(text.find("has format 99, this program knows formats up to "), std::string::npos) << text;
  const auto reader = StoreReader::open(folder.file());
  ASSERT_FALSE(reader.ok());
  EXPECT_NE(reader.error().text.find("has format 99"), std::string::npos);
  EXPECT_EQ(test::query(folder.file(), "PRAGMA user_version"), std::vector<std::string>{"99"});
}

TEST(Schema, RefusesADatabaseOfAnotherProgramAndLeavesItAlone) {
  const Folder folder;
  {
    Database other(folder.file(), writable, "");
    other.execute("CREATE TABLE recipes(x)");
  }
  EXPECT_NE(refusal_of(folder.file()).find("of another program"), std::string::npos);
  EXPECT_EQ(test::query(folder.file(), "PRAGMA journal_mode"), std::vector<std::string>{"delete"});
}

TEST(Schema, RefusesAFileThatIsNoDatabase) {
  const Folder folder;
  std::ofstream(folder.file()) << std::string(5'000, 'n');
  EXPECT_NE(refusal_of(folder.file()).find("no store of Baskwell"), std::string::npos)
      << refusal_of(folder.file());
}

TEST(Schema, SaysWhereItCannotBe) {
  const Folder folder;
  const std::string path = folder.file("missing/room.baskwell");
  EXPECT_NE(refusal_of(path).find(path), std::string::npos);
}

TEST(Schema, NumbersHaveTheirNamesInTheFile) {
  const Folder folder;
  open_store(folder.file()).reset();
  EXPECT_EQ(test::query(folder.file(), "SELECT symbol FROM units ORDER BY code"),
            (std::vector<std::string>{"degC", "degF", "K", "%RH", "lux", "W", "V"}));
  EXPECT_EQ(test::query(folder.file(), "SELECT count(*), min(code) FROM qualities"),
            std::vector<std::string>{std::to_string(quality_count) + "|0"});
}

}  // namespace
}  // namespace baskwell::store
