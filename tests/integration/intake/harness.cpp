#include "harness.h"

#include <array>
#include <cstdio>
#include <ctime>
#include <stdexcept>

// Debian's client library is not built for the thread sanitizer, which therefore cannot see that the last
// owner of a token deletes it after the others have let go (std::shared_ptr).
extern "C" const char* __tsan_default_suppressions();   // NOLINT(bugprone-reserved-identifier): its own name
extern "C" const char* __tsan_default_suppressions() {  // NOLINT(bugprone-reserved-identifier)
  return "race:mqtt::async_client::remove_token\nrace:mqtt::token::on_success\nrace:mqtt::token::on_"
         "failure\n";
}

namespace baskwell::intake {

using std::chrono::duration_cast;
using std::chrono::milliseconds;

Stamp real_now() {
  const auto ms = [](auto time) { return duration_cast<milliseconds>(time.time_since_epoch()).count(); };
  return {{ms(std::chrono::system_clock::now())}, {ms(std::chrono::steady_clock::now())}};
}

std::string own_time_now() {
  const std::int64_t now_ms = real_now().utc.ms;
  const std::time_t now_s = now_ms / 1000;
  std::tm parts{};
  gmtime_r(&now_s, &parts);
  std::array<char, 40> text{};
  const std::size_t size = std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%S", &parts);
  std::snprintf(text.data() + size, text.size() - size, ".%03dZ", static_cast<int>(now_ms % 1000));
  return text.data();
}

Harness::Harness(const Settings& settings, ArrivalQueue::Bounds bounds) : sink_(sink_into(heard)) {
  auto opened = Intake::open(settings, {.clock = real_now,
                                        .wake = [this] { ++woken; },
                                        .seed = 11,
                                        .plugin_folders = {BASKWELL_BUILD_DIR "/plugins"},
                                        .bounds = bounds});
  if (!opened) throw std::runtime_error(opened.error().text);
  intake = std::move(opened).value();
  if (const Outcome started = intake->start(); !started) throw std::runtime_error(started.error().text);
}

void Harness::pump() {
  while (intake->pump(1000, real_now(), sink_)) {
  }
  intake->tick(real_now(), sink_);
}

bool Harness::connected() {
  return until([&] {
    const auto events = broker_events();
    return !events.empty() && events.back().connected;
  });
}

std::string Harness::story() const {
  std::string all;
  for (const BrokerEvent& event : broker_events()) {
    all += std::string(event.connected ? "[connected] " : "[away] ") + event.detail + "\n";
  }
  return all;
}

}  // namespace baskwell::intake
