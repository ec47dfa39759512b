#include "program.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>

#include "peers/peers.h"

namespace baskwell::replay_test {

std::vector<std::string> split(const std::string& line, char at) {
  std::vector<std::string> parts;
  std::istringstream in(line);
  for (std::string part; std::getline(in, part, at);) parts.push_back(part);
  if (!line.empty() && line.back() == at) parts.emplace_back();
  return parts;
}

Output replay(const std::string& settings, const std::string& readings,
              const std::vector<std::string>& environment) {
  const peers::TempFolder folder;
  const std::string alarms = folder.file("alarms.csv");
  peers::Start start;
  start.argv = {BASKWELL_PROGRAM, "replay",
                "--settings",     folder.write("room.toml", settings),
                "--readings",     folder.write("readings.csv", readings),
                "--alarms",       alarms,
                "--summary"};
  start.environment = environment;
  auto process = peers::Process::start(start);
  EXPECT_TRUE(process.ok()) << (process.ok() ? "" : process.error().text);
  if (!process) return {};
  const auto end = process.value().wait_for_end(std::chrono::seconds(120));
  const std::string printed = process.value().output();
  EXPECT_TRUE(end.ok() && end.value() == 0) << printed;

  Output output;
  std::ifstream file(alarms);
  output.alarms_text.assign(std::istreambuf_iterator<char>(file), {});
  std::istringstream lines(output.alarms_text);
  std::string line;
  std::getline(lines, line);
  EXPECT_EQ(line, "time,alarm,enclosure,zone,kind,state,priority,value,limit,detail");
  while (std::getline(lines, line)) {
    const auto f = split(line, ',');
    EXPECT_EQ(f.size(), 10U) << line;
    if (f.size() == 10) output.alarms.push_back({f[0], f[1], f[2], f[3], f[4], f[5], f[6], f[7], f[8], f[9]});
  }
  std::istringstream report(printed);
  bool in_summary = false;
  while (std::getline(report, line)) {
    const auto f = split(line, ',');
    if (in_summary && f.size() == 5) {
      output.channels[f[0]] = {std::atol(f[1].c_str()), std::stod(f[2]), std::stod(f[3]), std::stod(f[4])};
    }
    in_summary = in_summary || line == "channel,good,min,mean,max";
  }
  EXPECT_TRUE(in_summary) << printed;
  return output;
}

std::vector<std::string> band_lines(const Output& output, const std::string& enclosure,
                                    const std::string& zone) {
  std::vector<std::string> lines;
  for (const AlarmRow& row : output.alarms) {
    const bool band = row.kind.starts_with("too-") || row.kind == "no-refuge";
    if (band && row.enclosure == enclosure && row.zone == zone)
      lines.push_back(row.time + " " + row.kind + " " + row.state);
  }
  return lines;
}

std::string room_head(const std::string& time_zone) {
  return "care.folders = [\"" BASKWELL_CONFIG_DIR
         "/care\"]\n"
         "[room]\nname = \"Test room\"\ntime_zone = \"" +
         time_zone + "\"\n";
}

}  // namespace baskwell::replay_test
