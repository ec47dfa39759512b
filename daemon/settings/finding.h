#pragma once
// What is wrong, or doubtful, in a settings file: where, at which key, what is allowed instead, and the
// nearest name that is known. A finding never holds a secret. Plain values, any thread.

#include <cstdint>
#include <string>
#include <vector>

namespace baskwell {

// Where something stands in a file; line and column count from 1, columns in characters; 0: the file as a
// whole.
struct FilePosition {
  std::string file;
  std::uint32_t line = 0;
  std::uint32_t column = 0;
};

struct Finding {
  FilePosition at;
  bool error = true;  // else a warning
  std::string key;   // "enclosures.shelf-1.hides"; "" where no key applies; elements of a list from 1: "a[1]"
  std::string what;  // what is wrong
  std::string allowed;  // what is allowed; "" where that says nothing
  std::string nearest;  // nearest known name; "" where there is none
};

// About a file as a whole.
[[nodiscard]] Finding about_file(const std::string& file, bool error, std::string what);

// `file:line:column: error|warning: key: what is wrong, what is allowed, nearest known name`, without the
// parts that do not apply.
[[nodiscard]] std::string text_of(const Finding& finding);

// Whether `key` is `parent`, or stands under it: "heaters.mat.kind" and "probes[1]" under "heaters" and
// "probes".
[[nodiscard]] bool is_at_or_under(std::string_view key, std::string_view parent);
[[nodiscard]] bool has_errors(const std::vector<Finding>& findings);

}  // namespace baskwell
