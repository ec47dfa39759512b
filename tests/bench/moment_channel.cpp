// The `moment` channel of the benchmarks: tells nobody, but writes down when it was called. One line a call:
// nanoseconds since 1970 by CLOCK_REALTIME, tab, the message's JSON. Key: `log`, the file.

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdint>
#include <ctime>
#include <string>

#include "baskwell/plugin.hpp"

namespace {

using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Settings;

class Moment {
 public:
  explicit Moment(const Settings& settings)
      : fd_(::open(settings.required("log").c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600)) {
    if (fd_ < 0) throw BadSetting("'log' cannot be written");
  }
  ~Moment() { ::close(fd_); }
  Moment(const Moment&) = delete;
  Moment& operator=(const Moment&) = delete;

  bw_delivery deliver(const bw_message& message, std::uint32_t, Line& answer) const {
    timespec at{};
    clock_gettime(CLOCK_REALTIME, &at);  // first of all: everything after is not the daemon's
    std::string line =
        std::to_string(at.tv_sec * std::int64_t{1'000'000'000} + at.tv_nsec) + "\t" + message.json;
    std::replace(line.begin(), line.end(), '\n', ' ');
    line += '\n';
    if (::write(fd_, line.data(), line.size()) != static_cast<ssize_t>(line.size())) {
      answer.set("the log cannot be written");
      return BW_TRY_AGAIN;
    }
    answer.set("written down");
    return BW_DELIVERED;
  }

 private:
  int fd_;
};

constexpr const char* keys[] = {"log", nullptr};
constexpr bw_plugin description = {
    BASKWELL_PLUGIN_INTERFACE, "moment", "1.0", keys, nullptr, &baskwell::plugin::channel_functions<Moment>};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
