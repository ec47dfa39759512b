#pragma once
// One session with the MQTT broker for the demo room and for `do`: publishes at QoS 1, takes lines from one
// topic, comes back by itself after a loss. What is sent while the broker is away is dropped and counted, as
// radio instruments would. Errors: Result from open(). Threads: call from one thread; Paho's own threads only
// fill the bounded queue of lines.

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "core/result.h"

namespace baskwell::demoroom {

struct LinkSettings {
  std::string uri;
  std::string client_id;  // empty: the broker gives one
  std::string listen_topic;
  std::string presence_topic;  // empty: none; else `online` and the will `offline`, retained
};

class BrokerLink {
 public:
  [[nodiscard]] static Result<std::unique_ptr<BrokerLink>> open(const LinkSettings& settings,
                                                                std::chrono::seconds patience);
  ~BrokerLink();  // close()
  BrokerLink(const BrokerLink&) = delete;
  BrokerLink& operator=(const BrokerLink&) = delete;

  // False when it was dropped.
  bool send(const std::string& topic, const std::string& payload);
  // Waits up to `patience` for a line on the listening topic.
  [[nodiscard]] std::optional<std::string> next_line(std::chrono::milliseconds patience);
  void close();

  [[nodiscard]] std::uint64_t sent() const;
  [[nodiscard]] std::uint64_t dropped() const;

 private:
  struct State;
  explicit BrokerLink(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baskwell::demoroom
