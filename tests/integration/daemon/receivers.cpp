#include "receivers.h"

#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <utility>

#include "harness.h"

namespace baskwell::daemon_test {

namespace json = boost::json;

namespace {

peers::Process peer(const char* script, const std::vector<std::string>& options) {
  peers::Start start;
  start.argv = {"/usr/bin/python3", std::string(BASKWELL_PEERS_DIR) + "/" + script};
  start.argv.insert(start.argv.end(), options.begin(), options.end());
  start.ready = "ready port=";
  start.ready_within = patience;
  auto process = peers::Process::start(start);
  if (!process) throw std::runtime_error(process.error().text);
  return std::move(process).value();
}

// What stands behind `mark` in each line that begins with it.
std::vector<json::value> marked_lines(const std::string& output, const std::string& mark) {
  std::vector<json::value> found;
  std::istringstream lines(output);
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with(mark)) found.push_back(json::parse(line.substr(mark.size())));
  }
  return found;
}

std::vector<std::string> tls_options(const peers::Certificates* certificates) {
  if (certificates == nullptr) return {};
  return {"--certificate", certificates->server_file, "--key", certificates->server_key_file};
}

}  // namespace

Told told_from(const json::value& letter) {
  Told told{
      text(letter, "id"), text(letter, "person"), text(letter, "headline"), text(letter, "body"), {}, {}, {}};
  const json::value& alarm = letter.at("alarm");
  if (alarm.is_object()) {
    told.occurrence = text(alarm, "occurrence");
    told.reason = text(alarm, "reason");
    told.kind = text(alarm, "kind");
  }
  return told;
}

Mailbox::Mailbox(const std::vector<std::string>& options) : process_(peer("smtp_peer.py", options)) {}

std::vector<json::value> Mailbox::letters() const {
  return marked_lines(process_.output(), "mail ");
}

WebReceiver::WebReceiver(const peers::Certificates* certificates)
    : process_(peer("http_peer.py", tls_options(certificates))) {}

std::vector<json::value> WebReceiver::requests() const {
  return marked_lines(process_.output(), "request ");
}

std::vector<Told> WebReceiver::told() const {
  std::vector<Told> all;
  for (const json::value& request : requests()) all.push_back(told_from(json::parse(text(request, "body"))));
  return all;
}

Script::Script(const peers::TempFolder& folder, std::string name) : folder_(folder), name_(std::move(name)) {
  const std::string file = folder_.file(name_);
  path_ =
      folder_.write(name_ + ".sh", "#!/bin/sh\n[ -e \"" + file +
                                       ".broken\" ] && exit 75\n{ cat; echo; } >> \"" + file + ".told\"\n");
}

std::vector<Told> Script::told() const {
  std::vector<Told> all;
  std::ifstream file(folder_.file(name_ + ".told"));
  for (std::string line; std::getline(file, line);) {
    if (!line.empty() && !file.eof()) all.push_back(told_from(json::parse(line)));
  }
  return all;
}

void Script::break_it() const {
  static_cast<void>(folder_.write(name_ + ".broken", ""));
}

void Script::mend_it() const {
  std::filesystem::remove(folder_.file(name_ + ".broken"));
}

std::string command_channel(const std::string& id, const Script& script) {
  return "[channels." + id + "]\nkind = \"command\"\nargv = [\"/bin/sh\", \"" + script.path() + "\"]\n";
}

std::string person(const std::string& id, const std::string& name, const std::vector<std::string>& channels) {
  std::string table = "[people." + id + "]\nname = \"" + name + "\"\nchannels = [";
  for (const std::string& channel : channels)
    table += "{ channel = \"" + channel + "\", address = \"" + id + "@example.org\" }, ";
  return table + "]\n";
}

}  // namespace baskwell::daemon_test
