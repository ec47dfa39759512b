#pragma once
// Debian's mosquitto on a free loopback port, and its command-line publisher. Files lie in the peer's own
// temporary folder. Errors throw std::runtime_error: without a broker there is nothing to test.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "peers/certificates.h"
#include "peers/peers.h"
#include "settings/settings.h"

namespace baskwell::intake {

// A command for peers::Process.
[[nodiscard]] peers::Start command(std::vector<std::string> argv, std::string ready = "");

class BrokerPeer {
 public:
  struct Options {
    bool tls = false;
    std::string user{};  // "": anonymous
    std::string password{};
    std::string dynamic_security{};  // JSON of the broker's own access control; "": none
  };
  BrokerPeer() : BrokerPeer(Options{}) {}
  explicit BrokerPeer(Options options);

  void start();         // with the same port and folder as before
  void kill_at_once();  // the power cut
  void stop();

  // What a keeper would write to reach it.
  [[nodiscard]] BrokerSettings settings(MqttVersion version = MqttVersion::v5) const;
  [[nodiscard]] const peers::Certificates& certificates() const { return *certificates_; }
  [[nodiscard]] const peers::TempFolder& folder() const { return folder_; }

  // One message, QoS 1; returns when the broker has it.
  void publish(const std::string& topic, const std::string& payload,
               const std::vector<std::string>& more = {}) const;
  // The publisher's command line up to the topic.
  [[nodiscard]] std::vector<std::string> publisher(const std::string& topic) const;

 private:
  Options options_;
  peers::TempFolder folder_;
  std::uint16_t port_;
  std::optional<peers::Certificates> certificates_;
  std::string config_file_;
  std::optional<peers::Process> process_;
};

}  // namespace baskwell::intake
