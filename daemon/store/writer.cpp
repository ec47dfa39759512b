#include "store/writer.h"

#include <algorithm>
#include <iterator>
#include <optional>
#include <utility>

#include "core/check.h"

namespace baskwell::store {
namespace {

bool holds_only_readings(const Batch& batch) {
  return batch.transitions.empty() && batch.messages.empty() && batch.withdrawn.empty() &&
         batch.notes.empty() && batch.outages.empty() && !batch.snapshot && !batch.learned;
}

template <class T>
void append(std::vector<T>& to, std::vector<T>&& from) {
  to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
}

}  // namespace

Store::Writer::Writer(const std::string& path, StoreOptions options)
    : path_(path),
      options_(std::move(options)),
      file_(std::make_unique<StoreFile>(path_, options_)),
      thread_([this] { run(); }) {}

Store::Writer::~Writer() {
  {
    const std::lock_guard lock(mutex_);
    stop_ = true;
  }
  work_.notify_one();
  thread_.join();
}

// ---- Any thread ------------------------------------------------------------------------------------------

void Store::Writer::enqueue(Item item, bool urgent) {
  {
    const std::lock_guard lock(mutex_);
    CHECK(!stop_);
    queue_.push_back(std::move(item));
    urgent_ = urgent_ || urgent;
  }
  work_.notify_one();
}

std::size_t Store::Writer::submit(Batch batch) {
  CHECK(batch.room || batch.readings.empty());
  std::size_t dropped = 0;
  {
    std::unique_lock lock(mutex_);
    CHECK(!stop_);
    const std::size_t room_left = stats_.batches_waiting >= options_.max_waiting_batches ? 0
                                  : stats_.readings_waiting >= options_.max_waiting_readings
                                      ? 0
                                      : options_.max_waiting_readings - stats_.readings_waiting;
    if (batch.readings.size() > room_left) {
      dropped = batch.readings.size() - room_left;
      batch.readings.resize(room_left);  // the newest go
      stats_.readings_dropped += dropped;
    }
    const bool dropped_whole = dropped > 0 && batch.readings.empty() && holds_only_readings(batch);
    if (!dropped_whole) {
      stats_.readings_waiting += batch.readings.size();
      ++stats_.batches_waiting;
      urgent_ = urgent_ || batch.urgent;
      Committed on_committed = std::move(batch.on_committed);
      queue_.push_back({std::move(batch), std::move(on_committed), false, {}});
      lock.unlock();
      work_.notify_one();  // without the lock, which it would wake up to wait for
      return dropped;
    }
  }
  if (batch.on_committed) {
    batch.on_committed(false,
                       "the queue to the store is full, " + std::to_string(dropped) + " readings dropped");
  }
  return dropped;
}

void Store::Writer::submit(Attempt attempt, Committed on_committed) {
  enqueue({std::move(attempt), std::move(on_committed), false, {}}, true);
}

void Store::Writer::submit(AttemptOutcome outcome, Committed on_committed) {
  enqueue({std::move(outcome), std::move(on_committed), false, {}}, true);
}

void Store::Writer::submit(MessageEnd end, Committed on_committed) {
  enqueue({std::move(end), std::move(on_committed), false, {}}, true);
}

Result<std::uint64_t> Store::Writer::put_settings(std::vector<SettingsFile> files, UtcMs now) {
  CHECK(std::this_thread::get_id() != thread_.get_id());
  SettingsTask task{std::move(files), now, 0, {}};
  std::future<Result<std::uint64_t>> result = task.promise.get_future();
  enqueue({std::move(task), {}, false, {}}, true);
  return result.get();
}

bool Store::Writer::flush() {
  CHECK(std::this_thread::get_id() != thread_.get_id());
  std::unique_lock lock(mutex_);
  const std::uint64_t asked = ++flushes_asked_;
  urgent_ = true;
  work_.notify_one();
  tried_.wait(lock, [&] { return flushes_done_ >= asked; });
  return kept_items_ == 0;
}

void Store::Writer::retry_now() {
  {
    const std::lock_guard lock(mutex_);
    urgent_ = true;
  }
  work_.notify_one();
}

StoreStats Store::Writer::stats() const {
  const std::lock_guard lock(mutex_);
  return stats_;
}

// ---- The writer thread -----------------------------------------------------------------------------------

// Takes what waits into in_hand_. False: time to end.
bool Store::Writer::wait_for_work() {
  std::unique_lock lock(mutex_);
  while (!urgent_ && !stop_) {
    const bool something = !queue_.empty() || !in_hand_.empty();
    const bool pausing = pause_ms_ > 0 && Clock::now() < retry_at_;
    if (something && !pausing) break;
    if (something) {
      work_.wait_until(lock, retry_at_);
    } else {
      work_.wait(lock);
    }
  }
  urgent_ = false;
  flushes_taken_ = flushes_asked_;
  std::move(queue_.begin(), queue_.end(), std::back_inserter(in_hand_));
  queue_.clear();
  return !stop_;
}

void Store::Writer::run() {
  bool go_on = true;
  while (go_on) {
    go_on = wait_for_work();
    if (!in_hand_.empty()) try_once();
    {
      const std::lock_guard lock(mutex_);
      kept_items_ = in_hand_.size();
      flushes_done_ = flushes_taken_;
    }
    tried_.notify_all();
    if (go_on) maybe_checkpoint();
  }
  file_.reset();
}

void Store::Writer::try_once() {
  try {
    reopen_if_moved();
    file_->begin();
    if (settings_missing_ && settings_) file_->rewrite_settings(*settings_);
    write_all();
    file_->commit();
  } catch (const Trouble& trouble) {
    if (file_) file_->roll_back();
    after_failure(trouble.text);
    return;
  }
  after_commit();
}

// The old file is closed first: closing must not touch what has taken its place.
void Store::Writer::reopen_if_moved() {
  if (file_ && !file_->was_moved()) return;
  file_.reset();
  file_ = std::make_unique<StoreFile>(path_, options_);
  settings_missing_ = true;
}

// Of several snapshots that wait together only the newest matters; likewise of what was learned.
void Store::Writer::write_all() {
  const Batch* newest_snapshot = nullptr;
  const Batch* newest_learned = nullptr;
  for (Item& item : in_hand_) {
    write(item);
    const Batch* batch = std::get_if<Batch>(&item.what);
    if (batch != nullptr && batch->snapshot) newest_snapshot = batch;
    if (batch != nullptr && batch->learned) newest_learned = batch;
  }
  if (newest_snapshot != nullptr) file_->write_snapshot(newest_snapshot->at, *newest_snapshot->snapshot);
  if (newest_learned != nullptr) file_->write_learned(newest_learned->at, *newest_learned->learned);
}

void Store::Writer::write(Item& item) {
  if (const auto* batch = std::get_if<Batch>(&item.what)) {
    item.refused = file_->write(*batch);
  } else if (const auto* attempt = std::get_if<Attempt>(&item.what)) {
    item.refused = file_->write_attempt(*attempt);
  } else if (const auto* outcome = std::get_if<AttemptOutcome>(&item.what)) {
    item.refused = file_->write_outcome(*outcome);
  } else if (const auto* end = std::get_if<MessageEnd>(&item.what)) {
    item.refused = file_->write_end(*end);
  } else {
    auto& settings = std::get<SettingsTask>(item.what);
    settings.version = file_->write_settings(settings.files, settings.now);
  }
}

void Store::Writer::after_commit() {
  std::size_t readings = 0;
  std::size_t batches = 0;
  for (const Item& item : in_hand_) {
    if (const auto* batch = std::get_if<Batch>(&item.what)) {
      readings += batch->readings.size();
      ++batches;
    }
  }
  {
    const std::lock_guard lock(mutex_);
    stats_.readings_stored += readings;
    stats_.readings_waiting -= readings;
    stats_.batches_waiting -= batches;
    ++stats_.transactions;
  }
  for (Item& item : in_hand_) {
    if (auto* settings = std::get_if<SettingsTask>(&item.what)) {
      settings_ = std::make_unique<KeptSettings>(
          KeptSettings{settings->version, settings->now, std::move(settings->files)});
      settings->promise.set_value(settings->version);
    } else if (!item.told && item.on_committed) {
      item.on_committed(item.refused.empty(), item.refused);
    }
  }
  in_hand_.clear();
  settings_missing_ = false;
  pause_ms_ = 0;
  if (!checkpoint_failing_) set_working(true, {});
}

void Store::Writer::after_failure(const std::string& why) {
  pause_ms_ = pause_ms_ == 0 ? options_.retry_first_ms : std::min(pause_ms_ * 2, options_.retry_most_ms);
  for (Item& item : in_hand_) {
    if (auto* settings = std::get_if<SettingsTask>(&item.what)) {
      settings->promise.set_value(Error{why});  // whoever asked decides whether to ask again
    } else if (!item.told && item.on_committed) {
      item.on_committed(false, why);
    }
    item.told = true;
    item.on_committed = nullptr;
  }
  std::erase_if(in_hand_, [](const Item& item) { return std::holds_alternative<SettingsTask>(item.what); });
  fold_kept();
  {
    const std::lock_guard lock(mutex_);
    retry_at_ = Clock::now() + std::chrono::milliseconds(pause_ms_);
  }
  set_working(false, why);
}

// Batches kept back become one where nothing stands between them, so that a long trouble costs their
// contents and no more.
void Store::Writer::fold_kept() {
  std::deque<Item> folded;
  std::size_t gone = 0;
  for (Item& item : in_hand_) {
    auto* batch = std::get_if<Batch>(&item.what);
    auto* before = folded.empty() ? nullptr : std::get_if<Batch>(&folded.back().what);
    // Withdrawals come first within a batch, so they must not move in front of earlier messages.
    if (batch == nullptr || before == nullptr || batch->room != before->room || !batch->withdrawn.empty()) {
      folded.push_back(std::move(item));
      continue;
    }
    append(before->readings, std::move(batch->readings));
    append(before->transitions, std::move(batch->transitions));
    append(before->messages, std::move(batch->messages));
    append(before->notes, std::move(batch->notes));
    append(before->outages, std::move(batch->outages));
    if (batch->snapshot || batch->learned) before->at = batch->at;
    if (batch->snapshot) before->snapshot = std::move(batch->snapshot);
    if (batch->learned) before->learned = std::move(batch->learned);
    ++gone;
  }
  in_hand_ = std::move(folded);
  const std::lock_guard lock(mutex_);
  stats_.batches_waiting -= gone;
}

// At a moment when nothing waits; when the journal has grown to four times the size, anyway.
void Store::Writer::maybe_checkpoint() {
  if (!file_ || file_->was_moved() || !in_hand_.empty()) return;
  const int pages = file_->journal_pages();
  if (pages < options_.checkpoint_pages) return;
  if (checkpoint_failing_ && Clock::now() < checkpoint_retry_at_) return;
  {
    const std::lock_guard lock(mutex_);
    if (!queue_.empty() && pages / 4 < options_.checkpoint_pages) return;
  }
  try {
    file_->checkpoint();
  } catch (const Trouble& trouble) {
    // What was committed stays safe in the journal, which grows meanwhile.
    checkpoint_failing_ = true;
    checkpoint_retry_at_ = Clock::now() + std::chrono::milliseconds(options_.retry_most_ms);
    set_working(false, trouble.text);
    return;
  }
  checkpoint_failing_ = false;
  {
    const std::lock_guard lock(mutex_);
    ++stats_.checkpoints;
  }
  set_working(true, {});
}

void Store::Writer::set_working(bool working, const std::string& text) {
  {
    const std::lock_guard lock(mutex_);
    const bool changed = stats_.working != working;
    stats_.working = working;
    stats_.trouble = text;
    if (!changed) return;
  }
  if (options_.on_trouble) options_.on_trouble(working, text);
}

}  // namespace baskwell::store
