#include "settings_folder.h"

#include <cstdlib>
#include <fstream>
#include <iterator>

#include "core/check.h"

namespace baskwell::settings_test {

const char* const good_room =
    "[room]\n"
    "time_zone = \"Europe/London\"\n"
    "[enclosures]\n"
    "shelf = {}\n"
    "[animals]\n"
    "juniper = { species = \"royal-python\", enclosure = \"shelf\" }\n"
    "[channels]\n"
    "mail = { kind = \"email\" }\n"
    "[people]\n"
    "rowan = { channels = [{ channel = \"mail\", address = \"rowan@example.org\" }] }\n";

SettingsFolder::SettingsFolder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "baskwell-settings-XXXXXX").string();
  CHECK(::mkdtemp(pattern.data()) != nullptr);
  path_ = pattern;
}

SettingsFolder::~SettingsFolder() {
  std::error_code trouble;
  std::filesystem::remove_all(path_, trouble);
}

std::filesystem::path SettingsFolder::write(const std::string& name, const std::string& text,
                                            bool private_file) const {
  std::filesystem::path file = path_ / name;
  std::filesystem::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
  using std::filesystem::perms;
  const perms owner = perms::owner_read | perms::owner_write;
  std::filesystem::permissions(file, private_file ? owner : owner | perms::group_read | perms::others_read);
  return file;
}

LoadOutcome SettingsFolder::load(const std::string& text) const {
  LoadOptions options;
  options.installed_care = std::filesystem::path(BASKWELL_CONFIG_DIR) / "care";
  return load(text, options);
}

LoadOutcome SettingsFolder::load(const std::string& text, const LoadOptions& options) const {
  return load_settings(write("room.toml", text), options);
}

std::vector<std::string> SettingsFolder::lines(const LoadOutcome& outcome) const {
  std::vector<std::string> all;
  const std::string prefix = path_.string() + '/';
  for (const Finding& finding : outcome.findings) {
    std::string line = text_of(finding);
    for (std::size_t at = line.find(prefix); at != std::string::npos; at = line.find(prefix))
      line.erase(at, prefix.size());
    all.push_back(std::move(line));
  }
  return all;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t at = 1; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

std::string text_of_file(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

}  // namespace baskwell::settings_test
