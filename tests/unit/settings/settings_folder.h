#pragma once
// A folder of its own under the system's temporary folder, for one test: settings and secret files are
// written into it, and it goes with the object. Findings name files relative to it.

#include <filesystem>
#include <string>
#include <vector>

#include "settings/settings.h"

namespace baskwell::settings_test {

class SettingsFolder {
 public:
  SettingsFolder();
  ~SettingsFolder();
  SettingsFolder(const SettingsFolder&) = delete;
  SettingsFolder& operator=(const SettingsFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  std::filesystem::path write(const std::string& name, const std::string& text,
                              bool private_file = false) const;
  // room.toml with this text, loaded; the project's care sheets are the installed ones.
  [[nodiscard]] LoadOutcome load(const std::string& text) const;
  [[nodiscard]] LoadOutcome load(const std::string& text, const LoadOptions& options) const;
  // The findings as printed, without the folder's path.
  [[nodiscard]] std::vector<std::string> lines(const LoadOutcome& outcome) const;
  [[nodiscard]] std::vector<std::string> findings(const std::string& text) const { return lines(load(text)); }

 private:
  std::filesystem::path path_;
};

[[nodiscard]] std::string text_of_file(const std::filesystem::path& file);

// The lines of a raw text that begins and ends with a line break.
[[nodiscard]] std::vector<std::string> lines_of(const std::string& text);

// A room in which nothing is wrong or doubtful: ten lines, so that a test's own begin at line 11.
extern const char* const good_room;

}  // namespace baskwell::settings_test
