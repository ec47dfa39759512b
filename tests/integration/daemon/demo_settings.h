#pragma once
// The demo room's own settings, pointed at the peers of a test. For tests that define BASKWELL_DEMO_SETTINGS.

#include <fstream>
#include <sstream>
#include <string>

#include "broker_peer.h"
#include "receivers.h"

namespace baskwell::daemon_test {

inline void replace_all(std::string& text, const std::string& what, const std::string& by) {
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + by.size()))
    text.replace(at, what.size(), by);
}

inline std::string demo_settings(const intake::BrokerPeer& broker, const Mailbox& mailbox) {
  std::ostringstream file;
  file << std::ifstream(BASKWELL_DEMO_SETTINGS).rdbuf();
  std::string settings = file.str();
  replace_all(settings, "@FOLDER@/room.db", "store/room.db");
  replace_all(settings, "@FOLDER@/baskwell.sock", "baskwell.sock");
  replace_all(settings, "@CARE@", BASKWELL_CONFIG_DIR "/care");
  replace_all(settings, "@BROKER_PORT@", std::to_string(broker.settings().port));
  replace_all(settings, "@SMTP_PORT@", std::to_string(mailbox.port()));
  return settings;
}

}  // namespace baskwell::daemon_test
