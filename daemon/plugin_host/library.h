#pragma once
// One plugin's shared object: found by name, loaded, its description checked before anything of it is used.
// A loaded library stays until the process ends: its functions may be running on a delivery thread, and
// libraries it brought along may have registered work for the exit. A changed plugin file therefore needs a
// restart. Errors: no such name, not loadable, another interface version, a description that makes no sense;
// all in words. Threads: load() from one thread at a time; a Description is read-only after that.

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "baskwell/plugin.h"
#include "core/result.h"

namespace baskwell::plugin_host {

// Where plugins are looked for, in this order.
using Folders = std::vector<std::filesystem::path>;

// "plugins" beside the folder of this program (<build>/plugins for <build>/bin/baskwell), then the install
// folder below this program's own prefix, then the one of the prefix that was configured.
[[nodiscard]] Folders default_folders();

// The folder above that of this program: /usr for /usr/bin/baskwell. "" when it cannot be told.
[[nodiscard]] std::filesystem::path program_prefix();

// Plugin names are [a-z0-9-]+, at most 40 characters, so that no path can be smuggled in.
[[nodiscard]] bool is_plugin_name(std::string_view name);

struct Setting {
  std::string key;
  std::string value;
};

// What a plugin says of itself, checked.
class Description {
 public:
  // Looks for NAME.so in `folders` and loads it.
  [[nodiscard]] static Result<Description> load(std::string_view name, const Folders& folders);

  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& version() const { return version_; }
  [[nodiscard]] const std::vector<std::string>& keys() const { return keys_; }
  // Whether `key` is one of keys(), or begins as one that ends in ".*".
  [[nodiscard]] bool understands(std::string_view key) const;
  // The first key it does not understand, in words with all that it does.
  [[nodiscard]] Outcome check_keys(const std::vector<Setting>& settings) const;

  [[nodiscard]] const bw_decoder* decoder() const { return plugin_->decoder; }
  [[nodiscard]] const bw_channel* channel() const { return plugin_->channel; }

 private:
  const bw_plugin* plugin_ = nullptr;
  std::string name_;
  std::string version_;
  std::vector<std::string> keys_;
};

// As the interface wants them; points into `settings`.
[[nodiscard]] std::vector<bw_setting> as_bw_settings(const std::vector<Setting>& settings);

// What a plugin wrote into a buffer of ours, as one line of valid UTF-8 without control characters.
[[nodiscard]] std::string one_line(const char* buffer, std::size_t size);

}  // namespace baskwell::plugin_host
