#pragma once
// Publishes many messages fast and surely, QoS 1, over one plain connection: every message is acknowledged by
// the broker when publish() returns. (Debian's mosquitto_pub -l loses the end of a fast stream.) Speaks just
// enough MQTT 3.1.1 for that (OASIS MQTT 3.1.1 sections 3.1 to 3.4). Errors throw std::runtime_error.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

namespace baskwell::intake {

class StreamPublisher {
 public:
  explicit StreamPublisher(std::uint16_t port, std::string_view client_id = "stream");
  ~StreamPublisher();
  StreamPublisher(const StreamPublisher&) = delete;
  StreamPublisher& operator=(const StreamPublisher&) = delete;

  // Messages 1 .. count; `payload` gives each one's, of less than 100 bytes.
  void publish(std::string_view topic, int count, const std::function<std::string(int)>& payload);

 private:
  void send(std::string_view bytes) const;
  void receive(std::size_t bytes) const;
  int fd_;
};

}  // namespace baskwell::intake
