#pragma once
// Reads one table of a settings file key by key. Each access tells the reader a key that it may have;
// whatever is wrong with a value is reported where it stands and comes back as nothing, so that reading goes
// on and finds the next mistake; finish() reports the keys that nobody asked for. The table must outlive the
// reader. Not for secrets: texts it refuses may be quoted in findings.

#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/room.h"
#include "settings/document.h"
#include "settings/report.h"

namespace baskwell::settings {

// "a, b, c"
[[nodiscard]] std::string joined(const std::vector<std::string>& names);
// The shortest decimal that reads back as this number: "31.5".
[[nodiscard]] std::string text_of_number(double number);
// "07:00" -> 420; nothing when it is no time of day in whole minutes.
[[nodiscard]] std::optional<int> minute_from(std::string_view text);
// "15 min" -> 900000; units ms, s, min, h.
[[nodiscard]] std::optional<std::int64_t> duration_ms_from(std::string_view text);
// What the two findings say that may be one mistake: a key is missing where another is misspelt.
inline constexpr const char* is_missing = "is missing";
inline constexpr const char* unknown_key = "unknown key";
[[nodiscard]] bool is_id(std::string_view text);
inline constexpr const char* id_rule = "1 to 40 of a-z, 0-9 and -";

class TableReader {
 public:
  TableReader(const Value& table, std::string key, Report& report)
      : table_(&table), key_(std::move(key)), report_(&report) {}

  // ---- Where and what
  [[nodiscard]] const std::string& key() const { return key_; }
  [[nodiscard]] std::string key_of(std::string_view name) const;
  [[nodiscard]] Place place() const { return table_->at; }
  // Of the key; of the table when it is not there.
  [[nodiscard]] Place place_of(std::string_view name) const;
  [[nodiscard]] Report& report() const { return *report_; }
  [[nodiscard]] const Value& table() const { return *table_; }
  [[nodiscard]] bool has(std::string_view name) const;

  // ---- Values; nothing when the key is missing or wrong (then it is reported)
  const Value* find(std::string_view name);
  const Value* find(std::string_view name, ValueKind kind);
  std::optional<std::string> text(std::string_view name, std::size_t longest = 200);
  std::optional<double> number(std::string_view name, double lowest, double highest);
  std::optional<std::int64_t> integer(std::string_view name, std::int64_t lowest, std::int64_t highest);
  std::optional<bool> boolean(std::string_view name);
  // One of `names`, as its index.
  std::optional<std::size_t> one_of(std::string_view name, const std::vector<std::string>& names);
  std::optional<int> minute(std::string_view name);  // a local time of day: "08:00" or 08:00:00
  // `name = "15 min"`, or a plain number with its unit in the key: name_ms, name_s, name_min, name_h.
  std::optional<std::int64_t> duration_ms(std::string_view name, std::int64_t lowest_ms,
                                          std::int64_t highest_ms);
  // name_degc or name_degf, in degC.
  std::optional<double> temperature_degc(std::string_view name, double lowest, double highest);
  // [low, high]; `nan` for no limit on that side.
  std::optional<Range> range(std::string_view name);
  // The texts of a list with their places; a single text counts as a list of one.
  struct Item {
    std::string text;
    Place at;
    std::string key;
  };
  std::vector<Item> texts(std::string_view name);
  // The tables of a list; a single table counts as a list of one.
  std::vector<TableReader> tables(std::string_view name);
  std::optional<TableReader> table(std::string_view name);
  // Every member of the table `name` is a table under an id of the keeper's.
  struct Named {
    std::string id;
    Place at;  // of the id
    std::string key;
    const Value* table;
  };
  std::vector<Named> named_tables(std::string_view name);

  // ---- Complaints
  void missing(std::string_view name, std::string allowed = "");
  void wrong(std::string_view name, std::string what, std::string allowed = "", std::string nearest = "");
  void doubt(std::string_view name, std::string what, std::string allowed = "");
  // Reports every key that was never asked for.
  void finish();

 private:
  const Value* member(std::string_view name) const;
  void know(std::string_view name);
  void wrong_kind(const Value& value, const std::string& key, std::string_view wanted);

  const Value* table_;
  std::string key_;
  Report* report_;
  std::vector<std::string> known_;
};

// Reports `name`, which no thing of this kind has, with the nearest that one has.
void unknown_reference(Report& report, Place at, std::string key, std::string_view kind,
                       const std::string& name, const std::vector<std::string>& known);

}  // namespace baskwell::settings
