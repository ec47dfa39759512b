#include "peers/peers.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <condition_variable>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <deque>
#include <mutex>
#include <utility>

namespace baskwell::peers {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::size_t kept_lines_max = 10'000;
constexpr std::size_t line_bytes_max = 65'536;

sockaddr_in loopback(std::uint16_t port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  address.sin_port = htons(port);
  return address;
}

std::vector<char*> pointers(std::vector<std::string>& strings) {
  std::vector<char*> result;
  result.reserve(strings.size() + 1);
  for (std::string& s : strings) result.push_back(s.data());
  result.push_back(nullptr);
  return result;
}

// The test's own environment with `added` in front, so that an added name wins.
std::vector<std::string> environment_with(const std::vector<std::string>& added) {
  std::vector<std::string> all = added;
  for (char** entry = environ; *entry != nullptr; ++entry) {
    const std::string_view line(*entry);
    const std::string_view name = line.substr(0, line.find('=') + 1);
    const bool replaced =
        std::any_of(added.begin(), added.end(), [&](const std::string& a) { return a.starts_with(name); });
    if (!replaced) all.emplace_back(line);
  }
  return all;
}

}  // namespace

TempFolder::TempFolder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "baskwell-test-XXXXXX").string();
  CHECK(mkdtemp(pattern.data()) != nullptr);
  path_ = pattern;
}

TempFolder::~TempFolder() {
  std::error_code ignored;  // a folder that cannot be removed must not fail the test that used it
  std::filesystem::remove_all(path_, ignored);
}

std::string TempFolder::file(std::string_view name) const {
  return (path_ / name).string();
}

std::string TempFolder::write(std::string_view name, std::string_view text) const {
  std::string full = file(name);
  const int fd = ::open(full.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  CHECK(fd >= 0);
  while (!text.empty()) {
    const ssize_t written = ::write(fd, text.data(), text.size());
    CHECK(written > 0);
    text.remove_prefix(static_cast<std::size_t>(written));
  }
  CHECK(::close(fd) == 0);
  return full;
}

struct Process::State {
  pid_t pid = -1;
  int output_fd = -1;
  bool reaped = false;
  int status = 0;  // exit status, or 128 + signal
  std::string ready_line;
  std::thread reader;

  mutable std::mutex mutex;
  std::condition_variable changed;
  std::deque<std::string> lines;  // guarded by mutex, as all below
  std::size_t first_kept = 0;     // number of the first line in `lines`
  std::size_t next_taken = 0;     // number of the first line wait_for_line has not taken
  bool ended = false;             // the pipe is closed

  void keep_line(std::string line) {
    const std::lock_guard lock(mutex);
    lines.push_back(std::move(line));
    if (lines.size() > kept_lines_max) {
      lines.pop_front();
      ++first_kept;
    }
    changed.notify_all();
  }

  void read_all() {
    std::array<char, 8192> buffer{};
    std::string line;
    while (true) {
      const ssize_t got = ::read(output_fd, buffer.data(), buffer.size());
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) break;
      for (const char c : std::string_view(buffer.data(), static_cast<std::size_t>(got))) {
        if (c == '\n' || line.size() >= line_bytes_max) keep_line(std::exchange(line, {}));
        if (c != '\n') line.push_back(c);
      }
    }
    if (!line.empty()) keep_line(std::move(line));
    const std::lock_guard lock(mutex);
    ended = true;
    changed.notify_all();
  }

  [[nodiscard]] std::string joined() const {
    std::string all;
    for (const std::string& line : lines) all.append(line).push_back('\n');
    return all;
  }

  // Looks whether it has ended, but leaves it unreaped: so its pid, and its group's, stays its own until
  // end_with().
  bool has_ended() {
    if (reaped) return true;
    siginfo_t info{};
    if (::waitid(P_PID, static_cast<id_t>(pid), &info, WEXITED | WNOHANG | WNOWAIT) != 0) return false;
    if (info.si_pid != pid) return false;
    status = info.si_code == CLD_EXITED ? info.si_status : 128 + info.si_status;
    return true;
  }

  void end_with(int signal_number, std::chrono::milliseconds patience) {
    if (!reaped) {
      if (!has_ended()) {
        ::kill(-pid, signal_number);
        if (!eventually(patience, [this] { return has_ended(); })) ::kill(pid, SIGKILL);
      }
      siginfo_t info{};
      while (::waitid(P_PID, static_cast<id_t>(pid), &info, WEXITED | WNOWAIT) != 0 && errno == EINTR) {
      }
      CHECK(has_ended());
      ::kill(-pid, SIGKILL);  // what it started itself and left behind would still hold the pipe
      while (::waitpid(pid, nullptr, 0) < 0 && errno == EINTR) {
      }
      reaped = true;
    }
    if (reader.joinable()) reader.join();
    if (output_fd >= 0) ::close(std::exchange(output_fd, -1));
  }
};

Process::Process(std::unique_ptr<State> state) : state_(std::move(state)) {}
Process::Process(Process&&) noexcept = default;

Process& Process::operator=(Process&& other) noexcept {
  if (this != &other) {
    if (state_) stop();
    state_ = std::move(other.state_);
  }
  return *this;
}

Process::~Process() {
  if (state_) stop();
}

Result<Process> Process::start(const Start& start) {
  CHECK(!start.argv.empty());
  std::vector<std::string> arguments = start.argv;
  std::vector<std::string> environment = environment_with(start.environment);
  const std::vector<char*> argv = pointers(arguments);
  const std::vector<char*> envp = pointers(environment);
  std::array<int, 2> pipe_fds{};
  CHECK(::pipe2(pipe_fds.data(), O_CLOEXEC) == 0);
  const pid_t parent = ::getpid();
  const pid_t child = ::fork();
  CHECK(child >= 0);
  if (child == 0) {  // only async-signal-safe calls from here
    ::setpgid(0, 0);
    ::prctl(PR_SET_PDEATHSIG, SIGKILL);
    if (::getppid() != parent) ::_exit(127);
    const int nothing = ::open("/dev/null", O_RDONLY);
    ::dup2(nothing, STDIN_FILENO);
    ::dup2(pipe_fds[1], STDOUT_FILENO);
    ::dup2(pipe_fds[1], STDERR_FILENO);
    ::execvpe(argv[0], argv.data(), envp.data());
    constexpr std::string_view failed = "cannot start this program\n";
    if (::write(STDERR_FILENO, failed.data(), failed.size()) < 0) ::_exit(126);
    ::_exit(127);
  }
  ::setpgid(child, child);  // in both, so that neither has to wait for the other
  ::close(pipe_fds[1]);
  auto state = std::make_unique<State>();
  state->pid = child;
  state->output_fd = pipe_fds[0];
  state->reader = std::thread([raw = state.get()] { raw->read_all(); });
  Process process(std::move(state));
  if (!start.ready.empty()) {
    Result<std::string> line = process.wait_for_line(start.ready, start.ready_within);
    if (!line) return Error{start.argv[0] + " did not get ready: " + line.error().text};
    process.state_->ready_line = line.value();
  }
  return process;
}

pid_t Process::pid() const {
  return state_->pid;
}
const std::string& Process::ready_line() const {
  return state_->ready_line;
}

long Process::number_after(std::string_view label) const {
  const std::size_t at = state_->ready_line.find(label);
  if (at == std::string::npos) return -1;
  const char* begin = state_->ready_line.c_str() + at + label.size();
  char* end = nullptr;
  const long number = std::strtol(begin, &end, 10);
  return end == begin ? -1 : number;
}

Result<std::string> Process::wait_for_line(std::string_view part, std::chrono::milliseconds within) {
  const auto deadline = Clock::now() + within;
  State& s = *state_;
  std::unique_lock lock(s.mutex);
  while (true) {
    s.next_taken = std::max(s.next_taken, s.first_kept);
    while (s.next_taken < s.first_kept + s.lines.size()) {
      const std::string& line = s.lines[s.next_taken++ - s.first_kept];
      if (line.find(part) != std::string::npos) return line;
    }
    if (s.ended) return Error{"it ended; output:\n" + s.joined()};
    if (s.changed.wait_until(lock, deadline) == std::cv_status::timeout && Clock::now() >= deadline) {
      return Error{"no line with '" + std::string(part) + "' in " + std::to_string(within.count()) +
                   " ms; output:\n" + s.joined()};
    }
  }
}

std::string Process::output() const {
  const std::lock_guard lock(state_->mutex);
  return state_->joined();
}

void Process::signal(int number) const {
  if (!state_->reaped) ::kill(state_->pid, number);
}

Result<int> Process::wait_for_end(std::chrono::milliseconds within) {
  if (!eventually(within, [this] { return state_->has_ended(); })) {
    return Error{"still running after " + std::to_string(within.count()) + " ms; output:\n" + output()};
  }
  // What it printed last is still on its way through the pipe. Bounded: a child of its own may hold the pipe
  // open.
  std::unique_lock lock(state_->mutex);
  state_->changed.wait_for(lock, std::chrono::seconds(2), [this] { return state_->ended; });
  return state_->status;
}

int Process::stop(std::chrono::milliseconds patience) {
  state_->end_with(SIGTERM, patience);
  return state_->status;
}

int Process::kill() {
  state_->end_with(SIGKILL, std::chrono::milliseconds(5000));
  return state_->status;
}

std::uint16_t free_loopback_port() {
  const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  CHECK(fd >= 0);
  sockaddr_in address = loopback(0);
  CHECK(::bind(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
  socklen_t size = sizeof address;
  CHECK(::getsockname(fd, reinterpret_cast<sockaddr*>(&address), &size) == 0);
  ::close(fd);
  return ntohs(address.sin_port);
}

bool accepts_on(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  CHECK(fd >= 0);
  const sockaddr_in address = loopback(port);
  const bool connected = ::connect(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
  ::close(fd);
  return connected;
}

}  // namespace baskwell::peers
