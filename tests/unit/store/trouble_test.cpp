// The store in trouble: a full disk, a file taken away, another program's lock. Nothing that was taken is
// lost, everybody hears, and it comes back by itself.

#include <gtest/gtest.h>
#include <sqlite3.h>

#include <chrono>
#include <filesystem>
#include <functional>
#include <mutex>
#include <thread>
#include <utility>

#include "store/faulty_vfs.h"
#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Fault;
using test::Folder;
using test::open_reader;
using test::open_store;
using test::options_at;
using test::start;
namespace faulty_vfs = test::faulty_vfs;

// What on_trouble said, from the writer thread.
class Heard {
 public:
  std::function<void(bool, const std::string&)> listener() {
    return [this](bool working, const std::string& text) {
      const std::lock_guard lock(mutex_);
      said_.push_back(working ? "working" : text);
    };
  }
  [[nodiscard]] std::vector<std::string> said() const {
    const std::lock_guard lock(mutex_);
    return said_;
  }

 private:
  mutable std::mutex mutex_;
  std::vector<std::string> said_;
};

bool eventually(const std::function<bool()>& condition) {
  const auto deadline = std::chrono::steady_clock::now() + std::chrono::seconds(10);
  while (std::chrono::steady_clock::now() < deadline) {
    if (condition()) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  return condition();
}

class StoreTrouble : public testing::Test {
 protected:
  void SetUp() override { faulty_vfs::clear(); }
  void TearDown() override { faulty_vfs::clear(); }
  StoreOptions options() {
    StoreOptions made = options_at();
    made.vfs = faulty_vfs::name();
    made.on_trouble = heard_.listener();
    return made;
  }
  // The answer of a batch, or "" when it was committed.
  std::string submit_and_wait(Store& store, Batch batch) {
    std::string answer = "unheard";
    batch.on_committed = [&answer](bool ok, const std::string& text) { answer = ok ? "" : text; };
    store.submit(std::move(batch));
    store.flush();
    return answer;
  }

  Heard heard_;
  Folder folder_;
  std::shared_ptr<const Room> room_ = test::room_of(3);
};

TEST_F(StoreTrouble, AFullDiskIsToldOnceAndMadeUpFor) {
  const auto store = open_store(folder_.file(), options());
  EXPECT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 1)), "");
  faulty_vfs::fail(0, Fault::disk_full, true);
  for (int i = 2; i <= 6; ++i) {
    EXPECT_NE(submit_and_wait(*store, test::numbered_batch(room_, i)).find("the disk is full"),
              std::string::npos);
  }
  // What came of a message that went out anyway is kept as well.
  std::string attempt_answer;
  store->record_attempt({"M3", "mail", start},
                        [&](bool ok, const std::string& text) { attempt_answer = ok ? "" : text; });
  store->record_outcome({{"M3", "mail", start}, start + 5, true, "250", MessageState::delivered, {}});
  EXPECT_FALSE(store->flush());
  EXPECT_NE(attempt_answer, "");
  EXPECT_FALSE(store->stats().working);
  EXPECT_LE(store->stats().batches_waiting, 1U);  // kept as one
  EXPECT_EQ(store->stats().readings_waiting, 15U);
  EXPECT_FALSE(store->put_settings({{"room.toml", "a"}}, start).ok());

  faulty_vfs::clear();
  EXPECT_TRUE(eventually([&] { return store->stats().working; }));  // by itself
  ASSERT_TRUE(store->flush());
  for (int i = 1; i <= 6; ++i) EXPECT_EQ(test::presence_of(folder_.file(), i), 1) << i;
  EXPECT_EQ(open_reader(folder_.file()).message("M3").value()->state, MessageState::delivered);
  EXPECT_EQ(open_reader(folder_.file()).message("M4").value()->state, MessageState::waiting);
  const auto said = heard_.said();
  ASSERT_EQ(said.size(), 2U);
  EXPECT_NE(said[0].find("the disk is full"), std::string::npos);
  EXPECT_EQ(said[1], "working");
  EXPECT_EQ(store->stats().readings_stored, 18U);
}

// Kept batches are folded into one on the way; whoever wrote a note heard that it is not on the disk yet.
TEST_F(StoreTrouble, NotesOutliveAFullDisk) {
  const auto store = open_store(folder_.file(), options());
  EXPECT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 1)), "");
  faulty_vfs::fail(0, Fault::disk_full, true);
  for (int i = 0; i < 5; ++i) {
    Batch batch;
    batch.notes.push_back(
        {start + i, NoteType::fed, "shelf-0", "fed " + std::to_string(i), "Ines", std::nullopt});
    EXPECT_NE(submit_and_wait(*store, std::move(batch)), "");
  }
  EXPECT_TRUE(open_reader(folder_.file()).notes("", 10).value().empty());
  faulty_vfs::clear();
  EXPECT_TRUE(store->flush());
  const auto kept = open_reader(folder_.file()).notes("", 10).value();
  ASSERT_EQ(kept.size(), 5U);
  for (std::size_t i = 0; i < kept.size(); ++i) EXPECT_EQ(kept[i].record.text, "fed " + std::to_string(i));
}

TEST_F(StoreTrouble, AStoreThatReachedItsLimitSaysFull) {
  StoreOptions limited = options();
  limited.max_page_count = 40;
  const auto store = open_store(folder_.file(), limited);
  std::string answer;
  int committed = 0;
  for (int i = 1; i <= 500 && answer.empty(); ++i) {
    answer = submit_and_wait(*store, test::numbered_batch(room_, i, 20));
    committed += answer.empty();
  }
  EXPECT_NE(answer.find("full"), std::string::npos) << answer;
  EXPECT_GT(committed, 5);
  for (int i = 1; i <= committed; ++i) EXPECT_EQ(test::presence_of(folder_.file(), i, 20), 1) << i;
  EXPECT_EQ(test::presence_of(folder_.file(), committed + 1, 20), 0);
}

TEST_F(StoreTrouble, KeepsWithinItsBoundsWhileInTrouble) {
  StoreOptions bounded = options();
  bounded.max_waiting_readings = 20;
  const auto store = open_store(folder_.file(), bounded);
  faulty_vfs::fail(0, Fault::input_output_error, true);
  for (int i = 1; i <= 100; ++i) {
    store->submit(test::numbered_batch(room_, i));
    store->flush();
  }
  EXPECT_EQ(store->stats().readings_waiting, 20U);
  EXPECT_EQ(store->stats().readings_dropped, 280U);
  EXPECT_EQ(store->stats().batches_waiting, 1U);
  faulty_vfs::clear();
  ASSERT_TRUE(eventually([&] { return store->flush(); }));
  EXPECT_EQ(open_reader(folder_.file()).counts().value().transitions, 100U);
  EXPECT_EQ(open_reader(folder_.file()).counts().value().readings, 20U);
}

TEST_F(StoreTrouble, AFileTakenAwayIsNoticedAndMadeAnew) {
  const auto store = open_store(folder_.file(), options());
  ASSERT_EQ(store->put_settings({{"room.toml", "one"}}, start).value(), 1U);
  ASSERT_EQ(store->put_settings({{"room.toml", "two"}}, start + 1).value(), 2U);
  ASSERT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 1)), "");
  std::filesystem::remove(folder_.file());
  EXPECT_NE(submit_and_wait(*store, test::numbered_batch(room_, 2)).find("removed or replaced"),
            std::string::npos);
  ASSERT_TRUE(eventually([&] { return store->flush(); }));
  ASSERT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 3)), "");
  EXPECT_EQ(test::presence_of(folder_.file(), 1), 0);  // went with the file
  EXPECT_EQ(test::presence_of(folder_.file(), 2), 1);
  EXPECT_EQ(test::presence_of(folder_.file(), 3), 1);
  EXPECT_EQ(open_reader(folder_.file()).settings(2).value()->files[0].text, "two");
  EXPECT_EQ(heard_.said().size(), 2U);
}

TEST_F(StoreTrouble, AJournalTakenAwayLosesNothing) {
  const auto store = open_store(folder_.file(), options());
  ASSERT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 1)), "");
  std::filesystem::remove(folder_.file("room.baskwell-wal"));
  EXPECT_NE(submit_and_wait(*store, test::numbered_batch(room_, 2)), "");
  ASSERT_TRUE(eventually([&] { return store->flush(); }));
  EXPECT_EQ(test::presence_of(folder_.file(), 1), 1);
  EXPECT_EQ(test::presence_of(folder_.file(), 2), 1);
}

TEST_F(StoreTrouble, AFailingCheckpointIsTroubleButCommitsGoOn) {
  StoreOptions eager = options();
  eager.checkpoint_pages = 20;
  eager.retry_most_ms = 0;
  const auto store = open_store(folder_.file(), eager);
  // Until the checkpoint: one fsync a commit. It fails where the commits do not: the log is complete, the
  // file cannot be synced. Writes to the log in between are counted too, so the place is searched for.
  bool seen = false;
  for (std::uint64_t nth = 0; nth < 120 && !seen; ++nth) {
    faulty_vfs::fail(nth, Fault::input_output_error, false);
    std::string answer;
    for (int i = 0; i < 12 && answer.empty() && !seen; ++i) {
      answer = submit_and_wait(*store, test::numbered_batch(room_, static_cast<int>(nth) * 100 + i + 1, 30));
      const auto said = heard_.said();
      seen = !said.empty() && said.back().find("journal cannot be moved") != std::string::npos;
    }
    faulty_vfs::clear();
    store->flush();
  }
  EXPECT_TRUE(seen);
  EXPECT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 99'999, 30)), "");
  EXPECT_TRUE(eventually([&] {
    store->submit(Batch{});
    store->flush();
    return store->stats().working;
  }));
}

TEST_F(StoreTrouble, AnotherProgramsLockPasses) {
  const auto store = open_store(folder_.file(), options());
  sqlite3* other = nullptr;
  ASSERT_EQ(sqlite3_open(folder_.file().c_str(), &other), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(other, "BEGIN IMMEDIATE", nullptr, nullptr, nullptr), SQLITE_OK);
  // Waits out the two seconds that a passing lock is given, then says so.
  EXPECT_NE(submit_and_wait(*store, test::numbered_batch(room_, 1)).find("another program holds"),
            std::string::npos);
  ASSERT_EQ(sqlite3_exec(other, "COMMIT", nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(other);
  ASSERT_TRUE(eventually([&] { return store->flush(); }));
  EXPECT_EQ(test::presence_of(folder_.file(), 1), 1);
}

TEST_F(StoreTrouble, ClosingInTroubleEndsAndLosesOnlyWhatNobodyWasToldOf) {
  {
    const auto store = open_store(folder_.file(), options());
    ASSERT_EQ(submit_and_wait(*store, test::numbered_batch(room_, 1)), "");
    faulty_vfs::fail(0, Fault::input_output_error, true);
    EXPECT_NE(submit_and_wait(*store, test::numbered_batch(room_, 2)), "");
  }
  faulty_vfs::clear();
  EXPECT_EQ(test::presence_of(folder_.file(), 1), 1);
  EXPECT_NE(test::presence_of(folder_.file(), 2), -1);
  open_store(folder_.file(), options());
}

}  // namespace
}  // namespace baskwell::store
