#include "broker_peer.h"

#include <filesystem>
#include <stdexcept>
#include <utility>

namespace baskwell::intake {
namespace {

using std::chrono::seconds;

template <class T>
T or_throw(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().text);
  return std::move(result).value();
}

// Debian puts it into the folder of the machine's architecture.
std::string dynamic_security_plugin() {
  for (const auto& folder : std::filesystem::directory_iterator("/usr/lib")) {
    const auto plugin = folder.path() / "mosquitto_dynamic_security.so";
    if (std::filesystem::exists(plugin)) return plugin;
  }
  throw std::runtime_error("mosquitto_dynamic_security.so is not below /usr/lib; is mosquitto installed?");
}

}  // namespace

peers::Start command(std::vector<std::string> argv, std::string ready) {
  peers::Start start;
  start.argv = std::move(argv);
  start.ready = std::move(ready);
  return start;
}

BrokerPeer::BrokerPeer(Options options) : options_(std::move(options)), port_(peers::free_loopback_port()) {
  // No bounds of its own, so that only intake's count; as whoever runs the test, who owns the files.
  std::string config =
      "user root\nlog_dest stderr\npersistence false\nset_tcp_nodelay true\n"
      "max_queued_messages 0\nmax_inflight_messages 0\nlistener " +
      std::to_string(port_) + " 127.0.0.1\n";
  if (options_.tls) {
    certificates_ = or_throw(peers::make_certificates(folder_));
    config += "certfile " + certificates_->server_file + "\nkeyfile " + certificates_->server_key_file + "\n";
  }
  if (!options_.dynamic_security.empty()) {
    config += "plugin " + dynamic_security_plugin() + "\nplugin_opt_config_file " +
              folder_.write("security.json", options_.dynamic_security) + "\n";
  }
  if (options_.user.empty()) {
    config += "allow_anonymous true\n";
  } else {
    const std::string file = folder_.file("passwords");
    auto made = or_throw(peers::Process::start(
        command({"mosquitto_passwd", "-b", "-c", file, options_.user, options_.password})));
    if (or_throw(made.wait_for_end(seconds(10))) != 0) throw std::runtime_error(made.output());
    config += "allow_anonymous false\npassword_file " + file + "\n";
  }
  config_file_ = folder_.write("mosquitto.conf", config);
  start();
}

void BrokerPeer::start() {
  process_ =
      or_throw(peers::Process::start(command({"/usr/sbin/mosquitto", "-c", config_file_}, " running")));
}

void BrokerPeer::kill_at_once() {
  process_->kill();
}

void BrokerPeer::stop() {
  process_->stop();
}

BrokerSettings BrokerPeer::settings(MqttVersion version) const {
  BrokerSettings settings;
  settings.host = "127.0.0.1";
  settings.port = port_;
  settings.tls = options_.tls;
  settings.address = (options_.tls ? "mqtts://127.0.0.1:" : "mqtt://127.0.0.1:") + std::to_string(port_);
  settings.version = version;
  settings.user = options_.user;
  if (certificates_) settings.ca_file = certificates_->ca_file;
  if (!options_.password.empty()) settings.password = Secret(folder_.write("password", options_.password));
  return settings;
}

std::vector<std::string> BrokerPeer::publisher(const std::string& topic) const {
  std::vector<std::string> argv = {
      "mosquitto_pub", "-h", "127.0.0.1", "-p", std::to_string(port_), "-q", "1", "-t", topic};
  if (certificates_) argv.insert(argv.end(), {"--cafile", certificates_->ca_file});
  if (!options_.user.empty()) argv.insert(argv.end(), {"-u", options_.user, "-P", options_.password});
  return argv;
}

void BrokerPeer::publish(const std::string& topic, const std::string& payload,
                         const std::vector<std::string>& more) const {
  std::vector<std::string> argv = publisher(topic);
  argv.insert(argv.end(), {"-m", payload});
  argv.insert(argv.end(), more.begin(), more.end());
  auto publisher_process = or_throw(peers::Process::start(command(std::move(argv))));
  const int status = or_throw(publisher_process.wait_for_end(seconds(20)));
  if (status != 0) throw std::runtime_error("mosquitto_pub: " + publisher_process.output());
}

}  // namespace baskwell::intake
