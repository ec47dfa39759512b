#pragma once
// A TOML file as a tree of plain values with their places, so that one .cpp alone needs the TOML library.
// Bounded: a file of at most 1 MiB. Pure but for read_file.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/result.h"
#include "core/time.h"
#include "settings/finding.h"

namespace baskwell::settings {

struct Place {
  std::uint32_t line = 1;
  std::uint32_t column = 1;
};

enum class ValueKind : std::uint8_t {
  text,
  integer,
  real,
  boolean,
  date,          // local_day
  time,          // time_of_day_ms
  local_moment,  // local_day and time_of_day_ms
  moment,        // utc
  list,
  table
};

struct Member;

struct Value {
  ValueKind kind = ValueKind::table;
  Place at;
  std::string text;  // of a text; of a number as it was written
  std::int64_t integer = 0;
  double real = 0;  // also of an integer
  bool boolean = false;
  std::int64_t local_day = 0;  // days since 1970-01-01
  std::int64_t time_of_day_ms = 0;
  UtcMs utc;
  std::vector<Value> items;     // of a list
  std::vector<Member> members;  // of a table, in the order of the file
};

struct Member {
  std::string key;
  Place at;  // of the key
  Value value;
};

// "a text", "a number": what a value is, for people.
[[nodiscard]] const char* words_for(ValueKind kind);

// The root table, or nothing and the first mistake of syntax in `findings`. `shown` is the file's name in it.
[[nodiscard]] std::optional<Value> parse_document(const std::string& text, const std::string& shown,
                                                  std::vector<Finding>& findings);

[[nodiscard]] Result<std::string> read_file(const std::filesystem::path& path);

}  // namespace baskwell::settings
