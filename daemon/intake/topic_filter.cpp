#include "intake/topic_filter.h"

namespace baskwell::intake {

bool matches(std::string_view filter, std::string_view topic) {
  // Section 4.7.2: wildcards at the front leave out the names that the server keeps for itself.
  if (topic.starts_with('$') && (filter.starts_with('+') || filter.starts_with('#'))) return false;
  Levels wanted(filter);
  Levels present(topic);
  while (const auto pattern = wanted.next()) {
    if (*pattern == "#") return true;  // takes in the parent level too: present may be at its end
    const auto level = present.next();
    if (!level) return false;
    if (*pattern != "+" && *pattern != *level) return false;
  }
  return !present.next();
}

bool valid_filter(std::string_view filter) {
  if (filter.empty() || filter.size() > 65535 || filter.find('\0') != std::string_view::npos) return false;
  Levels levels(filter);
  bool ended = false;
  while (const auto level = levels.next()) {
    if (ended) return false;
    ended = *level == "#";
    const bool wildcard = *level == "+" || *level == "#";
    if (!wildcard && level->find_first_of("+#") != std::string_view::npos) return false;
  }
  return true;
}

bool has_wildcard(std::string_view filter) {
  return filter.find_first_of("+#") != std::string_view::npos;
}

}  // namespace baskwell::intake
