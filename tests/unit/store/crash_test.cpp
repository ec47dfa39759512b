// kill -9 at any moment: every batch that was called committed is there, none by half, and the file is sound.

#include <gtest/gtest.h>
#include <poll.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>

#include "store/fixture.h"

namespace baskwell::store {
namespace {

// The writer program with its standard output in a pipe. Killed and waited for at the end, by its own id.
class Child {
 public:
  Child(const std::string& path, int first_number) {
    std::array<int, 2> ends{};
    if (::pipe(ends.data()) != 0) std::abort();
    const std::string number = std::to_string(first_number);
    pid_ = ::fork();
    if (pid_ == 0) {
      ::dup2(ends[1], STDOUT_FILENO);
      ::close(ends[0]);
      ::close(ends[1]);
      ::execl(BASKWELL_CRASH_WRITER, BASKWELL_CRASH_WRITER, path.c_str(), number.c_str(), nullptr);
      ::_exit(127);
    }
    ::close(ends[1]);
    from_ = ends[0];
  }
  ~Child() {
    kill_now();
    ::close(from_);
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;

  // Reads for so long, or to the end of what it wrote.
  void read_for(std::chrono::microseconds time) {
    const auto deadline = std::chrono::steady_clock::now() + time;
    for (;;) {
      const auto left =
          std::chrono::duration_cast<std::chrono::milliseconds>(deadline - std::chrono::steady_clock::now());
      if (left.count() < 0 && pid_ > 0) return;
      pollfd wanted{from_, POLLIN, 0};
      if (::poll(&wanted, 1, pid_ > 0 ? static_cast<int>(left.count()) : 10'000) <= 0) return;
      std::array<char, 4096> buffer{};
      const ssize_t got = ::read(from_, buffer.data(), buffer.size());
      if (got <= 0) return;
      said_.append(buffer.data(), static_cast<std::size_t>(got));
    }
  }
  // Its exit status as waitpid has it.
  int kill_now() {
    if (pid_ <= 0) return 0;
    int status = 0;
    ::kill(pid_, SIGKILL);
    ::waitpid(pid_, &status, 0);
    pid_ = -1;
    return status;
  }
  // The numbers on whole lines.
  [[nodiscard]] std::vector<int> numbers() const {
    std::vector<int> found;
    std::size_t at = 0;
    for (std::size_t end = said_.find('\n'); end != std::string::npos; end = said_.find('\n', at)) {
      found.push_back(std::atoi(said_.substr(at, end - at).c_str()));
      at = end + 1;
    }
    return found;
  }
  [[nodiscard]] bool said_something() const { return said_.find('\n') != std::string::npos; }

 private:
  pid_t pid_ = -1;
  int from_ = -1;
  std::string said_;
};

TEST(Crash, AKilledWriterLosesNothingCommitted) {
  std::random_device device;
  const unsigned seed = device();
  std::printf("seed %u\n", seed);
  RecordProperty("seed", std::to_string(seed));
  std::mt19937 random(seed);
  const test::Folder folder;
  constexpr int readings = 25;
  int next = 1;
  int committed_in_all = 0;
  for (int round = 0; round < 20; ++round) {
    SCOPED_TRACE(round);
    Child child(folder.file(), next);
    // To its first commit (start-up and recovery pass), then a random while longer; every fifth is killed at
    // once, in the middle of start-up.
    if (round % 5 != 4) {
      const auto deadline = std::chrono::steady_clock::now() + std::chrono::seconds(20);
      while (!child.said_something() && std::chrono::steady_clock::now() < deadline) {
        child.read_for(std::chrono::milliseconds(1));
      }
      ASSERT_TRUE(child.said_something());
    }
    child.read_for(std::chrono::microseconds(std::uniform_int_distribution<int>(0, 60'000)(random)));
    const int status = child.kill_now();
    ASSERT_TRUE(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL) << "ended by itself: " << status;
    child.read_for(std::chrono::microseconds(0));  // what is still in the pipe

    // Odd rounds: our own opening is the first to find what the kill left; even ones: a stranger's.
    if (round % 2 == 1) test::open_store(folder.file()).reset();
    EXPECT_EQ(test::query(folder.file(), "PRAGMA integrity_check"), std::vector<std::string>{"ok"});
    int last = next - 1;
    for (const int number : child.numbers()) {
      ASSERT_EQ(number, last + 1);
      ASSERT_EQ(test::presence_of(folder.file(), number, readings), 1) << number;
      last = number;
    }
    committed_in_all += last - next + 1;
    // Beyond it there may be some that were committed and not told, and none by half.
    for (next = last + 1; test::presence_of(folder.file(), next, readings) == 1; ++next) {
    }
    ASSERT_EQ(test::presence_of(folder.file(), next, readings), 0) << next;
    ASSERT_EQ(test::query(folder.file(), "SELECT count(*) FROM transitions"),
              std::vector<std::string>{std::to_string(next - 1)});
  }
  EXPECT_GT(committed_in_all, 20);
}

}  // namespace
}  // namespace baskwell::store
