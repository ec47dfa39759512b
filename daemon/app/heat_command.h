#pragma once
// `baskwell heat`: asks the running daemon what it believes of an enclosure's heating, and draws a picture of
// it around an event from what the store holds. Blocking; for the command line only. Errors in words: no
// daemon, no such enclosure, a store or a picture's file that cannot be opened.

#include <optional>
#include <string>

#include "core/result.h"
#include "core/time.h"

namespace baskwell {

struct HeatOptions {
  std::string socket;
  std::string enclosure;  // id or name
  bool as_json = false;
  std::string svg_file;     // empty: no picture
  std::optional<UtcMs> at;  // the event; else its newest alarm of 30 days, else now
  double hours = 24;        // shown: two thirds of it before the event
};

// What is to be printed.
[[nodiscard]] Result<std::string> heat_command(const HeatOptions& options);

}  // namespace baskwell
