#pragma once
// The store: readings, the alarm record, the outbox, settings and snapshots in one SQLite file (format:
// docs/store.md), written by one thread that this class owns. Times are UTC milliseconds unless named
// otherwise.
//
// Commits. A batch is committed as soon as the writer is free; batches that wait together share one
// transaction, and one transaction costs one fsync. So the caller gathers plain readings and submits them one
// commit interval (default 1 s) after the oldest of them arrived, and submits a step with transitions or
// messages at once (`urgent`). A commit is durable: it survives kill -9 and a power cut. Nothing is rounded.
//
// Bounds. At most `max_waiting_readings` readings and `max_waiting_batches` batches wait. Beyond either,
// readings of a new batch are dropped and counted; its transitions, messages, withdrawals, notes, outages,
// snapshot and what is learned are taken all the same, and so are attempts and outcomes: they are bounded by
// what the room can raise and people can write.
//
// Failure. When a transaction fails, every batch in it hears on_committed(false, why) once, is kept within
// the same bounds, in order, and tried again: after a growing pause, at once with the next urgent batch, or
// when told (retry_now). `on_trouble` is called once at each change between working and not.
//
// Threads: every member may be called from any thread, but flush() and put_settings() not from a callback.
// Callbacks run on the writer thread, in the order of submission, and must not block. One exception: where a
// batch is dropped whole at the bound, submit itself calls on_committed(false, why) before it returns.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/effects.h"
#include "core/result.h"
#include "core/room.h"
#include "core/time.h"
#include "store/outbox.h"

namespace baskwell::store {

// ok: durable. Else `error` says why, in words. Called exactly once.
using Committed = std::function<void(bool ok, const std::string& error)>;

struct StoreOptions {
  std::string boot_id;                         // names the elapsed clock of the readings
  std::string program_version;                 // kept with each session, for people
  UtcMs now;                                   // when this start happened
  std::size_t max_waiting_readings = 200'000;  // about 11 MB
  std::size_t max_waiting_batches = 4'096;
  std::int64_t retry_first_ms = 200;  // pause after a failure, doubled up to retry_most_ms
  std::int64_t retry_most_ms = 10 * second_ms;
  int checkpoint_pages = 2'000;  // 8 MB of journal: then it is moved into the file, at a free moment
  std::function<void(bool working, const std::string& text)> on_trouble;
  std::string vfs;         // SQLite's name of another file layer; for tests
  int max_page_count = 0;  // 0: no limit; for tests of a full disk
};

// What one commit holds. Within it: withdrawals first, so they never touch this batch's own messages.
struct Batch {
  std::shared_ptr<const Room> room;  // whose channels the readings mean; its version is kept with them
  std::vector<StoredReading> readings;
  std::vector<TransitionRecord> transitions;
  std::vector<MessageDraft> messages;
  std::vector<std::string> withdrawn;  // occurrences whose waiting messages (but "over") are withdrawn
  std::vector<NoteRecord> notes;
  std::vector<OutageRecord> outages;    // each takes the place of what the store has under its id
  std::optional<std::string> snapshot;  // Engine::snapshot; the latest two are kept
  std::optional<std::string> learned;   // Engine::learned; the latest is kept
  UtcMs at;                             // when it was made
  bool urgent = false;
  Committed on_committed;  // may be empty
};

struct SettingsFile {
  std::string name;  // as the settings name it: "room.toml", "care/royal-python.toml"
  std::string text;
};

struct Snapshot {
  UtcMs at;
  std::string text;
};

struct Learned {
  UtcMs at;
  std::string text;
};

struct StoreStats {
  bool working = true;
  std::string trouble;                // while not working
  std::uint64_t readings_stored = 0;  // since open, durable
  std::uint64_t readings_dropped = 0;
  std::uint64_t transactions = 0;
  std::uint64_t checkpoints = 0;
  std::size_t readings_waiting = 0;
  std::size_t batches_waiting = 0;
};

class Store {
 public:
  // Makes the file (mode 0600) where there is none, brings an older format forward, refuses a newer one, a
  // file of something else, and a second writer.
  [[nodiscard]] static Result<std::unique_ptr<Store>> open(const std::string& path, StoreOptions options);

  // Commits what waits (one try), then closes.
  ~Store();
  Store(const Store&) = delete;
  Store& operator=(const Store&) = delete;

  // Never blocks on the disk. Returns how many readings were dropped at the bound.
  std::size_t submit(Batch batch);

  // An attempt goes out only after its callback came, whatever that says: when the store fails people are
  // told anyway, and the attempt is still written once the store works again.
  void record_attempt(Attempt attempt, Committed on_committed);
  void record_outcome(AttemptOutcome outcome, Committed on_committed = {});
  void record_end(MessageEnd end, Committed on_committed = {});

  // The version of these settings and care sheets: the latest one where nothing changed, else a new one.
  // Waits for the commit.
  [[nodiscard]] Result<std::uint64_t> put_settings(std::vector<SettingsFile> files, UtcMs now);

  // Waits until all that was submitted before was tried once. False while something is still kept back.
  bool flush();
  void retry_now();

  // Read from the file on a connection of their own; meant for the start.
  [[nodiscard]] Result<PendingMessages> pending_messages() const;
  [[nodiscard]] Result<std::optional<Snapshot>> last_snapshot() const;
  [[nodiscard]] Result<std::optional<Learned>> last_learned() const;
  [[nodiscard]] Result<std::optional<UtcMs>> last_stored_utc() const;

  [[nodiscard]] StoreStats stats() const;
  [[nodiscard]] const std::string& path() const;

 private:
  class Writer;
  Store(std::unique_ptr<Writer> writer, int lock);
  std::unique_ptr<Writer> writer_;
  int lock_;  // descriptor
};

}  // namespace baskwell::store
