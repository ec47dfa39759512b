// The `command` channel: runs a program of the keeper's own for each message, without a shell. The message is
// on its standard input as one JSON object; its exit status is the answer: 0 delivered, 10 delivered and
// acknowledged, 75 (EX_TEMPFAIL of sysexits.h) try again, anything else refused. The first line it prints is
// told with it. It inherits no descriptor of the daemon's, runs in a process group of its own, and is killed
// with that group when the time is over.

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "baskwell/plugin.hpp"
#include "pattern.h"

namespace {

using baskwell::channels::Escape;
using baskwell::channels::Pattern;
using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Settings;
using Clock = std::chrono::steady_clock;

constexpr int exit_acknowledged = 10;
constexpr int exit_try_again = 75;  // EX_TEMPFAIL
constexpr std::size_t kept_output_bytes = 4'096;
constexpr std::size_t arguments_max = 64;

std::string words_for(int error) {
  return std::error_code(error, std::generic_category()).message();
}

class Descriptor {
 public:
  Descriptor() = default;
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~Descriptor() { close(); }
  [[nodiscard]] int get() const { return fd_; }
  void close() {
    if (fd_ >= 0) ::close(std::exchange(fd_, -1));
  }

 private:
  int fd_ = -1;
};

// What the program prints on one of its streams: the beginning kept, the rest read and dropped so that it
// never blocks.
class Output {
 public:
  Output() {
    std::array<int, 2> ends{};
    if (::pipe2(ends.data(), O_CLOEXEC) != 0) throw std::system_error(errno, std::generic_category(), "pipe");
    read_ = Descriptor(ends[0]);
    write_ = Descriptor(ends[1]);
    if (::fcntl(read_.get(), F_SETFL, O_NONBLOCK) != 0)
      throw std::system_error(errno, std::generic_category(), "pipe");
  }
  [[nodiscard]] int read_end() const { return read_.get(); }
  [[nodiscard]] int write_end() const { return write_.get(); }
  void close_write_end() { write_.close(); }

  // Reads what is there; bounded, so that a program that prints without end cannot hold us here.
  void drain() {
    std::array<char, 4'096> buffer{};
    for (int round = 0; round < 64 && read_.get() >= 0; ++round) {
      const ssize_t got = ::read(read_.get(), buffer.data(), buffer.size());
      if (got < 0 && errno == EINTR) continue;
      if (got == 0) read_.close();
      if (got <= 0) return;
      kept_.append(buffer.data(), std::min(static_cast<std::size_t>(got), kept_output_bytes - kept_.size()));
    }
  }
  [[nodiscard]] std::string_view first_line() const {
    const std::string_view all(kept_);
    const std::size_t begin = std::min(all.find_first_not_of("\r\n"), all.size());
    return all.substr(begin, all.find_first_of("\r\n", begin) - begin);
  }

 private:
  Descriptor read_;
  Descriptor write_;
  std::string kept_;
};

// The message as a file that only the child gets: it can be read at any speed, and nobody writes into a
// broken pipe.
Descriptor input_with(std::string_view text) {
  Descriptor file(::memfd_create("message", MFD_CLOEXEC));
  if (file.get() < 0) throw std::system_error(errno, std::generic_category(), "memfd_create");
  while (!text.empty()) {
    const ssize_t written = ::write(file.get(), text.data(), text.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) throw std::system_error(errno, std::generic_category(), "write");
    text.remove_prefix(static_cast<std::size_t>(written));
  }
  if (::lseek(file.get(), 0, SEEK_SET) != 0) throw std::system_error(errno, std::generic_category(), "lseek");
  return file;
}

std::vector<char*> pointers(std::vector<std::string>& strings) {
  std::vector<char*> result;
  result.reserve(strings.size() + 1);
  for (std::string& s : strings) result.push_back(s.data());
  result.push_back(nullptr);
  return result;
}

// Nothing of the daemon's own environment but where programs and the home are.
std::vector<std::string> plain_environment() {
  std::vector<std::string> result = {"LANG=C.UTF-8"};
  for (const char* name : {"PATH", "HOME"}) {
    const char* value = std::getenv(name);  // NOLINT(concurrency-mt-unsafe): nobody changes the environment
    if (value != nullptr) result.push_back(std::string(name) + "=" + value);
  }
  return result;
}

// posix_spawn's two parameter objects, freed at the end.
class SpawnSettings {
 public:
  SpawnSettings(int input, int output, int errors) {
    ::posix_spawn_file_actions_init(&actions_);
    ::posix_spawnattr_init(&attributes_);
    ::posix_spawn_file_actions_adddup2(&actions_, input, STDIN_FILENO);
    ::posix_spawn_file_actions_adddup2(&actions_, output, STDOUT_FILENO);
    ::posix_spawn_file_actions_adddup2(&actions_, errors, STDERR_FILENO);
    ::posix_spawn_file_actions_addclosefrom_np(&actions_, STDERR_FILENO + 1);
    sigset_t none;
    sigset_t all;
    ::sigemptyset(&none);
    ::sigfillset(&all);
    ::posix_spawnattr_setsigmask(&attributes_, &none);
    ::posix_spawnattr_setsigdefault(&attributes_, &all);
    ::posix_spawnattr_setpgroup(&attributes_, 0);
    ::posix_spawnattr_setflags(&attributes_,
                               POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  }
  ~SpawnSettings() {
    ::posix_spawn_file_actions_destroy(&actions_);
    ::posix_spawnattr_destroy(&attributes_);
  }
  SpawnSettings(const SpawnSettings&) = delete;
  SpawnSettings& operator=(const SpawnSettings&) = delete;
  [[nodiscard]] const posix_spawn_file_actions_t* actions() const { return &actions_; }
  [[nodiscard]] const posix_spawnattr_t* attributes() const { return &attributes_; }

 private:
  posix_spawn_file_actions_t actions_{};
  posix_spawnattr_t attributes_{};
};

// A running child; killed with its group if it has not ended before.
class Child {
 public:
  explicit Child(pid_t pid) : pid_(pid) {}
  ~Child() {
    if (ended()) return;
    ::kill(-pid_, SIGKILL);
    while (::waitpid(pid_, &status_, 0) < 0 && errno == EINTR) {
    }
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  [[nodiscard]] bool ended() {
    if (!reaped_) reaped_ = ::waitpid(pid_, &status_, WNOHANG) == pid_;
    return reaped_;
  }
  [[nodiscard]] int status() const { return status_; }

 private:
  pid_t pid_;
  bool reaped_ = false;
  int status_ = 0;
};

class Command {
 public:
  explicit Command(const Settings& settings) {
    const std::vector<std::string> words = settings.list("argv");
    if (words.empty() || words.size() > arguments_max) {
      throw BadSetting("'argv' must be a list: the program's full path, then its arguments (64 at most)");
    }
    if (!words[0].starts_with('/')) throw BadSetting("'argv' must begin with the program's full path");
    if (::access(words[0].c_str(), X_OK) != 0) {
      throw BadSetting("'argv': cannot run " + words[0] + ": " + words_for(errno));
    }
    program_ = words[0];
    for (std::size_t i = 1; i < words.size(); ++i) arguments_.emplace_back(words[i], Escape::one_line);
  }

  bw_delivery deliver(const bw_message& message, std::uint32_t timeout_ms, Line& answer) const {
    const auto deadline = Clock::now() + std::chrono::milliseconds(timeout_ms);
    const Descriptor input = input_with(baskwell::channels::message_json(message) + "\n");
    Output output;
    Output errors;
    std::vector<std::string> words = {program_};
    for (const Pattern& argument : arguments_) words.push_back(argument.filled(message));
    std::vector<std::string> environment = plain_environment();
    const SpawnSettings spawn(input.get(), output.write_end(), errors.write_end());
    pid_t pid = -1;
    const int failed = ::posix_spawn(&pid, program_.c_str(), spawn.actions(), spawn.attributes(),
                                     pointers(words).data(), pointers(environment).data());
    if (failed != 0) {
      answer.set("cannot run ").add(program_).add(": ").add(words_for(failed));
      return failed == EAGAIN || failed == ENOMEM ? BW_TRY_AGAIN : BW_REFUSED;
    }
    Child child(pid);
    output.close_write_end();
    errors.close_write_end();
    if (!wait_for(child, output, errors, deadline)) {
      answer.set("it did not end within ").add_number(timeout_ms).add(" ms and was killed");
      return BW_TRY_AGAIN;
    }
    return told(child.status(), output, errors, answer);
  }

 private:
  // Reads both streams until the child ends; false when the time is over first.
  static bool wait_for(Child& child, Output& output, Output& errors, Clock::time_point deadline) {
    constexpr std::int64_t look_again_ms =
        20;  // at the child: its streams may stay open, or close long before it ends
    while (true) {
      const bool ended = child.ended();
      output.drain();
      errors.drain();
      if (ended) return true;
      const auto left =
          std::chrono::duration_cast<std::chrono::milliseconds>(deadline - Clock::now()).count();
      if (left <= 0) return false;
      std::array<pollfd, 2> streams = {pollfd{output.read_end(), POLLIN, 0},
                                       pollfd{errors.read_end(), POLLIN, 0}};
      ::poll(streams.data(), streams.size(),
             static_cast<int>(std::clamp<std::int64_t>(left, 1, look_again_ms)));
    }
  }

  static bw_delivery told(int status, const Output& output, const Output& errors, Line& answer) {
    const std::string_view said = output.first_line().empty() ? errors.first_line() : output.first_line();
    if (WIFSIGNALED(status)) {
      answer.set("ended by signal ").add_number(WTERMSIG(status));
      if (!said.empty()) answer.add(": ").add(said);
      return BW_TRY_AGAIN;
    }
    const int code = WEXITSTATUS(status);
    if (code == 0 || code == exit_acknowledged) {
      answer.set(said);
      return code == 0 ? BW_DELIVERED : BW_ACKNOWLEDGED;
    }
    answer.set("exit status ").add_number(code);
    if (!said.empty()) answer.add(": ").add(said);
    return code == exit_try_again ? BW_TRY_AGAIN : BW_REFUSED;
  }

  std::string program_;
  std::vector<Pattern> arguments_;
};

constexpr const char* keys[] = {"argv", nullptr};
constexpr bw_plugin description = {BASKWELL_PLUGIN_INTERFACE,
                                   "command",
                                   "1.0",
                                   keys,
                                   nullptr,
                                   &baskwell::plugin::channel_functions<Command>};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
