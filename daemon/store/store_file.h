#pragma once
// The writing side of the store's file: one connection, its prepared statements and what must be remembered
// between transactions. For store/ only; the writer thread owns it. Failures are thrown as Trouble; after
// one, call roll_back(), which also forgets all that the transaction had changed in memory.

#include <sys/stat.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "store/sqlite.h"
#include "store/store.h"

namespace baskwell::store {

struct KeptSettings {
  std::uint64_t version = 0;
  UtcMs first_used;
  std::vector<SettingsFile> files;
};

class StoreFile {
 public:
  StoreFile(const std::string& path, const StoreOptions& options);

  void begin();  // throws as well when the file was removed or replaced under us
  void commit();
  void roll_back() noexcept;

  // Within a transaction. Text: what was refused and why ("" for nothing); the rest is written.
  std::string write(const Batch& batch);
  void write_snapshot(UtcMs at, const std::string& text);
  void write_learned(UtcMs at, const std::string& text);
  std::string write_attempt(const Attempt& attempt);
  std::string write_outcome(const AttemptOutcome& outcome);
  std::string write_end(const MessageEnd& end);
  // The version they have now. The latest one where nothing changed.
  std::uint64_t write_settings(const std::vector<SettingsFile>& files, UtcMs now);
  // Into a file that does not have them, under the version they had in the file before.
  void rewrite_settings(const KeptSettings& settings);

  // Pages in the journal that no checkpoint has moved into the file yet, about.
  [[nodiscard]] int journal_pages() const { return *journal_pages_ - moved_pages_; }
  void checkpoint();

  [[nodiscard]] bool was_moved() const { return moved_; }

 private:
  struct Statements {
    explicit Statements(const Database& database);
    Statement begin, commit;
    Statement find_channel, add_channel, add_session, add_reading, add_index_row;
    Statement add_transition, add_message, withdraw, add_note;
    Statement add_attempt, mark_attempted, end_attempt, settle_message;
    Statement add_snapshot, drop_snapshots, keep_learned;
  };
  // What a roll-back takes back.
  struct Position {
    std::int64_t session = 0;  // 0: none for `settings_version` yet
    std::uint64_t settings_version = 0;
    std::int64_t next_reading = 1;
    std::int64_t index_first = 1;  // of the open stride
    std::int64_t index_low_ms = INT64_MAX;
    std::int64_t index_high_ms = INT64_MIN;
  };

  static const std::string& made_private(const std::string& path);
  void find_position();
  void require_in_place();
  void use_session(const Batch& batch);
  std::int64_t key_of(const Room& room, Index channel);
  void write_readings(const Batch& batch);
  void write_transition(const TransitionRecord& record);
  bool write_message(const MessageDraft& draft);
  void write_note(const NoteRecord& record);

  std::string path_;
  std::string boot_id_;
  std::string program_version_;
  UtcMs opened_;
  Database database_;
  std::unique_ptr<int> journal_pages_;  // at a fixed place: SQLite's hook writes it
  int moved_pages_ = 0;                 // of these, in the file already
  std::optional<Statements> statements_;
  std::optional<struct stat> journal_identity_;
  Position position_;
  Position position_before_;
  std::shared_ptr<const Room> keys_of_;  // whose indexes `keys_` is by
  std::vector<std::int64_t> keys_;       // 0: not looked up yet
  bool moved_ = false;
};

}  // namespace baskwell::store
