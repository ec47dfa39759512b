// The queue in front of the writer: merging, order, bounds, and how many fsyncs a quiet room costs.

#include <gtest/gtest.h>

#include <atomic>
#include <future>
#include <thread>
#include <utility>
#include <vector>

#include "store/faulty_vfs.h"
#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Folder;
using test::open_reader;
using test::open_store;
using test::options_at;
using test::start;
namespace faulty_vfs = test::faulty_vfs;

// Holds the writer thread inside a callback until let go, so that what is submitted meanwhile waits.
class Hold {
 public:
  explicit Hold(Store& store) {
    Batch batch;
    batch.on_committed = [this](bool, const std::string&) {
      held_.set_value();
      let_go_.get_future().wait();
    };
    store.submit(std::move(batch));
    held_.get_future().wait();
  }
  void let_go() { let_go_.set_value(); }

 private:
  std::promise<void> held_;
  std::promise<void> let_go_;
};

TEST(Queue, WhatWaitsTogetherIsOneTransaction) {
  const Folder folder;
  const auto store = open_store(folder.file());
  const auto room = test::room_of(2);
  Hold hold(*store);
  std::vector<int> heard;
  for (int i = 1; i <= 50; ++i) {
    Batch batch = test::numbered_batch(room, i);
    batch.on_committed = [&heard, i](bool ok, const std::string&) { heard.push_back(ok ? i : -i); };
    store->submit(std::move(batch));
  }
  const std::uint64_t before = store->stats().transactions;
  hold.let_go();
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(store->stats().transactions, before + 1);
  ASSERT_EQ(heard.size(), 50U);
  for (int i = 1; i <= 50; ++i) EXPECT_EQ(heard[static_cast<std::size_t>(i - 1)], i);
  EXPECT_EQ(store->stats().readings_stored, 150U);
  EXPECT_EQ(store->stats().readings_waiting, 0U);
}

TEST(Queue, DropsAndCountsReadingsAtTheBoundButNoTransitionOrMessage) {
  const Folder folder;
  StoreOptions options = options_at();
  options.max_waiting_readings = 10;
  const auto store = open_store(folder.file(), options);
  const auto room = test::room_of(2);
  Hold hold(*store);
  EXPECT_EQ(store->submit(test::numbered_batch(room, 1, 8)), 0U);
  EXPECT_EQ(store->submit(test::numbered_batch(room, 2, 8)), 6U);  // two fit
  EXPECT_EQ(store->submit(test::numbered_batch(room, 3, 8)), 8U);
  Batch plain;
  plain.room = room;
  plain.readings.push_back(test::reading_of(0, 99, start));
  std::string error;
  plain.on_committed = [&](bool ok, const std::string& text) { error = ok ? "ok" : text; };
  EXPECT_EQ(store->submit(std::move(plain)), 1U);
  EXPECT_NE(error.find("1 readings dropped"), std::string::npos) << error;
  hold.let_go();
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(store->stats().readings_dropped, 15U);
  const StoreCounts counts = open_reader(folder.file()).counts().value();
  EXPECT_EQ(counts.readings, 10U);
  EXPECT_EQ(counts.transitions, 3U);
  EXPECT_EQ(counts.messages, 3U);
}

TEST(Queue, BoundsTheNumberOfBatchesToo) {
  const Folder folder;
  StoreOptions options = options_at();
  options.max_waiting_batches = 2;
  const auto store = open_store(folder.file(), options);
  const auto room = test::room_of(2);
  Hold hold(*store);
  EXPECT_EQ(store->submit(test::numbered_batch(room, 1)), 0U);
  EXPECT_EQ(store->submit(test::numbered_batch(room, 2)), 0U);
  EXPECT_EQ(store->submit(test::numbered_batch(room, 3)), 3U);
  hold.let_go();
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(open_reader(folder.file()).counts().value().transitions, 3U);
  EXPECT_EQ(open_reader(folder.file()).counts().value().readings, 6U);
}

TEST(Queue, TakesFromManyThreads) {
  const Folder folder;
  const auto store = open_store(folder.file());
  const auto room = test::room_of(4);
  std::atomic<int> heard{0};
  std::vector<std::thread> threads;
  threads.reserve(4);
  for (int t = 0; t < 4; ++t) {
    threads.emplace_back([&, t] {
      for (int i = 0; i < 50; ++i) {
        Batch batch = test::numbered_batch(room, 1 + t * 50 + i);
        batch.on_committed = [&heard](bool ok, const std::string&) { heard += ok; };
        store->submit(std::move(batch));
      }
    });
  }
  for (std::thread& thread : threads) thread.join();
  ASSERT_TRUE(store->flush());
  EXPECT_EQ(heard, 200);
  EXPECT_EQ(open_reader(folder.file()).counts().value().readings, 600U);
}

TEST(Queue, ClosingCommitsWhatWaits) {
  const Folder folder;
  {
    const auto store = open_store(folder.file());
    const auto room = test::room_of(2);
    for (int i = 1; i <= 30; ++i) store->submit(test::numbered_batch(room, i));
  }
  EXPECT_EQ(open_reader(folder.file()).counts().value().transitions, 30U);
}

// A quiet room of 12 enclosures: two readings a second, one batch a second. One fsync each, and three for
// each checkpoint: log, file, head of the new log.
TEST(Queue, AQuietRoomCostsOneFsyncACommit) {
  const Folder folder;
  faulty_vfs::clear();
  StoreOptions options = options_at();
  options.vfs = faulty_vfs::name();
  const auto store = open_store(folder.file(), options);
  const auto room = test::room_of(24);
  constexpr int seconds = 3'600;
  const std::uint64_t before = faulty_vfs::counts().syncs;
  for (int second = 0; second < seconds; ++second) {
    Batch batch;
    batch.room = room;
    for (Index i = 0; i < 2; ++i) {
      batch.readings.push_back(test::reading_of((static_cast<Index>(second) * 2 + i) % 24, 2'350 + second % 7,
                                                start + second * second_ms));
    }
    store->submit(std::move(batch));
    ASSERT_TRUE(store->flush());
  }
  const std::uint64_t syncs = faulty_vfs::counts().syncs - before;
  const std::uint64_t checkpoints = store->stats().checkpoints;
  RecordProperty("fsyncs", std::to_string(syncs));
  RecordProperty("checkpoints", std::to_string(checkpoints));
  EXPECT_EQ(store->stats().transactions, static_cast<std::uint64_t>(seconds));
  EXPECT_GE(syncs, static_cast<std::uint64_t>(seconds));  // each commit is durable
  EXPECT_LE(syncs, static_cast<std::uint64_t>(seconds) + 3 * checkpoints + 2);
  EXPECT_LE(checkpoints, 3U);
}

TEST(Queue, TheJournalIsMovedIntoTheFileAndDoesNotGrow) {
  const Folder folder;
  StoreOptions options = options_at();
  options.checkpoint_pages = 50;
  const auto store = open_store(folder.file(), options);
  const auto room = test::room_of(4);
  for (int i = 1; i <= 300; ++i) {
    store->submit(test::numbered_batch(room, i, 40));
    ASSERT_TRUE(store->flush());
  }
  EXPECT_GT(store->stats().checkpoints, 10U);
  // The largest it ever was, in pages. A full queue puts the move off, but not beyond four times the wanted
  // size and the batch that reached it.
  const auto log_pages = test::query(folder.file(), "PRAGMA wal_checkpoint(PASSIVE)");
  ASSERT_EQ(log_pages.size(), 1U);
  EXPECT_LT(std::stoi(log_pages[0].substr(log_pages[0].find('|') + 1)), 4 * options.checkpoint_pages + 25)
      << log_pages[0];
}

}  // namespace
}  // namespace baskwell::store
