#include "store/schema.h"

#include <array>
#include <cstdint>
#include <string>

#include "core/probe/quality.h"
#include "core/units.h"
#include "store/sqlite.h"

namespace baskwell::store {
namespace {

constexpr const char* version_1 = R"sql(
PRAGMA application_id = 1113682795;

CREATE TABLE units(code INTEGER PRIMARY KEY, symbol TEXT NOT NULL) STRICT;
CREATE TABLE qualities(code INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;

CREATE TABLE channels(key INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE) STRICT;

-- One for each start of the daemon and each change of its settings.
CREATE TABLE sessions(
  key INTEGER PRIMARY KEY,
  boot_id TEXT NOT NULL,
  began_ms INTEGER NOT NULL,
  settings_version INTEGER NOT NULL,
  program_version TEXT NOT NULL
) STRICT;

CREATE TABLE readings(
  id INTEGER PRIMARY KEY,
  channel INTEGER NOT NULL,
  session INTEGER NOT NULL,
  measured_ms INTEGER NOT NULL,
  received_ms INTEGER NOT NULL,
  elapsed_ms INTEGER NOT NULL,
  digits INTEGER NOT NULL,
  places INTEGER NOT NULL,
  unit INTEGER NOT NULL,
  quality INTEGER NOT NULL,
  own_time INTEGER NOT NULL,
  calibration_version INTEGER NOT NULL
) STRICT;

CREATE TABLE reading_index(
  last_id INTEGER PRIMARY KEY,
  first_id INTEGER NOT NULL,
  measured_low_ms INTEGER NOT NULL,
  measured_high_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE transitions(
  id INTEGER PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  session INTEGER NOT NULL,
  occurrence TEXT NOT NULL,
  kind TEXT NOT NULL,
  subject TEXT NOT NULL,
  from_state TEXT NOT NULL,
  to_state TEXT NOT NULL,
  input TEXT NOT NULL,
  priority TEXT NOT NULL,
  level TEXT NOT NULL,
  value REAL,
  limit_value REAL,
  who TEXT NOT NULL,
  why TEXT NOT NULL
) STRICT;
CREATE INDEX transitions_at ON transitions(at_ms);
CREATE INDEX transitions_occurrence ON transitions(occurrence);

CREATE TABLE outbox(
  number INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  occurrence TEXT NOT NULL,
  person TEXT NOT NULL,
  reason TEXT NOT NULL,
  priority TEXT NOT NULL,
  written_ms INTEGER NOT NULL,
  not_before_ms INTEGER NOT NULL,
  only_if_told INTEGER NOT NULL,
  headline TEXT NOT NULL,
  body TEXT NOT NULL,
  json TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('waiting', 'attempted', 'delivered', 'failed', 'withdrawn')),
  next_try_ms INTEGER NOT NULL,
  attempts INTEGER NOT NULL
) STRICT;
CREATE INDEX outbox_open ON outbox(state) WHERE state IN ('waiting', 'attempted');
CREATE INDEX outbox_occurrence ON outbox(occurrence);

CREATE TABLE attempts(
  message TEXT NOT NULL REFERENCES outbox(id),
  channel TEXT NOT NULL,
  at_ms INTEGER NOT NULL,
  ended_ms INTEGER,
  outcome TEXT NOT NULL CHECK (outcome IN ('unknown', 'delivered', 'failed')),
  answer TEXT NOT NULL,
  PRIMARY KEY (message, at_ms, channel)
) STRICT, WITHOUT ROWID;

CREATE TABLE settings_versions(
  version INTEGER PRIMARY KEY,
  first_used_ms INTEGER NOT NULL,
  hash TEXT NOT NULL
) STRICT;
CREATE TABLE settings_files(
  version INTEGER NOT NULL REFERENCES settings_versions(version),
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  text TEXT NOT NULL,
  PRIMARY KEY (version, position)
) STRICT;

CREATE TABLE snapshots(id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, text TEXT NOT NULL) STRICT;

-- For people with a shell. The cast of digits and exponent is the nearest double, as any reader would take it.
CREATE VIEW readings_in_words AS
SELECT r.id,
       c.id AS channel,
       CAST(r.digits || 'e-' || r.places AS REAL) AS value,
       u.symbol AS unit,
       q.name AS quality,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.measured_ms / 1000.0, 'unixepoch') AS measured,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.received_ms / 1000.0, 'unixepoch') AS received,
       CASE r.own_time WHEN 1 THEN 'instrument' ELSE 'arrival' END AS measured_by,
       r.calibration_version,
       s.settings_version
FROM readings r
JOIN channels c ON c.key = r.channel
JOIN sessions s ON s.key = r.session
LEFT JOIN units u ON u.code = r.unit
LEFT JOIN qualities q ON q.code = r.quality;
)sql";
static_assert(application_id == 1113682795);

// What people noted, for ever.
constexpr const char* version_2 = R"sql(
CREATE TABLE notes(
  id INTEGER PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  subject TEXT NOT NULL,
  type TEXT NOT NULL,
  text TEXT NOT NULL,
  who TEXT NOT NULL
) STRICT;
CREATE INDEX notes_subject ON notes(subject);
CREATE TRIGGER notes_stay BEFORE DELETE ON notes
BEGIN SELECT RAISE(ABORT, 'notes are kept for ever'); END;
CREATE TRIGGER notes_stay_as_they_are BEFORE UPDATE ON notes
BEGIN SELECT RAISE(ABORT, 'notes are kept as they were written'); END;
)sql";

// Outages and their checks, the newest state of each.
constexpr const char* version_3 = R"sql(
CREATE TABLE outages(
  number INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,
  or_kind TEXT,
  circuit TEXT NOT NULL,
  stage TEXT NOT NULL,
  from_ms INTEGER NOT NULL,
  to_ms INTEGER,
  from_within_ms INTEGER NOT NULL,
  to_within_ms INTEGER NOT NULL,
  confidence REAL NOT NULL,
  evidence TEXT NOT NULL
) STRICT;
CREATE TABLE outage_enclosures(
  outage INTEGER NOT NULL REFERENCES outages(number),
  position INTEGER NOT NULL,
  enclosure TEXT NOT NULL,
  judged INTEGER NOT NULL,
  fell INTEGER NOT NULL,
  lowest_degc REAL,
  fell_k REAL,
  back_ms INTEGER,
  took_min REAL,
  usual_min REAL,
  kept_shift_k REAL,
  lights_late_min REAL,
  night_drop_late_min REAL,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'look')),
  words TEXT NOT NULL,
  PRIMARY KEY (outage, position)
) STRICT, WITHOUT ROWID;
)sql";

// What the daemon has learned of the heating, the newest text only.
constexpr const char* version_4 = R"sql(
CREATE TABLE learned(id INTEGER PRIMARY KEY CHECK (id = 1), at_ms INTEGER NOT NULL, text TEXT NOT NULL) STRICT;
)sql";

constexpr std::array<Migration, 4> all_migrations{
    {{1, version_1}, {2, version_2}, {3, version_3}, {4, version_4}}};

// The version of the file; 0 for an empty one. Throws for a file that is not ours.
int version_of(const Database& database) {
  const std::int64_t version = database.integer("PRAGMA user_version");
  const std::int64_t application = database.integer("PRAGMA application_id");
  const bool empty =
      version == 0 && application == 0 && database.integer("SELECT count(*) FROM sqlite_schema") == 0;
  if (empty) return 0;
  if (application != application_id) {
    throw Trouble{0, "the file is an SQLite database of another program, not a store of Baskwell"};
  }
  return static_cast<int>(version);
}

void refuse_newer(int version, int newest) {
  if (version <= newest) return;
  throw Trouble{0, "the store has format " + std::to_string(version) + ", this program knows formats up to " +
                       std::to_string(newest) + ": use the newer program that wrote it, or another file"};
}

}  // namespace

std::span<const Migration> migrations() {
  return all_migrations;
}

void refuse_foreign(const Database& database, std::span<const Migration> steps) {
  refuse_newer(version_of(database), steps.back().version);
}

void bring_forward(Database& database, std::span<const Migration> steps) {
  const int version = version_of(database);
  refuse_newer(version, steps.back().version);
  for (const Migration& step : steps) {
    if (step.version <= version) continue;
    try {
      database.execute("BEGIN IMMEDIATE");
      database.execute(step.sql);
      database.execute(("PRAGMA user_version = " + std::to_string(step.version)).c_str());
      database.execute("COMMIT");
    } catch (const Trouble& trouble) {
      database.roll_back();
      throw Trouble{trouble.code, "bringing the store to format " + std::to_string(step.version) +
                                      " failed, it is as it was before: " + trouble.text};
    }
  }
}

void require_readable(const Database& database) {
  const int version = version_of(database);
  refuse_newer(version, all_migrations.back().version);
  if (version < all_migrations.back().version) {
    throw Trouble{0, "the store has the older format " + std::to_string(version) +
                         "; it is brought forward when the daemon next starts"};
  }
}

void write_names(Database& database) {
  Statement unit = database.prepare("INSERT INTO units VALUES(?1, ?2) ON CONFLICT DO NOTHING");
  for (int code = 1; code <= static_cast<int>(Unit::volt); ++code) {
    unit.bind(1, std::int64_t{code}).bind(2, symbol_of(static_cast<Unit>(code))).run();
  }
  Statement quality = database.prepare("INSERT INTO qualities VALUES(?1, ?2) ON CONFLICT DO NOTHING");
  for (int code = 0; code < quality_count; ++code) {
    quality.bind(1, std::int64_t{code}).bind(2, name_of(static_cast<Quality>(code))).run();
  }
}

}  // namespace baskwell::store
