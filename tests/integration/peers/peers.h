#pragma once
// Real peers for integration tests: start a program, wait for the line by which it says it is ready, talk to
// it, stop it by its pid. Everything is bounded: a peer that never gets ready is killed and its output is in
// the Error; a peer dies with the test even when the test crashes (PR_SET_PDEATHSIG, so start peers from the
// main thread only). Output: standard output and standard error of the peer together, line by line, the last
// 10,000 lines kept. Threads: a Process has one reader thread of its own; its functions may be called from
// any thread, one at a time.

#include <sys/types.h>

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "core/result.h"

namespace baskwell::peers {

// A folder of its own under the system's temporary folder, removed with all it holds at the end.
class TempFolder {
 public:
  TempFolder();
  ~TempFolder();
  TempFolder(const TempFolder&) = delete;
  TempFolder& operator=(const TempFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  // The full path of `name` in the folder, as a string.
  [[nodiscard]] std::string file(std::string_view name) const;
  // Writes `text` to `name` (mode 0600) and returns the full path.
  [[nodiscard]] std::string write(std::string_view name, std::string_view text) const;

 private:
  std::filesystem::path path_;
};

struct Start {
  std::vector<std::string> argv;         // argv[0] is looked up in PATH
  std::string ready;                     // part of the line that says it is ready; empty: do not wait
  std::vector<std::string> environment;  // NAME=value, added to the test's own
  std::chrono::milliseconds ready_within{15000};
};

class Process {
 public:
  [[nodiscard]] static Result<Process> start(const Start& start);
  ~Process();  // stop()
  Process(Process&&) noexcept;
  Process& operator=(Process&&) noexcept;

  [[nodiscard]] pid_t pid() const;
  [[nodiscard]] const std::string& ready_line() const;  // the whole line that held Start::ready
  // The number after `label` in the ready line, as in "listening port=4711": number_after("port="); -1 if
  // none.
  [[nodiscard]] long number_after(std::string_view label) const;

  // Waits for a line that holds `part` among the lines not yet taken; takes all up to it. Error: the time is
  // over or the process has ended; its last output is in the text.
  [[nodiscard]] Result<std::string> wait_for_line(std::string_view part, std::chrono::milliseconds within);
  [[nodiscard]] std::string output() const;  // everything kept so far

  void signal(int number) const;
  // Waits for the end by itself. The exit status, or 128 + signal. Error: still running.
  [[nodiscard]] Result<int> wait_for_end(std::chrono::milliseconds within);
  // SIGTERM to its process group, after `patience` SIGKILL; waits for it. The exit status, or 128 + signal.
  int stop(std::chrono::milliseconds patience = std::chrono::milliseconds(5000));
  // SIGKILL at once: the power cut.
  int kill();

 private:
  struct State;
  explicit Process(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

// A loopback TCP port that was free a moment ago, for programs that cannot be told to take port 0 and report
// (another program may take it in between: rather use port 0 where the peer can report it).
[[nodiscard]] std::uint16_t free_loopback_port();

// True once something accepts on 127.0.0.1:port.
[[nodiscard]] bool accepts_on(std::uint16_t port);

// Polls `condition` every 5 ms until it holds or the time is over; says which.
template <class Condition>
[[nodiscard]] bool eventually(std::chrono::milliseconds within, Condition condition) {
  const auto deadline = std::chrono::steady_clock::now() + within;
  while (!condition()) {
    if (std::chrono::steady_clock::now() >= deadline) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  return true;
}

}  // namespace baskwell::peers
