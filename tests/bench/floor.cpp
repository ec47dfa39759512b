// The floor that the daemon is measured against: a bare subscriber with the same client library, protocol
// version and QoS, which only counts. Prints "ready" once it is subscribed, and at SIGTERM one JSON object:
// messages, first_ns, last_ns (arrival of the first and of the one with number MESSAGES, by CLOCK_REALTIME).
//
//   baskwell-bench-floor WAY PORT FILTER [MESSAGES]
//
// WAY: `callback` counts where the library calls, which is the least there can be; `queue` takes the messages
// from the library's own queue, on a thread of its own, as its examples do.

#include <mqtt/async_client.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <cstdint>
#include <ctime>
#include <iostream>
#include <stdexcept>
#include <string>
#include <thread>

namespace {

std::int64_t realtime_ns() {
  timespec at{};
  clock_gettime(CLOCK_REALTIME, &at);
  return at.tv_sec * std::int64_t{1'000'000'000} + at.tv_nsec;
}

struct Counted {
  std::atomic<std::uint64_t> messages{0};
  std::atomic<std::int64_t> first_ns{0};
  std::atomic<std::int64_t> last_ns{0};
  std::uint64_t expected;

  void add() {
    const std::uint64_t number = messages.fetch_add(1, std::memory_order_relaxed) + 1;
    if (number == 1) first_ns = realtime_ns();
    if (number == expected) last_ns = realtime_ns();
  }
};

void subscribe(mqtt::async_client& client, const std::string& filter) {
  mqtt::connect_options options;
  options.set_mqtt_version(MQTTVERSION_5);
  options.set_clean_start(true);
  options.set_keep_alive_interval(30);
  client.connect(options)->wait();
  client.subscribe(filter, 1)->wait();
  std::cout << "ready" << std::endl;
}

int count(const std::string& way, const std::string& port, const std::string& filter,
          std::uint64_t expected) {
  // Blocked before the library starts its threads, so that only sigwait sees it.
  sigset_t ends;
  sigemptyset(&ends);
  sigaddset(&ends, SIGTERM);
  pthread_sigmask(SIG_BLOCK, &ends, nullptr);

  Counted counted{.expected = expected};
  mqtt::async_client client("tcp://127.0.0.1:" + port, "bench-floor-" + way,
                            mqtt::create_options(MQTTVERSION_5));
  if (way == "callback") {
    client.set_message_callback([&](const mqtt::const_message_ptr&) { counted.add(); });
    subscribe(client, filter);
  } else {
    client.start_consuming();
    subscribe(client, filter);
    std::thread([&client, &counted] {
      while (client.consume_message()) counted.add();
    }).detach();
  }
  int ended = 0;
  sigwait(&ends, &ended);
  std::cout << "{\"messages\": " << counted.messages << ", \"first_ns\": " << counted.first_ns
            << ", \"last_ns\": " << counted.last_ns << "}" << std::endl;
  _exit(0);  // whatever of the library's still runs has nothing to save
}

}  // namespace

int main(int argc, char** argv) {
  try {
    if (argc < 4) throw std::runtime_error("WAY, PORT and FILTER are needed");
    return count(argv[1], argv[2], argv[3], argc > 4 ? std::stoull(argv[4]) : 0);
  } catch (const std::exception& failed) {
    std::cerr << "floor: " << failed.what() << "\n";
    return 1;
  }
}
