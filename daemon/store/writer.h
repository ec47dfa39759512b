#pragma once
// The store's writer: a queue, one thread, and what is kept back while the file does not take it. For store/
// only; the rules are in store.h.

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <future>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <variant>
#include <vector>

#include "store/store.h"
#include "store/store_file.h"

namespace baskwell::store {

class Store::Writer {
 public:
  // Throws Trouble.
  Writer(const std::string& path, StoreOptions options);
  ~Writer();
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;

  std::size_t submit(Batch batch);
  void submit(Attempt attempt, Committed on_committed);
  void submit(AttemptOutcome outcome, Committed on_committed);
  void submit(MessageEnd end, Committed on_committed);
  Result<std::uint64_t> put_settings(std::vector<SettingsFile> files, UtcMs now);
  bool flush();
  void retry_now();
  StoreStats stats() const;

  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] const std::string& vfs() const { return options_.vfs; }

 private:
  using Clock = std::chrono::steady_clock;
  struct SettingsTask {
    std::vector<SettingsFile> files;
    UtcMs now;
    std::uint64_t version = 0;  // found in the transaction
    std::promise<Result<std::uint64_t>> promise;
  };
  // One thing to write. `on_committed` is taken out of a batch, so that all kinds are told alike.
  struct Item {
    std::variant<Batch, Attempt, AttemptOutcome, MessageEnd, SettingsTask> what;
    Committed on_committed;
    bool told = false;
    std::string refused;
  };

  void enqueue(Item item, bool urgent);
  void run();
  bool wait_for_work();
  void try_once();
  void write_all();
  void write(Item& item);
  void reopen_if_moved();
  void after_commit();
  void after_failure(const std::string& why);
  void fold_kept();
  void maybe_checkpoint();
  void set_working(bool working, const std::string& text);

  const std::string path_;
  const StoreOptions options_;

  // Of the writer thread alone.
  std::unique_ptr<StoreFile> file_;
  std::deque<Item> in_hand_;
  std::unique_ptr<KeptSettings> settings_;  // for a file that must be made anew
  bool settings_missing_ = false;           // it was, and they are not in it yet
  std::int64_t pause_ms_ = 0;               // 0: the latest transaction succeeded
  std::uint64_t flushes_taken_ = 0;         // those that the present round answers
  bool checkpoint_failing_ = false;
  Clock::time_point checkpoint_retry_at_{};

  mutable std::mutex mutex_;
  std::condition_variable work_;
  std::condition_variable tried_;
  std::deque<Item> queue_;
  std::uint64_t flushes_asked_ = 0;
  std::uint64_t flushes_done_ = 0;
  Clock::time_point retry_at_{};
  bool urgent_ = false;  // something waits that is tried even during the pause
  bool stop_ = false;
  std::size_t kept_items_ = 0;  // tried and kept back
  StoreStats stats_;

  std::thread thread_;
};

}  // namespace baskwell::store
