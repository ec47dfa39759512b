// [broker], [store], [service]: what the shell around core needs.

#include <charconv>

#include "settings/draft.h"
#include "settings/topic.h"

namespace baskwell::settings {
namespace {

constexpr const char* address_form = "mqtt://HOST:PORT or mqtts://HOST:PORT";

// Takes the address apart; false when it is none. Never quotes it: it may hold what it must not.
bool read_address(const std::string& address, BrokerSettings& broker) {
  std::string_view rest = address;
  const auto begins = [&](std::string_view scheme) {
    if (rest.substr(0, scheme.size()) != scheme) return false;
    rest.remove_prefix(scheme.size());
    return true;
  };
  broker.tls = begins("mqtts://");
  if (!broker.tls && !begins("mqtt://")) return false;
  broker.port = broker.tls ? 8883 : 1883;  // as registered with IANA for mqtt and secure-mqtt
  std::string_view host = rest.substr(0, rest.find_last_of(':'));
  std::string_view port;
  if (!rest.empty() && rest.front() == '[') {
    const std::size_t close = rest.find(']');
    if (close == std::string_view::npos) return false;
    host = rest.substr(1, close - 1);
    port = rest.substr(close + 1);
  } else {
    port = rest.substr(host.size());
    if (host.find(':') != std::string_view::npos) return false;
  }
  if (!port.empty()) {
    const auto [end, trouble] = std::from_chars(port.data() + 1, port.data() + port.size(), broker.port);
    if (port.front() != ':' || trouble != std::errc{} || end != port.data() + port.size() || broker.port == 0)
      return false;
  }
  if (host.empty() || host.find_first_of("@/?# ") != std::string_view::npos) return false;
  broker.host = host;
  broker.address = address;
  return true;
}

bool is_this_machine(const std::string& host) {
  return host == "localhost" || host == "::1" || host.compare(0, 4, "127.") == 0;
}

void read_identity(Draft& draft, TableReader& reader) {
  BrokerSettings& broker = draft.settings.broker;
  const bool address_known = !draft.report.has_error_at(reader.key_of("address"));
  broker.user = reader.text("user").value_or("");
  if (const Value* password = reader.find("password")) {
    broker.password = read_secret(draft, *password, reader.key_of("password"));
    // MQTT 3.1.1, 3.1.2.8: without a user name there must be no password (from memory).
    if (broker.user.empty() && !reader.has("user") && broker.version == MqttVersion::v3_1_1)
      reader.wrong("password", "needs a user with MQTT 3.1.1", "user = \"NAME\"");
    if (address_known && !broker.tls && !is_this_machine(broker.host))
      reader.doubt("password", "goes over the network in the clear", "an mqtts:// address");
  }
  if (const auto ca_file = reader.text("ca_file", 4096)) {
    const std::filesystem::path path = draft.path_of(*ca_file);
    broker.ca_file = path.string();
    std::error_code trouble;
    if (!std::filesystem::is_regular_file(path, trouble))
      reader.wrong("ca_file", "there is no file " + path.string());
    if (address_known && !broker.tls)
      reader.doubt("ca_file", "is not used without TLS", "an mqtts:// address");
  }
}

}  // namespace

std::optional<PresenceSource> read_presence(TableReader& reader, const Marks& marks) {
  const Value* value = reader.find("presence");
  if (value == nullptr) return std::nullopt;
  PresenceSource presence;
  if (value->kind == ValueKind::text) {
    presence.topic = with_marks(value->text, marks);
    if (const std::string what = topic_mistake(presence.topic); !what.empty()) {
      reader.wrong("presence", what, topic_rule);
      return std::nullopt;
    }
    return presence;
  }
  auto table = reader.table("presence");
  if (!table) return std::nullopt;
  const auto topic = table->text("topic", longest_topic);
  if (!table->has("topic")) table->missing("topic");
  presence.online = table->text("online").value_or(presence.online);
  presence.offline = table->text("offline").value_or(presence.offline);
  if (presence.online == presence.offline) table->wrong("offline", "is the same as online", "another text");
  table->finish();
  if (!topic) return std::nullopt;
  presence.topic = with_marks(*topic, marks);
  if (const std::string what = topic_mistake(presence.topic); !what.empty()) {
    table->wrong("topic", what, topic_rule);
    return std::nullopt;
  }
  return presence;
}

void read_broker(Draft& draft, TableReader& root) {
  BrokerSettings& broker = draft.settings.broker;
  read_address("mqtt://localhost:1883", broker);
  auto reader = root.table("broker");
  if (!reader) return;
  if (const auto address = reader->text("address", 300)) {
    if (!read_address(*address, broker)) reader->wrong("address", "is no broker's address", address_form);
  } else if (!reader->has("address")) {
    reader->missing("address", address_form);
  }
  const Value* version = reader->find("version");
  if (version != nullptr) {
    if (version->text == "3.1.1" && version->kind == ValueKind::text) {
      broker.version = MqttVersion::v3_1_1;
    } else if (version->text != "5") {  // 5 and "5" both
      reader->wrong("version", "is no version of MQTT that this speaks", "5 or \"3.1.1\"");
    }
  }
  read_identity(draft, *reader);
  broker.client_id = reader->text("client_id", 100).value_or(broker.client_id);
  if (const auto keep_alive_ms = reader->duration_ms("keep_alive", 5 * second_ms, hour_ms))
    broker.keep_alive_s = static_cast<int>(*keep_alive_ms / second_ms);
  draft.common_presence = read_presence(*reader, {});
  reader->finish();
}

void read_service(Draft& draft, TableReader& root) {
  Settings& settings = draft.settings;
  if (auto store = root.table("store")) {
    if (const auto path = store->text("path", 4096)) settings.store.path = draft.path_of(*path);
    if (const auto interval_ms = store->duration_ms("commit_interval", 100, 10 * second_ms))
      settings.store.commit_interval_ms = *interval_ms;
    store->finish();
  }
  if (auto service = root.table("service")) {
    // sockaddr_un holds 108 bytes with the end mark (from memory: unix(7)).
    if (const auto path = service->text("socket", 4096)) {
      settings.socket = draft.path_of(*path);
      if (settings.socket.string().size() > 107)
        service->wrong("socket", "is too long a path", "at most 107 bytes");
    }
    for (const TableReader::Item& folder : service->texts("plugins")) {
      const std::filesystem::path path = draft.path_of(folder.text);
      std::error_code trouble;
      if (folder.text.empty() || !std::filesystem::is_directory(path, trouble))
        draft.report.error(folder.at, folder.key, "there is no folder " + path.string());
      settings.plugin_folders.push_back(path);
    }
    static const std::vector<std::string> levels{"debug", "info", "warning", "error"};
    if (const auto level = service->one_of("log", levels)) settings.log_level = static_cast<LogLevel>(*level);
    service->finish();
  }
}

}  // namespace baskwell::settings
