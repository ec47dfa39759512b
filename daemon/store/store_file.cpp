#include "store/store_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <system_error>

#include "core/check.h"
#include "store/names.h"
#include "store/outage_rows.h"
#include "store/schema.h"

namespace baskwell::store {
namespace {

int remember_journal_pages(void* place, sqlite3* /*database*/, const char* /*schema*/, int pages) {
  *static_cast<int*>(place) = pages;
  return SQLITE_OK;
}

Trouble system_trouble(const std::string& what) {
  return {0, what + ": " + std::generic_category().message(errno)};
}

// FNV-1a, 64 bits: a label by which people tell versions apart, not a seal. Constants from memory, held by
// the published test vectors in the tests. Whether files changed is decided by their texts.
std::string label_of(const std::vector<SettingsFile>& files) {
  std::uint64_t hash = 0xcbf29ce484222325U;
  const auto add = [&hash](std::string_view text) {
    for (const char byte : text) {
      hash = (hash ^ static_cast<unsigned char>(byte)) * 0x100000001b3U;
    }
  };
  for (const SettingsFile& file : files) {
    add(file.name);
    add(std::string_view("\0", 1));
    add(file.text);
    add(std::string_view("\0", 1));
  }
  std::array<char, 16> digits{};
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), hash, 16).ptr;
  const std::string text(digits.data(), end);
  return std::string(digits.size() - text.size(), '0') + text;
}

}  // namespace

StoreFile::Statements::Statements(const Database& database)
    : begin(database.prepare("BEGIN IMMEDIATE")),
      commit(database.prepare("COMMIT")),
      find_channel(database.prepare("SELECT key FROM channels WHERE id = ?1")),
      add_channel(database.prepare("INSERT INTO channels(id) VALUES(?1)")),
      add_session(database.prepare("INSERT INTO sessions(boot_id, began_ms, settings_version, "
                                   "program_version) VALUES(?1, ?2, ?3, ?4)")),
      add_reading(database.prepare("INSERT INTO readings VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12)")),
      add_index_row(database.prepare("INSERT INTO reading_index VALUES(?1,?2,?3,?4)")),
      add_transition(database.prepare(
          "INSERT INTO transitions VALUES(NULL,?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14)")),
      add_message(database.prepare(
          "INSERT INTO outbox VALUES(NULL,?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,'waiting',?7,0) "
          "ON CONFLICT(id) DO NOTHING")),
      withdraw(database.prepare("UPDATE outbox SET state = 'withdrawn' "
                                "WHERE occurrence = ?1 AND state = 'waiting' AND reason <> 'over'")),
      add_note(database.prepare("INSERT INTO notes VALUES(NULL,?1,?2,?3,?4,?5)")),
      add_attempt(database.prepare("INSERT INTO attempts VALUES(?1,?2,?3,NULL,'unknown','') "
                                   "ON CONFLICT DO NOTHING")),
      mark_attempted(
          database.prepare("UPDATE outbox SET state = 'attempted', attempts = attempts + 1 WHERE id = ?1")),
      end_attempt(database.prepare("UPDATE attempts SET ended_ms = ?4, outcome = ?5, answer = ?6 "
                                   "WHERE message = ?1 AND channel = ?2 AND at_ms = ?3")),
      settle_message(database.prepare("UPDATE outbox SET state = ?2, next_try_ms = ?3 WHERE id = ?1")),
      add_snapshot(database.prepare("INSERT INTO snapshots VALUES(NULL, ?1, ?2)")),
      drop_snapshots(
          database.prepare("DELETE FROM snapshots WHERE id <= (SELECT max(id) FROM snapshots) - 2")),
      keep_learned(database.prepare("INSERT OR REPLACE INTO learned VALUES(1, ?1, ?2)")) {}

// The store holds where people live and what their animals do: nobody else's to read. SQLite gives the
// journal and the index of it the mode of the file.
const std::string& StoreFile::made_private(const std::string& path) {
  struct stat found {};
  if (::stat(path.c_str(), &found) == 0) {
    // Not by opening it: closing any descriptor of the file would drop the locks of other connections.
    if ((found.st_mode & 0077U) != 0 && ::chmod(path.c_str(), 0600) != 0) {
      throw system_trouble("cannot make the store private to its owner");
    }
    return path;
  }
  const int made = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (made < 0) throw system_trouble("cannot make the store's file");
  ::close(made);
  const std::size_t slash = path.rfind('/');
  const std::string folder = slash == std::string::npos ? "." : path.substr(0, slash + 1);
  const int folder_descriptor = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (folder_descriptor < 0) throw system_trouble("cannot open the store's folder");
  const int synced = ::fsync(folder_descriptor);  // else a power cut could take the name away
  ::close(folder_descriptor);
  if (synced != 0) throw system_trouble("cannot sync the store's folder");
  return path;
}

StoreFile::StoreFile(const std::string& path, const StoreOptions& options)
    : path_(path),
      boot_id_(options.boot_id),
      program_version_(options.program_version),
      opened_(options.now),
      database_(made_private(path), SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, options.vfs),
      journal_pages_(std::make_unique<int>(0)) {
  refuse_foreign(database_, migrations());
  if (options.max_page_count > 0) {
    database_.execute(("PRAGMA max_page_count = " + std::to_string(options.max_page_count)).c_str());
  }
  const std::string mode = database_.text("PRAGMA journal_mode = WAL");
  if (mode != "wal") throw Trouble{0, "the store's folder cannot hold a write-ahead log"};
  // FULL: a commit is an fsync of the log. Checkpoints are ours to time. 1 MB of pages, no map: the whole
  // daemon is to stay under 25 MB.
  database_.execute(
      "PRAGMA synchronous = FULL; PRAGMA wal_autocheckpoint = 0; PRAGMA cache_size = -1000; "
      "PRAGMA mmap_size = 0; PRAGMA journal_size_limit = 16777216");
  bring_forward(database_, migrations());
  database_.execute("BEGIN IMMEDIATE");
  write_names(database_);
  database_.execute("COMMIT");
  sqlite3_wal_hook(database_.handle(), remember_journal_pages, journal_pages_.get());
  statements_.emplace(database_);
  find_position();
}

void StoreFile::find_position() {
  Statement tail = database_.prepare(
      "WITH done(id) AS (SELECT coalesce(max(last_id), 0) FROM reading_index) "
      "SELECT done.id, max(r.id), min(r.measured_ms), max(r.measured_ms) "
      "FROM done LEFT JOIN readings r ON r.id > done.id");
  CHECK(tail.step());
  position_.index_first = tail.integer(0) + 1;
  position_.next_reading = tail.is_null(1) ? position_.index_first : tail.integer(1) + 1;
  if (!tail.is_null(1)) {
    position_.index_low_ms = tail.integer(2);
    position_.index_high_ms = tail.integer(3);
  }
}

// A file that was removed or replaced under us would take every commit and keep none. Two stats a commit.
void StoreFile::require_in_place() {
  int moved = 0;
  sqlite3_file_control(database_.handle(), "main", SQLITE_FCNTL_HAS_MOVED, &moved);
  struct stat now {};
  if (moved == 0 && journal_identity_) {
    const bool there = ::stat((path_ + "-wal").c_str(), &now) == 0;
    moved = !there || now.st_ino != journal_identity_->st_ino || now.st_dev != journal_identity_->st_dev;
  }
  if (moved == 0) return;
  moved_ = true;
  throw Trouble{SQLITE_READONLY_DBMOVED, "the store's file was removed or replaced while in use"};
}

void StoreFile::begin() {
  require_in_place();
  position_before_ = position_;
  statements_->begin.run();
}

void StoreFile::commit() {
  statements_->commit.run();
  if (*journal_pages_ < moved_pages_) moved_pages_ = 0;  // the journal began anew
  if (!journal_identity_) {
    struct stat found {};
    if (::stat((path_ + "-wal").c_str(), &found) == 0) journal_identity_ = found;
  }
}

void StoreFile::roll_back() noexcept {
  database_.roll_back();
  position_ = position_before_;
  keys_of_.reset();  // keys given out in the transaction no longer hold
  keys_.clear();
}

void StoreFile::use_session(const Batch& batch) {
  const std::uint64_t version = batch.room ? batch.room->version : position_.settings_version;
  if (position_.session != 0 && position_.settings_version == version) return;
  statements_->add_session.bind(1, boot_id_)
      .bind(2, position_.session == 0 ? opened_.ms : batch.at.ms)
      .bind(3, static_cast<std::int64_t>(version))
      .bind(4, program_version_)
      .run();
  position_.session = sqlite3_last_insert_rowid(database_.handle());
  position_.settings_version = version;
}

std::int64_t StoreFile::key_of(const Room& room, Index channel) {
  std::int64_t& key = keys_[channel];
  if (key != 0) return key;
  const std::string& id = room.channels[channel].id;
  {
    const ResetAfter reset(statements_->find_channel);
    if (statements_->find_channel.bind(1, id).step()) key = statements_->find_channel.integer(0);
  }
  if (key == 0) {
    statements_->add_channel.bind(1, id).run();
    key = sqlite3_last_insert_rowid(database_.handle());
  }
  return key;
}

void StoreFile::write_readings(const Batch& batch) {
  const Room& room = *batch.room;
  if (keys_of_ != batch.room) {
    keys_of_ = batch.room;
    keys_.assign(room.channels.size(), 0);
  }
  Statement& add = statements_->add_reading;
  for (const StoredReading& reading : batch.readings) {
    CHECK(reading.channel < keys_.size());
    const std::int64_t id = position_.next_reading++;
    add.bind(1, id).bind(2, key_of(room, reading.channel)).bind(3, position_.session);
    add.bind(4, reading.measured.ms).bind(5, reading.received.ms).bind(6, reading.elapsed.ms);
    add.bind(7, reading.value.digits).bind(8, std::int64_t{reading.value.places});
    add.bind(9, static_cast<std::int64_t>(reading.unit)).bind(10, static_cast<std::int64_t>(reading.quality));
    add.bind(11, std::int64_t{reading.own_time}).bind(12, std::int64_t{reading.calibration_version});
    add.run();
    position_.index_low_ms = std::min(position_.index_low_ms, reading.measured.ms);
    position_.index_high_ms = std::max(position_.index_high_ms, reading.measured.ms);
    if (id - position_.index_first + 1 < index_stride) continue;
    statements_->add_index_row.bind(1, id)
        .bind(2, position_.index_first)
        .bind(3, position_.index_low_ms)
        .bind(4, position_.index_high_ms)
        .run();
    position_.index_first = id + 1;
    position_.index_low_ms = INT64_MAX;
    position_.index_high_ms = INT64_MIN;
  }
}

void StoreFile::write_transition(const TransitionRecord& record) {
  statements_->add_transition.bind(1, record.at.ms)
      .bind(2, position_.session)
      .bind(3, record.occurrence)
      .bind(4, row_of(record.kind).name)
      .bind(5, record.subject)
      .bind(6, name_of(record.from))
      .bind(7, name_of(record.to))
      .bind(8, name_of(record.input))
      .bind(9, name_of(record.priority))
      .bind(10, level_name(record.level))
      .bind(11, record.value)
      .bind(12, record.limit)
      .bind(13, record.who)
      .bind(14, record.why)
      .run();
}

bool StoreFile::write_message(const MessageDraft& draft) {
  statements_->add_message.bind(1, draft.id)
      .bind(2, draft.occurrence)
      .bind(3, draft.person)
      .bind(4, name_of(draft.reason))
      .bind(5, name_of(draft.priority))
      .bind(6, draft.written.ms)
      .bind(7, draft.not_before.ms)
      .bind(8, std::int64_t{draft.only_if_told})
      .bind(9, draft.headline)
      .bind(10, draft.body)
      .bind(11, draft.json)
      .run();
  return database_.changes() == 1;
}

void StoreFile::write_note(const NoteRecord& record) {
  statements_->add_note.bind(1, record.at.ms)
      .bind(2, record.subject)
      .bind(3, name_of(record.type))
      .bind(4, record.text)
      .bind(5, record.who)
      .run();
}

std::string StoreFile::write(const Batch& batch) {
  use_session(batch);
  if (!batch.readings.empty()) write_readings(batch);
  for (const TransitionRecord& record : batch.transitions) write_transition(record);
  for (const NoteRecord& record : batch.notes) write_note(record);
  for (const OutageRecord& record : batch.outages) write_outage(database_, record);
  for (const std::string& occurrence : batch.withdrawn) statements_->withdraw.bind(1, occurrence).run();
  std::string refused;
  for (const MessageDraft& draft : batch.messages) {
    if (write_message(draft)) continue;
    refused += refused.empty() ? "" : "; ";
    refused += "message " + draft.id + " is in the store already, it stays as it was";
  }
  return refused;
}

void StoreFile::write_snapshot(UtcMs at, const std::string& text) {
  statements_->add_snapshot.bind(1, at.ms).bind(2, text).run();
  statements_->drop_snapshots.run();
}

void StoreFile::write_learned(UtcMs at, const std::string& text) {
  statements_->keep_learned.bind(1, at.ms).bind(2, text).run();
}

std::string StoreFile::write_attempt(const Attempt& attempt) {
  statements_->mark_attempted.bind(1, attempt.message).run();
  if (database_.changes() == 0) return "there is no message " + attempt.message + " in the store";
  statements_->add_attempt.bind(1, attempt.message).bind(2, attempt.channel).bind(3, attempt.at.ms).run();
  return {};
}

std::string StoreFile::write_outcome(const AttemptOutcome& outcome) {
  const Attempt& attempt = outcome.attempt;
  statements_->end_attempt.bind(1, attempt.message)
      .bind(2, attempt.channel)
      .bind(3, attempt.at.ms)
      .bind(4, outcome.ended.ms)
      .bind(5, outcome.delivered ? std::string_view("delivered") : std::string_view("failed"))
      .bind(6, outcome.answer)
      .run();
  if (database_.changes() == 0) {
    return "there is no such attempt of message " + attempt.message + " in the store";
  }
  const bool again = outcome.becomes == MessageState::waiting;
  statements_->settle_message.bind(1, attempt.message)
      .bind(2, name_of(outcome.becomes))
      .bind(3, again ? outcome.next_try.ms : outcome.ended.ms)
      .run();
  return {};
}

std::string StoreFile::write_end(const MessageEnd& end) {
  statements_->settle_message.bind(1, end.message).bind(2, name_of(end.becomes)).bind(3, end.at.ms).run();
  if (database_.changes() == 0) return "there is no message " + end.message + " in the store";
  return {};
}

std::uint64_t StoreFile::write_settings(const std::vector<SettingsFile>& files, UtcMs now) {
  const auto latest = static_cast<std::uint64_t>(
      database_.integer("SELECT coalesce(max(version), 0) FROM settings_versions"));
  Statement kept =
      database_.prepare("SELECT name, text FROM settings_files WHERE version = ?1 ORDER BY position");
  kept.bind(1, static_cast<std::int64_t>(latest));
  std::size_t same = 0;
  bool changed = latest == 0;
  while (!changed && kept.step()) {
    changed = same >= files.size() || kept.text(0) != files[same].name || kept.text(1) != files[same].text;
    ++same;
  }
  if (!changed && same == files.size()) return latest;
  rewrite_settings({latest + 1, now, files});
  return latest + 1;
}

void StoreFile::rewrite_settings(const KeptSettings& settings) {
  const auto version = static_cast<std::int64_t>(settings.version);
  Statement add_version =
      database_.prepare("INSERT INTO settings_versions VALUES(?1,?2,?3) ON CONFLICT DO NOTHING");
  const std::string label = label_of(settings.files);
  add_version.bind(1, version).bind(2, settings.first_used.ms).bind(3, label).run();
  if (database_.changes() == 0) return;  // the file that came back has them
  Statement add_file = database_.prepare("INSERT INTO settings_files VALUES(?1,?2,?3,?4)");
  std::int64_t position = 0;
  for (const SettingsFile& file : settings.files) {
    add_file.bind(1, version).bind(2, position++).bind(3, file.name).bind(4, file.text).run();
  }
}

// PASSIVE: waits for nobody. What a reader still needs stays in the journal until the next time.
void StoreFile::checkpoint() {
  int in_journal = 0;
  int moved_over = 0;
  const int code = sqlite3_wal_checkpoint_v2(database_.handle(), nullptr, SQLITE_CHECKPOINT_PASSIVE,
                                             &in_journal, &moved_over);
  if (code == SQLITE_OK) {
    *journal_pages_ = in_journal;
    moved_pages_ = moved_over;
  }
  if (code != SQLITE_OK && code != SQLITE_BUSY) {
    throw Trouble{code, std::string("the journal cannot be moved into the store's file: ") +
                            sqlite3_errmsg(database_.handle())};
  }
}

}  // namespace baskwell::store
