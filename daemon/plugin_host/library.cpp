#include "plugin_host/library.h"

#include <dlfcn.h>

#include <algorithm>
#include <array>
#include <cstring>

namespace baskwell::plugin_host {
namespace {

constexpr std::size_t keys_max = 1000;  // a list that was not terminated ends here rather than in a crash
constexpr std::size_t text_bytes_max = 200;  // of a name, version or key

std::string last_dl_error() {
  const char* text = ::dlerror();  // NOLINT(concurrency-mt-unsafe): thread-local in glibc
  return text != nullptr ? text : "unknown cause";
}

std::string bounded(const char* text) {
  return {text, ::strnlen(text, text_bytes_max)};
}

// The answer of the library's entry point to our interface version; nullptr for a refusal.
Result<const bw_plugin*> ask(void* library, const std::string& file) {
  void* symbol = ::dlsym(library, BASKWELL_PLUGIN_SYMBOL);
  if (symbol == nullptr)
    return Error{file + ": not a Baskwell plugin: it exports no " BASKWELL_PLUGIN_SYMBOL};
  const auto entry = reinterpret_cast<bw_plugin_entry>(symbol);
  const bw_plugin* plugin = nullptr;
  try {
    plugin = entry(BASKWELL_PLUGIN_INTERFACE);
  } catch (...) {
    return Error{file + ": threw an exception when asked what it is"};
  }
  const std::string ours = std::to_string(BASKWELL_PLUGIN_INTERFACE);
  if (plugin == nullptr) {
    return Error{file + ": made for another version of the plugin interface; this program speaks version " +
                 ours};
  }
  if (plugin->interface_version != BASKWELL_PLUGIN_INTERFACE) {
    return Error{file + ": made for version " + std::to_string(plugin->interface_version) +
                 " of the plugin interface; this program speaks version " + ours};
  }
  return plugin;
}

// What is wrong with the description, nullptr if nothing is.
const char* fault_of(const bw_plugin& plugin, std::string_view name) {
  if (plugin.name == nullptr || plugin.version == nullptr || plugin.keys == nullptr) {
    return "its description has no name, version or keys";
  }
  if (bounded(plugin.name) != name) return "it calls itself by another name than its file";
  if ((plugin.decoder != nullptr) == (plugin.channel != nullptr)) {
    return "it must be either a decoder or a channel";
  }
  const bw_decoder* decoder = plugin.decoder;
  if (decoder != nullptr &&
      (decoder->open == nullptr || decoder->close == nullptr || decoder->decode == nullptr)) {
    return "a function of its decoder is missing";
  }
  const bw_channel* channel = plugin.channel;
  if (channel != nullptr &&
      (channel->open == nullptr || channel->close == nullptr || channel->deliver == nullptr)) {
    return "a function of its channel is missing";
  }
  return nullptr;
}

bool matches(std::string_view pattern, std::string_view key) {
  if (!pattern.ends_with(".*")) return pattern == key;
  pattern.remove_suffix(1);
  return key.starts_with(pattern) && key.size() > pattern.size();
}

// Length of the valid UTF-8 sequence at the start of `text`, 0 if there is none (RFC 3629: no overlong forms,
// no surrogates, nothing above U+10FFFF).
std::size_t utf8_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80U) return 1;
  const std::size_t length = lead >= 0xF0U ? 4 : lead >= 0xE0U ? 3 : 2;
  if (lead < 0xC2U || lead > 0xF4U || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0U) != 0x80U) return 0;
  }
  const unsigned char second = byte(1);
  if (lead == 0xE0U && second < 0xA0U) return 0;
  if (lead == 0xEDU && second > 0x9FU) return 0;
  if (lead == 0xF0U && second < 0x90U) return 0;
  if (lead == 0xF4U && second > 0x8FU) return 0;
  return length;
}

}  // namespace

Result<Description> Description::load(std::string_view name, const Folders& folders) {
  if (!is_plugin_name(name)) {
    return Error{"'" + one_line(name.data(), name.size()) +
                 "' is not a plugin name: small letters, digits and '-' are allowed"};
  }
  for (const std::filesystem::path& folder : folders) {
    const std::string file = (folder / (std::string(name) + ".so")).string();
    std::error_code ignored;
    if (!std::filesystem::exists(file, ignored)) continue;
    void* library = ::dlopen(file.c_str(), RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    if (library == nullptr) return Error{"cannot load the plugin: " + last_dl_error()};
    const Result<const bw_plugin*> plugin = ask(library, file);
    if (!plugin) return plugin.error();
    if (const char* fault = fault_of(*plugin.value(), name); fault != nullptr)
      return Error{file + ": " + fault};
    Description description;
    description.plugin_ = plugin.value();
    description.name_ = name;
    description.version_ = bounded(plugin.value()->version);
    for (std::size_t i = 0; i < keys_max && plugin.value()->keys[i] != nullptr; ++i) {
      description.keys_.push_back(bounded(plugin.value()->keys[i]));
    }
    return description;
  }
  std::string looked_in;
  for (const std::filesystem::path& folder : folders)
    looked_in += (looked_in.empty() ? "" : ", ") + folder.string();
  return Error{"no plugin named '" + std::string(name) + "' in " + looked_in};
}

bool Description::understands(std::string_view key) const {
  return std::any_of(keys_.begin(), keys_.end(),
                     [&](const std::string& known) { return matches(known, key); });
}

Outcome Description::check_keys(const std::vector<Setting>& settings) const {
  for (const Setting& setting : settings) {
    if (understands(setting.key)) continue;
    std::string known;
    for (const std::string& key : keys_) known += (known.empty() ? "" : ", ") + key;
    return Error{name_ + ": unknown key '" + one_line(setting.key.data(), setting.key.size()) + "'; " +
                 (known.empty() ? "it takes none" : "known: " + known)};
  }
  return Done{};
}

std::vector<bw_setting> as_bw_settings(const std::vector<Setting>& settings) {
  std::vector<bw_setting> result;
  result.reserve(settings.size());
  for (const Setting& setting : settings) result.push_back({setting.key.c_str(), setting.value.c_str()});
  return result;
}

std::string one_line(const char* buffer, std::size_t size) {
  std::string_view text(buffer, ::strnlen(buffer, size));
  std::string line;
  while (!text.empty()) {
    const std::size_t length = utf8_length(text);
    const char c = text[0];
    if (length == 0) {
      line.push_back('?');
    } else if (length == 1) {
      line.push_back(static_cast<unsigned char>(c) < 0x20U || c == 0x7F ? ' ' : c);
    } else {
      line.append(text.substr(0, length));
    }
    text.remove_prefix(std::max<std::size_t>(length, 1));
  }
  while (!line.empty() && line.back() == ' ') line.pop_back();
  return line;
}

}  // namespace baskwell::plugin_host
