#pragma once
// MQTT topics and filters as settings write them (MQTT 5.0 section 4.7). Pure.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace baskwell::settings {

inline constexpr std::size_t longest_topic = 1000;  // MQTT allows 65535 bytes; nobody's room needs them
inline constexpr const char* topic_rule = "a topic as \"room/shelf-1/hot\"";
inline constexpr const char* filter_rule =
    "a topic as \"room/shelf-1/hot\", + or {enclosure} for one whole level, # for the last levels";

// What is wrong with a topic without wildcards, in words; "" when nothing is.
[[nodiscard]] std::string topic_mistake(std::string_view topic);
// The same for a filter, where + and # are allowed.
[[nodiscard]] std::string filter_mistake(std::string_view filter);
// Some topic fits both filters.
[[nodiscard]] bool filters_overlap(std::string_view a, std::string_view b);
[[nodiscard]] bool has_wildcard(std::string_view filter);
// What stands for a mark in this place: "{tub}" for "7".
using Marks = std::vector<std::pair<std::string, std::string>>;
[[nodiscard]] std::string with_marks(std::string text, const Marks& marks);
// The filter to subscribe to: a level that is an id becomes +.
[[nodiscard]] std::string as_filter(std::string topic, const Marks& marks);
// Every `mark` ("{tub}") becomes `value`.
[[nodiscard]] std::string replaced(std::string text, std::string_view mark, std::string_view value);
// `mark` stands in the topic and each time is one whole level of it.
[[nodiscard]] bool is_whole_level(std::string_view topic, std::string_view mark);

}  // namespace baskwell::settings
