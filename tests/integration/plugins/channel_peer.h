#pragma once
// What the tests of channels over the network share: the peer that the channel talks to, its certificates,
// and what the peer says has reached it.

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <chrono>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "peers/certificates.h"
#include "peers/peers.h"

namespace baskwell::plugin_host {

class ChannelPeer : public testing::Test {
 protected:
  void make_certificates() {
    Result<peers::Certificates> made = peers::make_certificates(folder_);
    ASSERT_TRUE(made.ok()) << made.error().text;
    certificates_ = made.value();
  }

  // Starts `script` (tests/integration/peers), with the server's certificate where `tls`.
  void start_peer(const std::string& script, bool tls, const std::vector<std::string>& options = {}) {
    peers::Start start;
    start.argv = {"/usr/bin/python3", std::string(BASKWELL_PEERS_DIR) + "/" + script};
    if (tls) {
      start.argv.insert(start.argv.end(),
                        {"--certificate", certificates_.server_file, "--key", certificates_.server_key_file});
    }
    start.argv.insert(start.argv.end(), options.begin(), options.end());
    start.ready = "ready port=";
    Result<peers::Process> peer = peers::Process::start(start);
    ASSERT_TRUE(peer.ok()) << peer.error().text;
    peer_.emplace(std::move(peer).value());
  }

  [[nodiscard]] std::string address(const std::string& scheme) const {
    return scheme + "://localhost:" + std::to_string(peer_->number_after("port="));
  }

  // The next line that begins with `label` and goes on in JSON.
  boost::json::value told(const std::string& label) {
    const Result<std::string> line = peer_->wait_for_line(label, std::chrono::seconds(10));
    if (!line) {
      ADD_FAILURE() << line.error().text;
      return boost::json::object();
    }
    return boost::json::parse(line.value().substr(label.size()));
  }

  static std::string text_at(const boost::json::value& value, std::string_view pointer) {
    boost::json::error_code failed;
    const boost::json::value* found = value.find_pointer(pointer, failed);
    return found != nullptr && found->is_string() ? std::string(found->as_string()) : "absent";
  }

  peers::TempFolder folder_;
  peers::Certificates certificates_;
  std::optional<peers::Process> peer_;
};

}  // namespace baskwell::plugin_host
