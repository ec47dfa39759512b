#include "store/reader.h"

#include <algorithm>
#include <utility>

#include "store/names.h"
#include "store/outage_rows.h"
#include "store/schema.h"
#include "store/sqlite.h"

namespace baskwell::store {
namespace {

constexpr std::string_view message_columns =
    "SELECT id, occurrence, person, reason, priority, written_ms, not_before_ms, only_if_told, headline, "
    "body, "
    "json, state, next_try_ms, attempts FROM outbox ";

constexpr std::string_view transition_columns =
    "SELECT t.id, at_ms, occurrence, kind, subject, from_state, to_state, input, priority, level, value, "
    "limit_value, who, why, coalesce(s.settings_version, 0) "
    "FROM transitions t LEFT JOIN sessions s ON s.key = t.session ";

OutboxMessage message_from(const Statement& row) {
  OutboxMessage message;
  MessageDraft& draft = message.draft;
  draft.id = row.text(0);
  draft.occurrence = row.text(1);
  draft.person = row.text(2);
  parse(row.text(3), draft.reason);
  parse(row.text(4), draft.priority);
  draft.written = {row.integer(5)};
  draft.not_before = {row.integer(6)};
  draft.only_if_told = row.integer(7) != 0;
  draft.headline = row.text(8);
  draft.body = row.text(9);
  draft.json = row.text(10);
  parse(row.text(11), message.state);
  message.next_try = {row.integer(12)};
  message.attempts = static_cast<std::uint32_t>(row.integer(13));
  return message;
}

TransitionRow transition_from(const Statement& row) {
  TransitionRow transition;
  TransitionRecord& record = transition.record;
  transition.id = row.integer(0);
  record.at = {row.integer(1)};
  record.occurrence = row.text(2);
  parse(row.text(3), record.kind);
  record.subject = row.text(4);
  parse(row.text(5), record.from);
  parse(row.text(6), record.to);
  parse(row.text(7), record.input);
  parse(row.text(8), record.priority);
  parse(row.text(9), record.level);
  record.value = row.real(10);
  record.limit = row.real(11);
  record.who = row.text(12);
  record.why = row.text(13);
  transition.settings_version = static_cast<std::uint64_t>(row.integer(14));
  return transition;
}

void take_reading(const Statement& row, ReadingRow& into) {
  into.id = row.integer(0);
  into.channel = row.text(1);
  into.boot_id = row.text(2);
  into.settings_version = static_cast<std::uint64_t>(row.integer(3));
  StoredReading& reading = into.reading;
  reading.channel = none;
  reading.measured = {row.integer(4)};
  reading.received = {row.integer(5)};
  reading.elapsed = {row.integer(6)};
  reading.value = {row.integer(7), static_cast<std::int8_t>(row.integer(8))};
  reading.unit = static_cast<Unit>(row.integer(9));
  reading.quality = static_cast<Quality>(row.integer(10));
  reading.own_time = row.integer(11) != 0;
  reading.calibration_version = static_cast<std::uint16_t>(row.integer(12));
}

// Runs of row numbers that may hold readings measured in [from, to): what the index says, and the tail that
// it does not cover yet. Neighbours are joined.
struct Run {
  std::int64_t first;
  std::int64_t last;
};
std::vector<Run> runs_of(const Database& database, UtcMs from, UtcMs to) {
  std::vector<Run> runs;
  Statement index = database.prepare(
      "SELECT first_id, last_id FROM reading_index WHERE measured_high_ms >= ?1 AND measured_low_ms < ?2 "
      "ORDER BY last_id");
  index.bind(1, from.ms).bind(2, to.ms);
  const auto add = [&runs](std::int64_t first, std::int64_t last) {
    if (!runs.empty() && runs.back().last + 1 == first) {
      runs.back().last = last;
    } else {
      runs.push_back({first, last});
    }
  };
  while (index.step()) add(index.integer(0), index.integer(1));
  add(database.integer("SELECT coalesce(max(last_id), 0) + 1 FROM reading_index"), INT64_MAX);
  return runs;
}

// One committed state for several statements.
class ReadTransaction {
 public:
  explicit ReadTransaction(Database& database) : database_(database) { database_.execute("BEGIN"); }
  ~ReadTransaction() { database_.roll_back(); }
  ReadTransaction(const ReadTransaction&) = delete;
  ReadTransaction& operator=(const ReadTransaction&) = delete;

 private:
  Database& database_;
};

std::int64_t limit_of(std::size_t most) {
  return static_cast<std::int64_t>(std::min<std::size_t>(most, INT64_MAX));
}

}  // namespace

struct StoreReader::State {
  State(const std::string& path, const std::string& vfs) : database(path, SQLITE_OPEN_READONLY, vfs) {
    require_readable(database);
    database.execute("PRAGMA cache_size = -256; PRAGMA mmap_size = 0");
  }
  Database database;

  // Every public call goes through here: Trouble becomes an Error.
  template <class T, class Function>
  Result<T> guarded(const Function& function) {
    try {
      const ReadTransaction transaction(database);
      return function();
    } catch (const Trouble& trouble) {
      return Error{trouble.text};
    }
  }

  std::vector<OutboxMessage> messages_in(MessageState state, std::size_t most) const {
    // State names are ours: written out so that the partial index serves.
    std::string sql(message_columns);
    sql += "WHERE state = '";
    sql += name_of(state);
    sql += "' ORDER BY number LIMIT ?1";
    Statement rows = database.prepare(sql);
    rows.bind(1, limit_of(most));
    std::vector<OutboxMessage> messages;
    while (rows.step()) messages.push_back(message_from(rows));
    return messages;
  }

  std::optional<SettingsVersion> settings_version(std::uint64_t version) const {
    Statement row = database.prepare("SELECT first_used_ms, hash FROM settings_versions WHERE version = ?1");
    if (!row.bind(1, static_cast<std::int64_t>(version)).step()) return std::nullopt;
    SettingsVersion found{version, {row.integer(0)}, std::string(row.text(1)), {}};
    Statement files =
        database.prepare("SELECT name, text FROM settings_files WHERE version = ?1 ORDER BY position");
    files.bind(1, static_cast<std::int64_t>(version));
    while (files.step()) found.files.push_back({std::string(files.text(0)), std::string(files.text(1))});
    return found;
  }
};

StoreReader::StoreReader(std::unique_ptr<State> state) : state_(std::move(state)) {}
StoreReader::~StoreReader() = default;
StoreReader::StoreReader(StoreReader&&) noexcept = default;
StoreReader& StoreReader::operator=(StoreReader&&) noexcept = default;

Result<StoreReader> StoreReader::open(const std::string& path, const std::string& vfs) {
  try {
    return StoreReader(std::make_unique<State>(path, vfs));
  } catch (const Trouble& trouble) {
    return Error{path + ": " + trouble.text};
  }
}

Result<RecordEnds> StoreReader::record_ends() const {
  return state_->guarded<RecordEnds>([&] {
    const Database& database = state_->database;
    const auto highest = [&](std::string_view sql) {
      return static_cast<std::uint64_t>(std::max<std::int64_t>(0, database.integer(sql)));
    };
    RecordEnds ends;
    ends.last_occurrence = highest("SELECT max(CAST(substr(occurrence, 2) AS INTEGER)) FROM transitions");
    ends.last_message = highest("SELECT max(CAST(substr(id, 2) AS INTEGER)) FROM outbox");
    ends.last_outage = highest("SELECT max(number) FROM outages");
    Statement rows = database.prepare(
        std::string(transition_columns) +
        "WHERE t.id IN (SELECT max(id) FROM transitions GROUP BY kind, subject) AND to_state <> 'normal' "
        "ORDER BY t.id");
    while (rows.step()) ends.open.push_back(transition_from(rows).record);
    return ends;
  });
}

Result<std::vector<TransitionRow>> StoreReader::transitions(UtcMs from, UtcMs to, std::size_t most) const {
  return state_->guarded<std::vector<TransitionRow>>([&] {
    Statement rows = state_->database.prepare(
        std::string(transition_columns) + "WHERE at_ms >= ?1 AND at_ms < ?2 ORDER BY at_ms, t.id LIMIT ?3");
    rows.bind(1, from.ms).bind(2, to.ms).bind(3, limit_of(most));
    std::vector<TransitionRow> found;
    while (rows.step()) found.push_back(transition_from(rows));
    return found;
  });
}

Outcome StoreReader::readings(std::string_view channel, UtcMs from, UtcMs to,
                              const VisitReading& visit) const {
  return state_->guarded<Done>([&] {
    const Database& database = state_->database;
    std::int64_t key = 0;
    if (!channel.empty()) {
      Statement find = database.prepare("SELECT key FROM channels WHERE id = ?1");
      if (!find.bind(1, channel).step()) return Done{};
      key = find.integer(0);
    }
    Statement rows = database.prepare(
        "SELECT r.id, c.id, s.boot_id, s.settings_version, r.measured_ms, r.received_ms, r.elapsed_ms, "
        "r.digits, "
        "r.places, r.unit, r.quality, r.own_time, r.calibration_version "
        "FROM readings r CROSS JOIN channels c ON c.key = r.channel CROSS JOIN sessions s ON s.key = "
        "r.session "
        "WHERE r.id BETWEEN ?1 AND ?2 AND r.measured_ms >= ?3 AND r.measured_ms < ?4 "
        "AND (?5 = 0 OR r.channel = ?5) ORDER BY r.id");
    rows.bind(3, from.ms).bind(4, to.ms).bind(5, key);
    ReadingRow row;
    for (const Run& run : runs_of(database, from, to)) {
      rows.bind(1, run.first).bind(2, run.last);
      while (rows.step()) {
        take_reading(rows, row);
        if (!visit(row)) return Done{};
      }
      rows.reset();
    }
    return Done{};
  });
}

Result<std::optional<OutboxMessage>> StoreReader::message(std::string_view id) const {
  return state_->guarded<std::optional<OutboxMessage>>([&]() -> std::optional<OutboxMessage> {
    Statement row = state_->database.prepare(std::string(message_columns) + "WHERE id = ?1");
    if (!row.bind(1, id).step()) return std::nullopt;
    return message_from(row);
  });
}

Result<std::vector<OutboxMessage>> StoreReader::messages(MessageState state, std::size_t most) const {
  return state_->guarded<std::vector<OutboxMessage>>([&] { return state_->messages_in(state, most); });
}

Result<std::vector<AttemptRow>> StoreReader::attempts(std::string_view message) const {
  return state_->guarded<std::vector<AttemptRow>>([&] {
    Statement rows = state_->database.prepare(
        "SELECT channel, at_ms, ended_ms, outcome = 'delivered', answer FROM attempts WHERE message = ?1 "
        "ORDER BY at_ms");
    rows.bind(1, message);
    std::vector<AttemptRow> found;
    while (rows.step()) {
      AttemptRow row;
      row.attempt = {std::string(message), std::string(rows.text(0)), {rows.integer(1)}};
      if (!rows.is_null(2)) row.ended = UtcMs{rows.integer(2)};
      row.delivered = rows.integer(3) != 0;
      row.answer = rows.text(4);
      found.push_back(std::move(row));
    }
    return found;
  });
}

Result<bool> StoreReader::was_told(std::string_view occurrence, std::string_view person) const {
  return state_->guarded<bool>([&] {
    Statement row = state_->database.prepare(
        "SELECT 1 FROM outbox WHERE occurrence = ?1 AND person = ?2 AND reason <> 'over' "
        "AND state IN ('delivered', 'attempted') LIMIT 1");
    return row.bind(1, occurrence).bind(2, person).step();
  });
}

Result<PendingMessages> StoreReader::pending_messages() const {
  return state_->guarded<PendingMessages>([&] {
    return PendingMessages{state_->messages_in(MessageState::waiting, SIZE_MAX),
                           state_->messages_in(MessageState::attempted, SIZE_MAX)};
  });
}

Result<std::vector<OutageRecord>> StoreReader::outages(std::string_view id, std::size_t most) const {
  return state_->guarded<std::vector<OutageRecord>>([&] { return read_outages(state_->database, id, most); });
}

Result<std::vector<NoteRow>> StoreReader::notes(std::string_view subject, std::size_t most) const {
  return state_->guarded<std::vector<NoteRow>>([&] {
    Statement rows = state_->database.prepare(
        subject.empty() ? "SELECT id, at_ms, subject, type, text, who FROM notes ORDER BY id DESC LIMIT ?1"
                        : "SELECT id, at_ms, subject, type, text, who FROM notes WHERE subject = ?2 ORDER BY "
                          "id DESC LIMIT ?1");
    rows.bind(1, limit_of(most));
    if (!subject.empty()) rows.bind(2, subject);
    std::vector<NoteRow> found;
    while (rows.step()) {
      NoteRow row;
      row.id = rows.integer(0);
      row.record.at = {rows.integer(1)};
      row.record.subject = rows.text(2);
      parse(rows.text(3), row.record.type);
      row.record.text = rows.text(4);
      row.record.who = rows.text(5);
      found.push_back(std::move(row));
    }
    std::reverse(found.begin(), found.end());
    return found;
  });
}

Result<std::optional<Snapshot>> StoreReader::last_snapshot() const {
  return state_->guarded<std::optional<Snapshot>>([&]() -> std::optional<Snapshot> {
    Statement row = state_->database.prepare("SELECT at_ms, text FROM snapshots ORDER BY id DESC LIMIT 1");
    if (!row.step()) return std::nullopt;
    return Snapshot{{row.integer(0)}, std::string(row.text(1))};
  });
}

Result<std::optional<Learned>> StoreReader::last_learned() const {
  return state_->guarded<std::optional<Learned>>([&]() -> std::optional<Learned> {
    Statement row = state_->database.prepare("SELECT at_ms, text FROM learned");
    if (!row.step()) return std::nullopt;
    return Learned{{row.integer(0)}, std::string(row.text(1))};
  });
}

Result<std::optional<UtcMs>> StoreReader::last_stored_utc() const {
  return state_->guarded<std::optional<UtcMs>>([&]() -> std::optional<UtcMs> {
    Statement row = state_->database.prepare(
        "SELECT max(at) FROM (SELECT (SELECT received_ms FROM readings ORDER BY id DESC LIMIT 1) AS at "
        "UNION ALL SELECT (SELECT at_ms FROM transitions ORDER BY id DESC LIMIT 1) "
        "UNION ALL SELECT (SELECT at_ms FROM snapshots ORDER BY id DESC LIMIT 1))");
    if (!row.step() || row.is_null(0)) return std::nullopt;
    return UtcMs{row.integer(0)};
  });
}

Result<std::optional<SettingsVersion>> StoreReader::settings(std::uint64_t version) const {
  return state_->guarded<std::optional<SettingsVersion>>([&] { return state_->settings_version(version); });
}

Result<std::optional<SettingsVersion>> StoreReader::settings_at(UtcMs at) const {
  return state_->guarded<std::optional<SettingsVersion>>([&]() -> std::optional<SettingsVersion> {
    Statement row =
        state_->database.prepare("SELECT max(version) FROM settings_versions WHERE first_used_ms <= ?1");
    if (!row.bind(1, at.ms).step() || row.is_null(0)) return std::nullopt;
    return state_->settings_version(static_cast<std::uint64_t>(row.integer(0)));
  });
}

Result<StoreCounts> StoreReader::counts() const {
  return state_->guarded<StoreCounts>([&] {
    const auto count = [this](std::string_view sql) {
      return static_cast<std::uint64_t>(state_->database.integer(sql));
    };
    StoreCounts counts;
    // The index knows its rows; only the tail is counted.
    counts.readings = count(
        "SELECT coalesce((SELECT sum(last_id - first_id + 1) FROM reading_index), 0) + "
        "(SELECT count(*) FROM readings WHERE id > coalesce((SELECT max(last_id) FROM reading_index), 0))");
    counts.transitions = count("SELECT count(*) FROM transitions");
    counts.messages = count("SELECT count(*) FROM outbox");
    counts.attempts = count("SELECT count(*) FROM attempts");
    counts.channels = count("SELECT count(*) FROM channels");
    counts.settings_versions = count("SELECT count(*) FROM settings_versions");
    return counts;
  });
}

}  // namespace baskwell::store
