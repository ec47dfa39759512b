// What this disk asks of whoever wants one page to be safe: appends a page to FILE and syncs it, once every
// PAUSE_MS, TIMES times, and prints the CPU microseconds of one such wake, write and sync as a JSON object.
// No durable commit can be had for less.
//
//   baskwell-bench-sync FILE PAUSE_MS TIMES

#include <fcntl.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <ctime>
#include <iostream>
#include <stdexcept>
#include <string>
#include <thread>

namespace {

double cpu_us() {
  timespec at{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &at);
  return static_cast<double>(at.tv_sec) * 1e6 + static_cast<double>(at.tv_nsec) / 1e3;
}

void measure(const std::string& path, std::chrono::milliseconds pause, int times) {
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
  if (fd < 0) throw std::runtime_error(path + " cannot be written");
  std::array<char, 4096> page{};
  const double before = cpu_us();
  for (int i = 0; i < times; ++i) {
    std::this_thread::sleep_for(pause);
    page.fill(static_cast<char>(i));
    if (::write(fd, page.data(), page.size()) != static_cast<ssize_t>(page.size()) || ::fdatasync(fd) != 0) {
      throw std::runtime_error(path + " does not take a page");
    }
  }
  std::cout << "{\"cpu_us\": " << (cpu_us() - before) / times << "}\n";
  ::close(fd);
  ::unlink(path.c_str());
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc != 4) throw std::runtime_error("FILE, PAUSE_MS and TIMES are needed");
    measure(argv[1], std::chrono::milliseconds(std::stol(argv[2])), std::stoi(argv[3]));
  } catch (const std::exception& failed) {
    std::cerr << "sync: " << failed.what() << "\n";
    return 1;
  }
}
