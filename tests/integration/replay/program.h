#pragma once
// Runs `baskwell replay --summary` in a folder of its own and reads what it wrote. Bounded in time; a status
// other than 0 fails the test that asked.

#include <map>
#include <string>
#include <vector>

namespace baskwell::replay_test {

struct AlarmRow {
  std::string time, alarm, enclosure, zone, kind, state, priority, value, limit, detail;
};
struct Summary {
  long good = 0;
  double min = 0, mean = 0, max = 0;
};
struct Output {
  std::string alarms_text;
  std::vector<AlarmRow> alarms;
  std::map<std::string, Summary> channels;
};

// `environment`: NAME=value.
[[nodiscard]] Output replay(const std::string& settings, const std::string& readings,
                            const std::vector<std::string>& environment = {});

// Only band alarms, as "TIME KIND STATE".
[[nodiscard]] std::vector<std::string> band_lines(const Output& output, const std::string& enclosure,
                                                  const std::string& zone);

[[nodiscard]] std::vector<std::string> split(const std::string& line, char at);

// Head of every settings file here: room, care sheets and lights; no probes, which replay does not need.
[[nodiscard]] std::string room_head(const std::string& time_zone);

}  // namespace baskwell::replay_test
