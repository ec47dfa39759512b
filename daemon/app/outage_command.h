#pragma once
// `baskwell outage`: what was away from when to when, and the check of every enclosure, from the store;
// whether the daemon runs or not. Blocking; for the command line only. Errors in words: settings with
// mistakes, a store that cannot be read, no such outage.

#include <filesystem>
#include <string>

#include "core/result.h"
#include "core/time.h"
#include "settings/settings.h"

namespace baskwell {

struct OutageOptions {
  std::filesystem::path settings_file;
  LoadOptions load;
  std::string id;     // "O12"; empty: all
  bool last = false;  // the newest only
  bool as_json = false;
  UtcMs now;
};

// What is to be printed: a list, or the check of one.
[[nodiscard]] Result<std::string> outage_command(const OutageOptions& options);

}  // namespace baskwell
