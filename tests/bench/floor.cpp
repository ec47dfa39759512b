// The floor that the daemon is measured against: a bare subscriber with the same client library, protocol
// version and QoS, which only counts. Subscribes, prints "ready", and at SIGTERM prints one JSON object:
// messages, first_ns, last_ns (arrival by CLOCK_REALTIME). With MESSAGES it ends by itself after so many.
//
//   baskwell-bench-floor PORT FILTER [MESSAGES]

#include <mqtt/async_client.h>

#include <atomic>
#include <csignal>
#include <cstdint>
#include <ctime>
#include <iostream>
#include <string>

namespace {

std::int64_t realtime_ns() {
  timespec at{};
  clock_gettime(CLOCK_REALTIME, &at);
  return at.tv_sec * std::int64_t{1'000'000'000} + at.tv_nsec;
}

int count(const std::string& port, const std::string& filter, std::uint64_t expected) {
  // Blocked before the library starts its threads, so that only sigwait sees them.
  sigset_t ends;
  sigemptyset(&ends);
  sigaddset(&ends, SIGTERM);
  pthread_sigmask(SIG_BLOCK, &ends, nullptr);

  std::atomic<std::uint64_t> messages{0};
  std::atomic<std::int64_t> first_ns{0};
  std::atomic<std::int64_t> last_ns{0};
  mqtt::async_client client("tcp://127.0.0.1:" + port, "bench-floor", mqtt::create_options(MQTTVERSION_5));
  client.set_message_callback([&](const mqtt::const_message_ptr&) {
    const std::uint64_t number = messages.fetch_add(1, std::memory_order_relaxed) + 1;
    if (number == 1) first_ns = realtime_ns();
    if (number != expected) return;
    last_ns = realtime_ns();
    kill(getpid(), SIGTERM);
  });
  mqtt::connect_options options;
  options.set_mqtt_version(MQTTVERSION_5);
  options.set_clean_start(true);
  options.set_keep_alive_interval(30);
  client.connect(options)->wait();
  client.subscribe(filter, 1)->wait();
  std::cout << "ready" << std::endl;
  int ended = 0;
  sigwait(&ends, &ended);
  client.disconnect()->wait();
  std::cout << "{\"messages\": " << messages << ", \"first_ns\": " << first_ns << ", \"last_ns\": " << last_ns
            << "}" << std::endl;
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc < 3) throw std::runtime_error("PORT and FILTER are needed");
    return count(argv[1], argv[2], argc > 3 ? std::stoull(argv[3]) : 0);
  } catch (const std::exception& failed) {
    std::cerr << "floor: " << failed.what() << "\n";
    return 1;
  }
}
