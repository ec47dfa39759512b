#pragma once
// Topic names and topic filters as MQTT has them (OASIS MQTT Version 5.0, section 4.7; the same rules as
// 3.1.1, section 4.7). Pure; no allocation.

#include <cstddef>
#include <optional>
#include <string_view>

namespace baskwell::intake {

// Whether a filter ("a/+/c", "a/#") takes in a topic name ("a/b/c"). Names that begin with '$' are not taken
// in by filters that begin with a wildcard.
[[nodiscard]] bool matches(std::string_view filter, std::string_view topic);

// Not empty, at most 65,535 bytes, no NUL; '+' alone in its level, '#' alone in the last.
[[nodiscard]] bool valid_filter(std::string_view filter);

[[nodiscard]] bool has_wildcard(std::string_view filter);

// The level that starts at `position`, which moves behind the '/' that ends it; nothing after the last level.
// "a//b" has three levels, "/" two, both empty.
class Levels {
 public:
  explicit Levels(std::string_view text) : text_(text) {}
  [[nodiscard]] std::optional<std::string_view> next() {
    if (position_ > text_.size()) return std::nullopt;
    const std::size_t slash = text_.find('/', position_);
    const std::size_t end = slash == std::string_view::npos ? text_.size() : slash;
    const std::string_view level = text_.substr(position_, end - position_);
    position_ = end + 1;
    return level;
  }

 private:
  std::string_view text_;
  std::size_t position_ = 0;
};

}  // namespace baskwell::intake
