// Settings and care sheets by version.

#include <gtest/gtest.h>

#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Folder;
using test::open_reader;
using test::open_store;
using test::start;

TEST(SettingsVersions, ChangeOnlyWhenATextOrANameDoes) {
  const Folder folder;
  auto store = open_store(folder.file());
  const std::vector<SettingsFile> first{{"room.toml", "a = 1\n"}, {"care/royal-python.toml", "hot = 32\n"}};
  std::vector<SettingsFile> second = first;
  second[1].text = "hot = 33\n";
  EXPECT_EQ(store->put_settings(first, start).value(), 1U);
  EXPECT_EQ(store->put_settings(first, start + 10).value(), 1U);
  EXPECT_EQ(store->put_settings(second, start + 20).value(), 2U);
  store.reset();
  store = open_store(folder.file());
  EXPECT_EQ(store->put_settings(second, start + 30).value(), 2U);
  // Going back is a change too, so that versions are a time line.
  EXPECT_EQ(store->put_settings(first, start + 40).value(), 3U);
  EXPECT_EQ(store->put_settings({first[0]}, start + 50).value(), 4U);
  EXPECT_EQ(store->put_settings({{"other.toml", first[0].text}}, start + 60).value(), 5U);
  EXPECT_EQ(store->put_settings({}, start + 70).value(), 6U);
  EXPECT_EQ(store->put_settings({}, start + 80).value(), 6U);

  const StoreReader reader = open_reader(folder.file());
  const auto kept = reader.settings(2).value();
  ASSERT_TRUE(kept);
  EXPECT_EQ(kept->first_used, start + 20);
  ASSERT_EQ(kept->files.size(), 2U);
  EXPECT_EQ(kept->files[1].name, "care/royal-python.toml");
  EXPECT_EQ(kept->files[1].text, "hot = 33\n");
  EXPECT_FALSE(reader.settings(99).value());
  EXPECT_EQ(reader.settings_at(start + 39).value()->version, 2U);
  EXPECT_EQ(reader.settings_at(start + 40).value()->version, 3U);
  EXPECT_FALSE(reader.settings_at(start - 1).value());
  EXPECT_EQ(reader.settings(1).value()->hash, reader.settings(3).value()->hash);
  EXPECT_NE(reader.settings(1).value()->hash, reader.settings(2).value()->hash);
}

// FNV-1a 64 of no byte at all is its offset basis, cbf29ce484222325, in the published test vectors of
// draft-eastlake-fnv (from memory).
TEST(SettingsVersions, LabelIsFnv1a) {
  const Folder folder;
  const auto store = open_store(folder.file());
  EXPECT_EQ(store->put_settings({}, start).value(), 1U);
  EXPECT_EQ(open_reader(folder.file()).settings(1).value()->hash, "cbf29ce484222325");
}

TEST(SettingsVersions, ANewSessionBeginsWithEachVersion) {
  const Folder folder;
  {
    const auto store = open_store(folder.file());
    for (const std::uint64_t version : {1U, 1U, 2U}) {
      Batch batch = test::numbered_batch(test::room_of(1, version), static_cast<int>(version));
      batch.messages.clear();
      store->submit(std::move(batch));
      ASSERT_TRUE(store->flush());
    }
  }
  const auto store = open_store(folder.file(), test::options_at(start + 100, "boot-2"));
  Batch batch = test::numbered_batch(test::room_of(1, 2), 3);
  store->submit(std::move(batch));
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(test::query(folder.file(), "SELECT boot_id, settings_version FROM sessions ORDER BY key"),
            (std::vector<std::string>{"boot-1|1", "boot-1|2", "boot-2|2"}));
}

}  // namespace
}  // namespace baskwell::store
