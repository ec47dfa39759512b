#include "settings/finding.h"

#include <algorithm>
#include <utility>

namespace baskwell {

Finding about_file(const std::string& file, bool error, std::string what) {
  Finding finding;
  finding.at.file = file;
  finding.error = error;
  finding.what = std::move(what);
  return finding;
}

std::string text_of(const Finding& finding) {
  std::string text = finding.at.file + ':' + std::to_string(finding.at.line) + ':' +
                     std::to_string(finding.at.column) + (finding.error ? ": error: " : ": warning: ");
  if (!finding.key.empty()) text += finding.key + ": ";
  text += finding.what;
  if (!finding.allowed.empty()) text += ", allowed: " + finding.allowed;
  if (!finding.nearest.empty()) text += ", nearest: " + finding.nearest;
  // One finding is one line, whatever stands in the file.
  std::replace_if(
      text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x20U || c == 0x7f; },
      '?');
  return text;
}

bool is_at_or_under(std::string_view key, std::string_view parent) {
  if (key.substr(0, parent.size()) != parent) return false;
  return key.size() == parent.size() || key[parent.size()] == '.' || key[parent.size()] == '[';
}

bool has_errors(const std::vector<Finding>& findings) {
  return std::any_of(findings.begin(), findings.end(), [](const Finding& finding) { return finding.error; });
}

}  // namespace baskwell
