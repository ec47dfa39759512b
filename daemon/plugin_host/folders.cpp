#include <algorithm>

#include "plugin_host/library.h"

namespace baskwell::plugin_host {

std::filesystem::path program_prefix() {
  std::error_code failed;
  const std::filesystem::path program = std::filesystem::read_symlink("/proc/self/exe", failed);
  return failed ? std::filesystem::path() : program.parent_path().parent_path();
}

Folders default_folders() {
  Folders folders;
  if (const std::filesystem::path prefix = program_prefix(); !prefix.empty()) {
    folders.push_back(prefix / "plugins");
    folders.push_back(prefix / BASKWELL_PLUGIN_FOLDER_BELOW);
  }
  const std::filesystem::path configured = BASKWELL_PLUGIN_INSTALL_FOLDER;
  if (folders.empty() || folders.back() != configured) folders.push_back(configured);
  return folders;
}

bool is_plugin_name(std::string_view name) {
  constexpr std::size_t length_max = 40;
  return !name.empty() && name.size() <= length_max && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

}  // namespace baskwell::plugin_host
