#pragma once
// The command line of baskwell-demo-room. Errors are told on standard error by parse(), with the exit code to
// end with. Threads: main only.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace baskwell::demoroom {

struct Options {
  std::string broker = "tcp://127.0.0.1:1883";
  double pace = 1.0;                      // simulated seconds a real second
  std::optional<std::int64_t> start_ms;   // simulated UTC at the anchor; else now
  std::optional<std::int64_t> anchor_ms;  // real UTC; else now
  std::uint64_t seed = 1;
  double interval_s = 30.0;           // simulated, of every instrument
  double settle_h = 48.0;             // simulated before anything is published
  std::string zone;                   // IANA name; empty: TZ, else Europe/London
  std::optional<int> offset_minutes;  // of local time from UTC, instead of a zone
  std::vector<std::string> faults;    // "TIME COMMAND" each, simulated time
  std::string csv_file;               // --once-csv
  double days = 1.0;
  bool send_command = false;  // `do`
  std::string command;
};

// The options, or the exit code to leave with (help asked for, or a mistake that has been told).
struct Parsed {
  std::optional<Options> options;
  int exit_code = 0;
};
[[nodiscard]] Parsed parse_options(int argc, const char* const* argv);

}  // namespace baskwell::demoroom
