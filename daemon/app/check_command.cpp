#include "app/check_command.h"

#include <algorithm>
#include <ostream>
#include <string>
#include <utility>
#include <vector>

#include "app/people.h"
#include "plugin_host/channel.h"
#include "plugin_host/decoder.h"
#include "plugin_host/library.h"

namespace baskwell {
namespace {

Finding finding_at(const FilePosition& at, std::string key, std::string what) {
  Finding finding;
  finding.at = at;
  finding.key = std::move(key);
  finding.what = std::move(what);
  return finding;
}

// Keys of a plugin's settings that the plugin does not know.
void check_keys(const plugin_host::Description& about, const std::vector<PluginSetting>& settings,
                const std::string& key, std::vector<Finding>& findings) {
  for (const PluginSetting& setting : settings) {
    if (about.understands(setting.key)) continue;
    Finding finding =
        finding_at(setting.at, key + "." + setting.key, "the plugin '" + about.name() + "' has no such key");
    for (const std::string& known : about.keys())
      finding.allowed += (finding.allowed.empty() ? "" : ", ") + known;
    findings.push_back(std::move(finding));
  }
}

// Opening a channel reaches nobody; it is where the plugin looks at the values it was given.
void check_channel(const ChannelSettings& channel, const plugin_host::Folders& folders,
                   std::vector<Finding>& findings) {
  const std::string key = "channels." + channel.id;
  auto plugin = plugin_host::ChannelPlugin::load(channel.kind, folders);
  if (!plugin) {
    findings.push_back(finding_at(channel.at, key + ".kind", plugin.error().text));
    return;
  }
  const std::size_t before = findings.size();
  check_keys(plugin.value().about(), channel.settings, key, findings);
  if (findings.size() > before) return;
  auto plugin_settings = resolved(channel.settings);
  if (!plugin_settings) {
    findings.push_back(finding_at(channel.at, key, plugin_settings.error().text));
    return;
  }
  if (auto opened = plugin.value().open(plugin_settings.value()); !opened) {
    findings.push_back(finding_at(channel.at, key, opened.error().text));
  }
}

void check_source(const ProbeSource& probe, const Room& room, const plugin_host::Folders& folders,
                  std::vector<Finding>& findings) {
  const std::string key = "instruments." + room.instruments[probe.instrument].id;
  auto plugin = plugin_host::DecoderPlugin::load(probe.decoder, folders);
  if (!plugin) {
    findings.push_back(finding_at(probe.at, key + ".decoder", plugin.error().text));
    return;
  }
  const std::size_t before = findings.size();
  check_keys(plugin.value().about(), probe.decoder_settings, key, findings);
  auto extra = resolved(probe.decoder_settings);
  if (findings.size() > before || !extra) return;
  plugin_host::DecoderSettings wanted;
  for (const SourceChannel& channel : probe.channels) {
    wanted.wanted.push_back({channel.pointer, static_cast<bw_unit>(channel.unit)});
  }
  if (!probe.time_pointer.empty()) wanted.time_pointer = probe.time_pointer;
  wanted.extra = std::move(extra).value();
  if (auto opened = plugin.value().open(wanted); !opened) {
    findings.push_back(finding_at(probe.at, key, opened.error().text));
  }
}

void check_plugins(const Settings& settings, std::vector<Finding>& findings) {
  const plugin_host::Folders folders = plugin_folders(settings);
  for (const ChannelSettings& channel : settings.channels) check_channel(channel, folders, findings);
  for (const ProbeSource& probe : settings.probes) check_source(probe, settings.room, folders, findings);
}

std::string words_of(const EnclosureCapability& one) {
  if (one.empty) return "    nobody lives here: no band is checked\n";
  std::string words;
  for (const MissingAlarm& missing : one.missing) {
    words += "    " + std::string(row_of(missing.kind).name) +
             (missing.zone.empty() ? "" : " (" + missing.zone + ")") + ": " + missing.why + "\n";
  }
  return words;
}

// Enclosures that lack the same, such as the tubs of a rack, are told together.
void print_missing(const Settings& settings, UtcMs now, std::ostream& out) {
  std::vector<std::pair<std::string, std::string>> groups;  // what is missing, where
  for (const EnclosureCapability& one : capabilities(settings, now)) {
    const std::string& id = settings.room.enclosures[one.enclosure].id;
    std::string words = words_of(one);
    const auto same =
        std::find_if(groups.begin(), groups.end(), [&](const auto& group) { return group.first == words; });
    if (same == groups.end()) {
      groups.emplace_back(std::move(words), id);
    } else {
      same->second += ", " + id;
    }
  }
  if (groups.empty()) return;
  out << "\nAlarms that cannot come for want of a probe:\n";
  for (const auto& [words, where] : groups) out << "  " << where << "\n" << words;
}

}  // namespace

int check_settings(const std::filesystem::path& file, const LoadOptions& options, UtcMs now,
                   std::ostream& out) {
  LoadOutcome loaded = load_settings(file, options);
  if (loaded.settings) check_plugins(*loaded.settings, loaded.findings);
  std::size_t errors = 0;
  for (const Finding& finding : loaded.findings) {
    out << text_of(finding) << "\n";
    errors += finding.error ? 1 : 0;
  }
  const std::size_t warnings = loaded.findings.size() - errors;
  if (loaded.settings) {
    const Room& room = loaded.settings->room;
    out << (loaded.findings.empty() ? "" : "\n") << file.string() << ": " << room.enclosures.size()
        << " enclosures, " << room.animals.size() << " animals, " << room.channels.size() << " channels, "
        << room.people.size() << " people\n";
    print_missing(*loaded.settings, now, out);
  }
  out << "\n"
      << errors << (errors == 1 ? " error, " : " errors, ") << warnings
      << (warnings == 1 ? " warning\n" : " warnings\n");
  return errors == 0 ? 0 : 1;
}

}  // namespace baskwell
