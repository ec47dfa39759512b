#pragma once
// Settings: TOML files -> a Room for core and the settings of the shell around it, checked as a whole. Every
// mistake of meaning is found at once, with file, line and column; of syntax, the first. Nothing here reads a
// clock or the environment; it reads the settings file, the care sheets that it uses and tzdata, and looks at
// (does not read) secret files. No exceptions leave. load_settings may be called from any thread, by one at a
// time; what it returns is plain values. Units are in the names.

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/room.h"
#include "core/units.h"
#include "settings/finding.h"
#include "settings/secret.h"

namespace baskwell {

// One key of a plugin's own settings. Lists come as the same key once an element, `header = {X = ...}` as
// "header.X", true and false as these words, numbers as written.
struct PluginSetting {
  std::string key;
  std::string value;  // "" where `secret` is given
  Secret secret;
  FilePosition at;  // for a finding of the plugin host: unknown key, refused value
};

enum class MqttVersion : std::uint8_t { v3_1_1, v5 };

struct BrokerSettings {
  std::string address;  // as written: "mqtt://host:port" or "mqtts://host:port"
  std::string host;     // without brackets where it is an IPv6 address
  std::uint16_t port = 1883;
  bool tls = false;
  MqttVersion version = MqttVersion::v5;
  std::string user;  // "": none
  Secret password;
  std::string ca_file;  // "": the system's
  std::string client_id = "baskwell";
  int keep_alive_s = 30;
};

// One quantity that a source's payloads carry.
struct SourceChannel {
  Index channel = none;  // of room.channels
  std::string pointer;   // in the payload; "" for the whole payload
  Unit unit = Unit::degc;
};

// One topic (or pattern of topics) of an instrument and what its payloads carry.
struct ProbeSource {
  Index instrument = none;  // of room.instruments
  // What to subscribe to: `+` stands where the settings take an id from the topic, so that many sources share
  // one filter. Equal filters are one subscription.
  std::string filter;
  // What this source's messages come on: ids filled in. May hold `+` and a last `#` where the keeper wrote
  // them. A topic that fits `filter` and no source's `topic` is an id that the settings do not know.
  std::string topic;
  std::string decoder = "plain";  // plugin name
  std::vector<PluginSetting> decoder_settings;
  std::string time_pointer;  // the payload's own time; "": it has none
  bool keep_queued = false;  // in a persistent session: the broker keeps messages while we are away
  std::vector<SourceChannel> channels;
  FilePosition at;  // of the instrument, for a finding of the plugin host
};

// A topic on which instruments say by a last will whether they are there.
struct PresenceSource {
  std::string topic;
  std::string online = "online";
  std::string offline = "offline";
  std::vector<Index> instruments;
};

// A way to reach people: a channel plugin and its settings.
struct ChannelSettings {
  std::string id;    // "mail"; as in room.delivery_channels and PersonChannel::channel
  std::string kind;  // plugin name: "email"
  std::vector<PluginSetting> settings;
  std::uint32_t timeout_ms = 20'000;  // one delivery
  FilePosition at;
};

struct StoreSettings {
  std::filesystem::path path = "/var/lib/baskwell/baskwell.db";
  std::int64_t commit_interval_ms = 1000;
};

enum class LogLevel : std::uint8_t { debug, info, warning, error };

// A file as it was read, for the store's settings versions. Never holds a secret: these cannot be written
// inline.
struct FileText {
  std::filesystem::path path;
  std::string text;
};

struct Settings {
  Room room;
  BrokerSettings broker;
  std::vector<ProbeSource> probes;
  std::vector<PresenceSource> presences;
  std::vector<ChannelSettings> channels;  // same order as room.delivery_channels
  StoreSettings store;
  std::filesystem::path socket = "/run/baskwell/baskwell.sock";
  std::vector<std::filesystem::path> plugin_folders;  // searched in this order, before the installed one
  LogLevel log_level = LogLevel::info;
  std::vector<FileText> files;  // the settings file first, then the care sheets used
};

// What load_settings is told by the shell instead of looking for it.
struct LoadOptions {
  std::filesystem::path installed_care = "/usr/share/baskwell/care";  // when no `care` lies beside the file
  std::filesystem::path credentials_folder;  // $CREDENTIALS_DIRECTORY; "": not run by systemd
};

struct LoadOutcome {
  std::optional<Settings> settings;  // empty when there is any error
  std::vector<Finding> findings;     // in the order of file and line
};

[[nodiscard]] LoadOutcome load_settings(const std::filesystem::path& file, const LoadOptions& options = {});

// Alarm kinds that an enclosure cannot have, and why, in words a keeper can act on.
struct MissingAlarm {
  AlarmKind kind;
  std::string zone;  // "hot"; "" for the whole enclosure
  std::string why;   // "no temperature probe at the cool end"
};
struct EnclosureCapability {
  Index enclosure = none;
  bool empty = false;  // no animal is ever said to live in it, and it has no bands of its own
  std::vector<MissingAlarm> missing;
};
// One entry for every enclosure that lacks something, in the room's order. `at`: placements and occupancies
// of that moment count.
[[nodiscard]] std::vector<EnclosureCapability> capabilities(const Settings& settings, UtcMs at);

}  // namespace baskwell
