#pragma once
// Reading the store: a read-only connection of its own, usable while a daemon writes, from this process or
// another one. Every call sees one committed state. Times are UTC milliseconds, ranges half-open [from, to).
// One thread at a time. Errors: SQLite's, in words; a name the program does not know (a newer one wrote it).

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/effects.h"
#include "core/result.h"
#include "core/time.h"
#include "store/outbox.h"
#include "store/store.h"

namespace baskwell::store {

struct TransitionRow {
  std::int64_t id = 0;  // ascending in order of commit
  TransitionRecord record;
  std::uint64_t settings_version = 0;
};

struct NoteRow {
  std::int64_t id = 0;  // ascending in order of commit
  NoteRecord record;    // without what it opened
};

struct ReadingRow {
  std::int64_t id = 0;       // ascending in order of arrival
  std::string_view channel;  // permanent id
  StoredReading reading;     // its `channel` index is `none`
  std::string_view boot_id;  // of reading.elapsed
  std::uint64_t settings_version = 0;
};

struct StoreCounts {
  std::uint64_t readings = 0;
  std::uint64_t transitions = 0;
  std::uint64_t messages = 0;
  std::uint64_t attempts = 0;
  std::uint64_t channels = 0;
  std::uint64_t settings_versions = 0;
};

struct SettingsVersion {
  std::uint64_t version = 0;
  UtcMs first_used;
  std::string hash;
  std::vector<SettingsFile> files;
};

// What must be known of the record where the state beside it is lost.
struct RecordEnds {
  std::vector<TransitionRecord> open;  // the latest transition of each alarm that did not end in `normal`
  std::uint64_t last_occurrence = 0;   // highest number given: "A1042" is 1042
  std::uint64_t last_message = 0;
  std::uint64_t last_outage = 0;
};

class StoreReader {
 public:
  [[nodiscard]] static Result<StoreReader> open(const std::string& path, const std::string& vfs = {});
  ~StoreReader();
  StoreReader(StoreReader&&) noexcept;
  StoreReader& operator=(StoreReader&&) noexcept;

  // Oldest first, at most `most`.
  [[nodiscard]] Result<std::vector<TransitionRow>> transitions(UtcMs from, UtcMs to, std::size_t most) const;

  // By measured time, in order of arrival; `channel` empty: all. `visit` returns false to stop. The row's
  // texts are valid during the call only.
  using VisitReading = std::function<bool(const ReadingRow&)>;
  [[nodiscard]] Outcome readings(std::string_view channel, UtcMs from, UtcMs to,
                                 const VisitReading& visit) const;

  [[nodiscard]] Result<std::optional<OutboxMessage>> message(std::string_view id) const;
  [[nodiscard]] Result<std::vector<OutboxMessage>> messages(MessageState state, std::size_t most) const;
  [[nodiscard]] Result<std::vector<AttemptRow>> attempts(std::string_view message) const;
  // Whether a message of this occurrence was delivered to, or at least attempted for, this person.
  [[nodiscard]] Result<bool> was_told(std::string_view occurrence, std::string_view person) const;
  [[nodiscard]] Result<PendingMessages> pending_messages() const;

  // Walks the whole record.
  [[nodiscard]] Result<RecordEnds> record_ends() const;

  // The newest `most`, oldest first; `subject` empty: all.
  [[nodiscard]] Result<std::vector<NoteRow>> notes(std::string_view subject, std::size_t most) const;

  // The newest `most`, oldest first; `id` not empty: only that one.
  [[nodiscard]] Result<std::vector<OutageRecord>> outages(std::string_view id, std::size_t most) const;

  [[nodiscard]] Result<std::optional<Snapshot>> last_snapshot() const;
  [[nodiscard]] Result<std::optional<Learned>> last_learned() const;
  [[nodiscard]] Result<std::optional<UtcMs>> last_stored_utc() const;
  [[nodiscard]] Result<std::optional<SettingsVersion>> settings(std::uint64_t version) const;
  // In force at that moment.
  [[nodiscard]] Result<std::optional<SettingsVersion>> settings_at(UtcMs at) const;
  [[nodiscard]] Result<StoreCounts> counts() const;

 private:
  struct State;
  explicit StoreReader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baskwell::store
