#pragma once
// Those whom the daemon tells: a mailbox, a web receiver and a program of the keeper's, all real.
// Main thread only, as peers.h.

#include <boost/json.hpp>
#include <string>
#include <vector>

#include "peers/certificates.h"
#include "peers/peers.h"

namespace baskwell::daemon_test {

// One message as it came in: the letter's own JSON (docs/plugins.md, "webhook").
struct Told {
  std::string id;
  std::string person;
  std::string headline;
  std::string body;
  std::string occurrence;
  std::string reason;
  std::string kind;
};
[[nodiscard]] Told told_from(const boost::json::value& letter);

// Debian's aiosmtpd on a free loopback port. `options` as smtp_peer.py has them.
class Mailbox {
 public:
  explicit Mailbox(const std::vector<std::string>& options = {});
  [[nodiscard]] long port() const { return process_.number_after("port="); }
  // Every letter taken so far, as smtp_peer.py describes them.
  [[nodiscard]] std::vector<boost::json::value> letters() const;

 private:
  peers::Process process_;
};

// Python's HTTP server, with TLS where certificates are given.
class WebReceiver {
 public:
  WebReceiver() : WebReceiver(nullptr) {}
  explicit WebReceiver(const peers::Certificates* certificates);
  [[nodiscard]] long port() const { return process_.number_after("port="); }
  // Every request so far: method, path, headers, body.
  [[nodiscard]] std::vector<boost::json::value> requests() const;
  [[nodiscard]] std::vector<Told> told() const;

 private:
  peers::Process process_;
};

// A script that appends each message as a line to a file; ends with status 75 (try again) while a file
// "NAME.broken" is there.
class Script {
 public:
  Script(const peers::TempFolder& folder, std::string name);
  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] std::vector<Told> told() const;
  void break_it() const;
  void mend_it() const;

 private:
  const peers::TempFolder& folder_;
  std::string name_;
  std::string path_;
};

// Tables of settings.
[[nodiscard]] std::string command_channel(const std::string& id, const Script& script);
[[nodiscard]] std::string person(const std::string& id, const std::string& name,
                                 const std::vector<std::string>& channels);

}  // namespace baskwell::daemon_test
