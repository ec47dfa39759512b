#include "stream_publisher.h"

#include <arpa/inet.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <stdexcept>

namespace baskwell::intake {
namespace {

constexpr int at_once = 1000;  // messages before their acknowledgements are read

void add_string(std::string& packet, std::string_view text) {
  packet += static_cast<char>(text.size() >> 8U);
  packet += static_cast<char>(text.size() & 0xffU);
  packet += text;
}

}  // namespace

StreamPublisher::StreamPublisher(std::uint16_t port, std::string_view client_id)
    : fd_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(fd_, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    throw std::runtime_error("stream publisher: no connection");
  }
  std::string body;
  add_string(body, "MQTT");
  body += std::string("\x04\x02\x00\x3c", 4);  // version 4, clean session, keep alive 60 s
  add_string(body, client_id);
  send(std::string("\x10", 1) + static_cast<char>(body.size()) + body);
  receive(4);  // CONNACK
}

StreamPublisher::~StreamPublisher() {
  ::close(fd_);
}

void StreamPublisher::publish(std::string_view topic, int count,
                              const std::function<std::string(int)>& payload) {
  for (int sent = 0; sent < count;) {
    const int portion = std::min(at_once, count - sent);
    std::string packets;
    for (int i = 1; i <= portion; ++i) {
      std::string body;
      add_string(body, topic);
      body += static_cast<char>(static_cast<unsigned>(i) >> 8U);
      body += static_cast<char>(static_cast<unsigned>(i) & 0xffU);
      body += payload(sent + i);
      if (body.size() > 127) throw std::runtime_error("stream publisher: message too long");
      packets += '\x32';  // PUBLISH, QoS 1
      packets += static_cast<char>(body.size());
      packets += body;
    }
    send(packets);
    receive(4 * static_cast<std::size_t>(portion));  // PUBACKs
    sent += portion;
  }
}

void StreamPublisher::send(std::string_view bytes) const {
  while (!bytes.empty()) {
    const ssize_t written = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (written <= 0) throw std::runtime_error("stream publisher: the broker closed the connection");
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
}

void StreamPublisher::receive(std::size_t bytes) const {
  std::array<char, 4096> buffer;  // NOLINT(*-member-init): only written to
  while (bytes > 0) {
    const ssize_t got = ::recv(fd_, buffer.data(), std::min(bytes, buffer.size()), 0);
    if (got <= 0) throw std::runtime_error("stream publisher: the broker closed the connection");
    bytes -= static_cast<std::size_t>(got);
  }
}

}  // namespace baskwell::intake
