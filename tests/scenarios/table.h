#pragma once
// The table of the evaluation, from the results of its episodes. Text for a person, in Markdown. Pure.

#include <string>
#include <vector>

#include "scenarios/episode.h"

namespace baskwell::scenarios {

struct TableHead {
  std::string seeds;     // "tuning" or "reporting"
  std::string interval;  // "30 s" or "10 to 300 s"
  int days = 0;
  std::string command;  // that made it
};

[[nodiscard]] std::string whole_table(const TableHead& head, const std::vector<EpisodeResult>& results);

// One line for each fault and each false alarm.
[[nodiscard]] std::string csv_lines(const std::vector<EpisodeResult>& results);
// The same for a person, of one episode, with what was going on.
[[nodiscard]] std::string verbose_lines(const EpisodeResult& result);

}  // namespace baskwell::scenarios
