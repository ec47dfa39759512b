#include "settings/topic.h"

#include <optional>
#include <vector>

namespace baskwell::settings {
namespace {

std::vector<std::string_view> levels_of(std::string_view topic) {
  std::vector<std::string_view> levels;
  while (true) {
    const std::size_t slash = topic.find('/');
    levels.push_back(topic.substr(0, slash));
    if (slash == std::string_view::npos) return levels;
    topic.remove_prefix(slash + 1);
  }
}

std::string common_mistake(std::string_view topic) {
  if (topic.empty()) return "is empty";
  if (topic.size() > longest_topic) return "is too long";
  for (const char c : topic) {
    if (static_cast<unsigned char>(c) < 0x20U || c == 0x7f) return "has a control character";
  }
  if (topic.find_first_of("{}") != std::string_view::npos)
    return "has a mark in braces that means nothing here";
  return "";
}

}  // namespace

std::string topic_mistake(std::string_view topic) {
  if (has_wildcard(topic)) return "has a wildcard";
  return common_mistake(topic);
}

std::string filter_mistake(std::string_view filter) {
  if (std::string mistake = common_mistake(filter); !mistake.empty()) return mistake;
  const std::vector<std::string_view> levels = levels_of(filter);
  for (std::size_t i = 0; i < levels.size(); ++i) {
    if (levels[i].size() > 1 && has_wildcard(levels[i])) return "has a wildcard inside a level";
    if (levels[i] == "#" && i + 1 != levels.size()) return "has a # before its last level";
  }
  return "";
}

bool filters_overlap(std::string_view a, std::string_view b) {
  const std::vector<std::string_view> left = levels_of(a);
  const std::vector<std::string_view> right = levels_of(b);
  for (std::size_t i = 0;; ++i) {
    const bool left_rest = i < left.size() && left[i] == "#";
    const bool right_rest = i < right.size() && right[i] == "#";
    if (left_rest || right_rest) return true;  // # also fits no further level at all
    if (i == left.size() || i == right.size()) {
      const auto& longer = left.size() > right.size() ? left : right;
      return left.size() == right.size() || (longer.size() == i + 1 && longer[i] == "#");
    }
    if (left[i] != "+" && right[i] != "+" && left[i] != right[i]) return false;
  }
}

bool has_wildcard(std::string_view filter) {
  return filter.find_first_of("+#") != std::string_view::npos;
}

std::string replaced(std::string text, std::string_view mark, std::string_view value) {
  for (std::size_t at = text.find(mark); at != std::string::npos; at = text.find(mark, at + value.size()))
    text.replace(at, mark.size(), value);
  return text;
}

std::string with_marks(std::string text, const Marks& marks) {
  for (const auto& [mark, value] : marks) text = replaced(std::move(text), mark, value);
  return text;
}

std::string as_filter(std::string topic, const Marks& marks) {
  for (const auto& mark : marks) topic = replaced(std::move(topic), mark.first, "+");
  return topic;
}

bool is_whole_level(std::string_view topic, std::string_view mark) {
  bool found = false;
  for (const std::string_view level : levels_of(topic)) {
    if (level.find(mark) == std::string_view::npos) continue;
    if (level != mark) return false;
    found = true;
  }
  return found;
}

}  // namespace baskwell::settings
