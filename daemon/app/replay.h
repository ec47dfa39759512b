#pragma once
// `baskwell replay`: a file of readings through the same core as live, as fast as it can. Same input, same
// bytes out, whatever the wall clock. The broker counts as connected and the clock as right; nobody is told
// anything. Memory does not depend on the file's length. One thread.

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/result.h"
#include "core/room.h"

namespace baskwell {

// What one channel's good readings were, in the judged unit.
struct SeriesSummary {
  std::string channel;
  std::uint64_t good = 0;
  double min = 0;
  double max = 0;
  double sum = 0;
};

struct ReplayReport {
  std::uint64_t readings = 0;     // lines taken in
  std::uint64_t bad_lines = 0;    // lines that were not, all counted
  std::vector<std::string> bad;   // the first of them: "file:line: column: what is wrong, what is allowed"
  std::uint64_t transitions = 0;  // rows of the alarm file
  std::vector<std::uint64_t> by_quality;  // readings by Quality
  std::vector<SeriesSummary> series;      // of every channel that sent any
};

[[nodiscard]] Result<ReplayReport> replay(const Room& room, const std::string& readings_path,
                                          const std::string& alarms_path);

}  // namespace baskwell
