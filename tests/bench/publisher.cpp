// Publishes a plan of messages to a broker, QoS 1, over several connections: as fast as the broker takes
// them, or at a rate.
//
//   baskwell-bench-publisher PORT PLAN MESSAGES RATE CONNECTIONS LOG
//
// PLAN has one message a line: topic, tab, payload, and optionally tab, label. It is gone through again from
// the top until MESSAGES are out. Thirteen at signs in a payload become the time in milliseconds since 1970.
// RATE is messages a second in all; 0: no limit but the window. Line i goes by connection i modulo
// CONNECTIONS, so one topic's messages stay in order. Of labelled messages LOG gets "nanoseconds label" at
// the moment of writing to the socket ("-": no log). Prints one JSON object: messages, first_ns, last_ns (by
// CLOCK_REALTIME; last: all acknowledged). Exit status 1 and words when anything fails.

#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <iostream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "mqtt_packets.h"

namespace baskwell::bench {
namespace {

// Unacknowledged messages of one connection: enough to keep the broker busy, few enough that its own queues
// for the publisher stay short.
constexpr std::uint32_t window = 256;
constexpr std::size_t write_bytes = std::size_t{16} * 1024;
constexpr std::string_view time_mark = "@@@@@@@@@@@@@";
constexpr std::int64_t second_ns = 1'000'000'000;

std::int64_t now_ns(clockid_t clock) {
  timespec at{};
  clock_gettime(clock, &at);
  return at.tv_sec * second_ns + at.tv_nsec;
}

[[noreturn]] void fail(const std::string& what) {
  throw std::runtime_error(what + ": " + std::generic_category().message(errno));
}

struct Message {
  PublishPacket packet;
  std::size_t time_at = std::string::npos;
  std::string label;
};

std::vector<Message> read_plan(const std::string& path) {
  std::ifstream file(path);
  if (!file) fail(path);
  std::vector<Message> plan;
  std::string line;
  while (std::getline(file, line)) {
    const std::size_t tab = line.find('\t');
    if (tab == std::string::npos) throw std::runtime_error(path + ": a line without a tab");
    const std::size_t next = line.find('\t', tab + 1);
    const std::string_view text(line);
    Message message{PublishPacket(text.substr(0, tab), text.substr(tab + 1, next - tab - 1)),
                    std::string::npos, next == std::string::npos ? "" : line.substr(next + 1)};
    message.time_at = message.packet.bytes.find(time_mark);
    plan.push_back(std::move(message));
  }
  if (plan.empty()) throw std::runtime_error(path + ": no messages");
  return plan;
}

void set_time(Message& message) {
  if (message.time_at == std::string::npos) return;
  std::array<char, 24> digits{};
  std::to_chars(digits.data(), digits.data() + digits.size(), now_ns(CLOCK_REALTIME) / 1'000'000);
  message.packet.bytes.replace(message.time_at, time_mark.size(), digits.data(), time_mark.size());
}

class Connection {
 public:
  Connection(std::uint16_t port, std::size_t number) : fd_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    address.sin_port = htons(port);
    if (fd_ < 0 || ::connect(fd_, reinterpret_cast<sockaddr*>(&address), sizeof address) != 0) {
      fail("connecting to port " + std::to_string(port));
    }
    const int on = 1;
    ::setsockopt(fd_, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    waiting_ = connect_packet("bench-publisher-" + std::to_string(number));
    while (!waiting_.empty()) write_some();
    std::array<char, connack_bytes> answer{};
    if (::recv(fd_, answer.data(), answer.size(), MSG_WAITALL) != connack_bytes || answer[3] != 0) {
      throw std::runtime_error("the broker refuses the publisher");
    }
  }
  ~Connection() {
    if (fd_ >= 0) ::close(fd_);
  }
  Connection(Connection&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;
  Connection& operator=(Connection&&) = delete;

  [[nodiscard]] bool has_room() const { return unacknowledged_ < window && waiting_.size() < write_bytes; }
  void add(Message& message) {
    next_id_ = next_id_ == UINT16_MAX ? std::uint16_t{1} : static_cast<std::uint16_t>(next_id_ + 1);
    message.packet.set_id(next_id_);
    waiting_ += message.packet.bytes;
    ++unacknowledged_;
  }
  void write_some() {
    const ssize_t written = ::send(fd_, waiting_.data(), waiting_.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
    if (written < 0 && errno != EAGAIN && errno != EINTR) fail("writing to the broker");
    if (written > 0) waiting_.erase(0, static_cast<std::size_t>(written));
  }
  // Only PUBACKs come: nothing is subscribed to.
  void read_some() {
    std::array<char, 8192> bytes{};
    const ssize_t got = ::recv(fd_, bytes.data(), bytes.size(), MSG_DONTWAIT);
    if (got == 0) throw std::runtime_error("the broker closed the connection");
    if (got < 0 && errno != EAGAIN && errno != EINTR) fail("reading from the broker");
    if (got <= 0) return;
    received_ += static_cast<std::uint64_t>(got);
    while (received_ >= puback_bytes) {
      received_ -= puback_bytes;
      --unacknowledged_;
    }
  }
  [[nodiscard]] pollfd wanted() const {
    return {fd_, static_cast<short>(POLLIN | (waiting_.empty() ? 0 : POLLOUT)), 0};
  }
  [[nodiscard]] bool idle() const { return unacknowledged_ == 0 && waiting_.empty(); }
  void say_goodbye() {
    waiting_ = disconnect_packet();
    write_some();
  }

 private:
  int fd_;
  std::string waiting_;
  std::uint16_t next_id_ = 0;
  std::uint32_t unacknowledged_ = 0;
  std::uint64_t received_ = 0;
};

struct Task {
  std::uint64_t messages;
  double rate_per_s;
};

class Publishing {
 public:
  Publishing(std::vector<Message> plan, std::vector<Connection> connections, Task task, std::FILE* log)
      : plan_(std::move(plan)), connections_(std::move(connections)), task_(task), log_(log) {}

  void run() {
    begun_ns_ = now_ns(CLOCK_MONOTONIC);
    const std::int64_t first_ns = now_ns(CLOCK_REALTIME);
    while (true) {
      send_what_may_go();
      bool idle = sent_ == task_.messages;
      for (Connection& connection : connections_) idle = idle && connection.idle();
      if (idle) break;
      wait();
    }
    const std::int64_t last_ns = now_ns(CLOCK_REALTIME);
    for (Connection& connection : connections_) connection.say_goodbye();
    std::cout << "{\"messages\": " << sent_ << ", \"first_ns\": " << first_ns << ", \"last_ns\": " << last_ns
              << "}\n";
  }

 private:
  // Messages go out in the order of the plan: the first that has no room holds up the rest.
  void send_what_may_go() {
    while (sent_ < task_.messages && (task_.rate_per_s <= 0 || until_next_ns() <= 0)) {
      Connection& connection = connections_[sent_ % connections_.size()];
      if (!connection.has_room()) break;
      Message& message = plan_[sent_ % plan_.size()];
      set_time(message);
      connection.add(message);
      if (log_ != nullptr && !message.label.empty()) {
        std::fprintf(log_, "%lld %s\n", static_cast<long long>(now_ns(CLOCK_REALTIME)),
                     message.label.c_str());
      }
      ++sent_;
      if (task_.rate_per_s > 0) connection.write_some();
    }
  }
  [[nodiscard]] std::int64_t until_next_ns() const {
    const auto due_ns = static_cast<std::int64_t>(static_cast<double>(sent_) / task_.rate_per_s * second_ns);
    return begun_ns_ + due_ns - now_ns(CLOCK_MONOTONIC);
  }
  void wait() {
    std::vector<pollfd> wanted;
    for (const Connection& connection : connections_) wanted.push_back(connection.wanted());
    timespec patience{.tv_sec = 10, .tv_nsec = 0};
    if (task_.rate_per_s > 0 && sent_ < task_.messages) {
      const std::int64_t wait_ns = std::max<std::int64_t>(0, until_next_ns());
      patience = {.tv_sec = wait_ns / second_ns, .tv_nsec = wait_ns % second_ns};
    }
    const int ready = ::ppoll(wanted.data(), wanted.size(), &patience, nullptr);
    if (ready < 0 && errno != EINTR) fail("waiting for the broker");
    if (ready == 0 && patience.tv_sec >= 10) throw std::runtime_error("the broker takes nothing any more");
    for (std::size_t i = 0; i < wanted.size(); ++i) {
      if ((wanted[i].revents & POLLOUT) != 0) connections_[i].write_some();
      if ((wanted[i].revents & (POLLIN | POLLERR | POLLHUP)) != 0) connections_[i].read_some();
    }
  }

  std::vector<Message> plan_;
  std::vector<Connection> connections_;
  Task task_;
  std::FILE* log_;
  std::uint64_t sent_ = 0;
  std::int64_t begun_ns_ = 0;
};

void publish(const std::vector<std::string>& arguments) {
  if (arguments.size() != 6) throw std::runtime_error("PORT PLAN MESSAGES RATE CONNECTIONS LOG are needed");
  const auto port = static_cast<std::uint16_t>(std::stoul(arguments[0]));
  std::vector<Message> plan = read_plan(arguments[1]);
  std::vector<Connection> connections;
  for (std::size_t i = 0; i < std::stoul(arguments[4]); ++i) connections.emplace_back(port, i);
  std::FILE* log = arguments[5] == "-" ? nullptr : std::fopen(arguments[5].c_str(), "w");
  if (log == nullptr && arguments[5] != "-") fail(arguments[5]);
  Publishing(std::move(plan), std::move(connections), {std::stoull(arguments[2]), std::stod(arguments[3])},
             log)
      .run();
  if (log != nullptr && std::fclose(log) != 0) fail(arguments[5]);
}

}  // namespace
}  // namespace baskwell::bench

int main(int argc, char** argv) {
  try {
    baskwell::bench::publish({argv + 1, argv + argc});
  } catch (const std::exception& failed) {
    std::cerr << "publisher: " << failed.what() << "\n";
    return 1;
  }
}
