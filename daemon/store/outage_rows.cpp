#include "store/outage_rows.h"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <limits>
#include <string>

namespace baskwell::store {
namespace {

// "O12" is 12.
std::int64_t number_of(std::string_view id) {
  std::int64_t number = 0;
  const std::string_view digits = id.substr(id.empty() ? 0 : 1);
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  if (id.empty() || id[0] != 'O' || error != std::errc{} || end != digits.data() + digits.size() ||
      number <= 0)
    return 0;
  return number;
}

template <class T>
T known(const std::optional<T>& value, const char* what, std::string_view name) {
  if (!value) throw Trouble{0, "the " + std::string(what) + " '" + std::string(name) + "' is unknown"};
  return *value;
}

OutageRecord record_from(const Statement& row) {
  OutageRecord record;
  record.id = "O" + std::to_string(row.integer(0));
  record.kind = known(outage_kind_from(row.text(1)), "kind of outage", row.text(1));
  if (!row.is_null(2)) record.other = known(outage_kind_from(row.text(2)), "kind of outage", row.text(2));
  record.circuit = row.text(3);
  record.stage = known(outage_stage_from(row.text(4)), "stage of an outage", row.text(4));
  record.from.ms = row.integer(5);
  if (!row.is_null(6)) record.to = UtcMs{row.integer(6)};
  record.from_within_ms = row.integer(7);
  record.to_within_ms = row.integer(8);
  record.confidence = row.real(9);
  record.evidence = row.text(10);
  return record;
}

OutageLine line_from(const Statement& row) {
  OutageLine line;
  line.enclosure = row.text(0);
  line.judged = row.integer(1) != 0;
  line.fell = row.integer(2) != 0;
  line.lowest_degc = row.real(3);
  line.fell_k = row.real(4);
  if (!row.is_null(5)) line.back_at = UtcMs{row.integer(5)};
  line.took_min = row.real(6);
  line.usual_min = row.real(7);
  line.shift_k = row.real(8);
  line.lights_late_min = row.real(9);
  line.drop_late_min = row.real(10);
  line.look = row.text(11) == "look";
  line.words = row.text(12);
  return line;
}

}  // namespace

void write_outage(Database& database, const OutageRecord& record) {
  const std::int64_t number = number_of(record.id);
  Statement outage = database.prepare(
      "INSERT INTO outages VALUES(?1,?2,nullif(?3,''),?4,?5,?6,?7,?8,?9,?10,?11) ON CONFLICT(number) DO "
      "UPDATE "
      "SET kind=excluded.kind, or_kind=excluded.or_kind, circuit=excluded.circuit, stage=excluded.stage, "
      "from_ms=excluded.from_ms, to_ms=excluded.to_ms, from_within_ms=excluded.from_within_ms, "
      "to_within_ms=excluded.to_within_ms, confidence=excluded.confidence, evidence=excluded.evidence");
  outage.bind(1, number)
      .bind(2, name_of(record.kind))
      .bind(3, record.other ? name_of(*record.other) : std::string_view())
      .bind(4, record.circuit)
      .bind(5, name_of(record.stage))
      .bind(6, record.from.ms);
  // NaN is stored as NULL.
  constexpr double no_value = std::numeric_limits<double>::quiet_NaN();
  record.to ? outage.bind(7, record.to->ms) : outage.bind(7, no_value);
  outage.bind(8, record.from_within_ms)
      .bind(9, record.to_within_ms)
      .bind(10, record.confidence)
      .bind(11, record.evidence)
      .run();
  Statement old = database.prepare("DELETE FROM outage_enclosures WHERE outage = ?1");
  old.bind(1, number).run();
  Statement add = database.prepare(
      "INSERT INTO outage_enclosures VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15)");
  std::int64_t position = 0;
  for (const OutageLine& line : record.lines) {
    add.bind(1, number)
        .bind(2, ++position)
        .bind(3, line.enclosure)
        .bind(4, std::int64_t{line.judged})
        .bind(5, std::int64_t{line.fell})
        .bind(6, line.lowest_degc)
        .bind(7, line.fell_k);
    line.back_at ? add.bind(8, line.back_at->ms) : add.bind(8, no_value);
    add.bind(9, line.took_min)
        .bind(10, line.usual_min)
        .bind(11, line.shift_k)
        .bind(12, line.lights_late_min)
        .bind(13, line.drop_late_min)
        .bind(14, line.look ? "look" : "pass")
        .bind(15, line.words)
        .run();
  }
}

std::vector<OutageRecord> read_outages(const Database& database, std::string_view id, std::size_t most) {
  const std::string columns =
      "SELECT number, kind, or_kind, circuit, stage, from_ms, to_ms, from_within_ms, to_within_ms, "
      "confidence, "
      "evidence FROM outages ";
  Statement rows = database.prepare(
      columns + (id.empty() ? "ORDER BY number DESC LIMIT ?1" : "WHERE number = ?2 LIMIT ?1"));
  rows.bind(1, static_cast<std::int64_t>(std::min<std::size_t>(most, INT64_MAX)));
  if (!id.empty()) rows.bind(2, number_of(id));
  std::vector<OutageRecord> found;
  while (rows.step()) found.push_back(record_from(rows));
  std::reverse(found.begin(), found.end());
  Statement lines = database.prepare(
      "SELECT enclosure, judged, fell, lowest_degc, fell_k, back_ms, took_min, usual_min, kept_shift_k, "
      "lights_late_min, night_drop_late_min, verdict, words FROM outage_enclosures WHERE outage = ?1 ORDER "
      "BY "
      "position");
  for (OutageRecord& record : found) {
    lines.bind(1, number_of(record.id));
    while (lines.step()) record.lines.push_back(line_from(lines));
    lines.reset();
  }
  return found;
}

}  // namespace baskwell::store
