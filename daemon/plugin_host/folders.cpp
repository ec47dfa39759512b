#include <algorithm>

#include "plugin_host/library.h"

namespace baskwell::plugin_host {

Folders default_folders() {
  Folders folders;
  std::error_code failed;
  const std::filesystem::path program = std::filesystem::read_symlink("/proc/self/exe", failed);
  if (!failed) folders.push_back(program.parent_path().parent_path() / "plugins");
  folders.emplace_back(BASKWELL_PLUGIN_INSTALL_FOLDER);
  return folders;
}

bool is_plugin_name(std::string_view name) {
  constexpr std::size_t length_max = 40;
  return !name.empty() && name.size() <= length_max && std::all_of(name.begin(), name.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

}  // namespace baskwell::plugin_host
