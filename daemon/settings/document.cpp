#include "settings/document.h"

#include <toml++/toml.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <string_view>

#include "core/climate/zone_rules.h"

namespace baskwell::settings {
namespace {

constexpr std::size_t largest_file = 1 << 20;

Place place_of(const toml::source_position& position) {
  return {static_cast<std::uint32_t>(position.line), static_cast<std::uint32_t>(position.column)};
}

// The characters [begin, end) of one line of the file; columns count characters, not bytes.
std::string slice(const std::vector<std::string_view>& lines, const toml::source_region& region) {
  if (region.begin.line != region.end.line || region.begin.line == 0 || region.begin.line > lines.size())
    return "";
  const std::string_view line = lines[region.begin.line - 1];
  std::string text;
  std::uint32_t column = 0;
  for (const char byte : line) {
    const bool begins_character = (static_cast<unsigned char>(byte) & 0xc0U) != 0x80U;
    if (begins_character) ++column;
    if (column >= region.begin.column && column < region.end.column) text += byte;
  }
  return text;
}

std::int64_t day_of(const toml::date& date) {
  return days_from_civil(
      {static_cast<int>(date.year), static_cast<int>(date.month), static_cast<int>(date.day)});
}

std::int64_t time_of_day_ms(const toml::time& time) {
  return time.hour * hour_ms + time.minute * minute_ms + time.second * second_ms +
         static_cast<std::int64_t>(time.nanosecond / 1'000'000);
}

class Converter {
 public:
  explicit Converter(std::string_view text) {
    while (!text.empty()) {
      const std::size_t end = text.find('\n');
      lines_.push_back(text.substr(0, end));
      text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    }
  }

  // The TOML library bounds how deep tables and lists may lie in each other, so this recursion is bounded
  // too. NOLINTNEXTLINE(misc-no-recursion)
  Value table(const toml::table& from) const {
    Value to;
    to.kind = ValueKind::table;
    to.at = place_of(from.source().begin);
    for (const auto& [key, node] : from) {
      to.members.push_back({std::string(key.str()), place_of(key.source().begin), value(node)});
    }
    // The library sorts by name; people and permanent orders go by the file.
    std::stable_sort(to.members.begin(), to.members.end(), [](const Member& a, const Member& b) {
      return a.at.line != b.at.line ? a.at.line < b.at.line : a.at.column < b.at.column;
    });
    return to;
  }

 private:
  // NOLINTNEXTLINE(misc-no-recursion)
  Value value(const toml::node& node) const {
    if (const auto* as_table = node.as_table()) return table(*as_table);
    Value to;
    to.at = place_of(node.source().begin);
    if (const auto* as_array = node.as_array()) {
      to.kind = ValueKind::list;
      for (const toml::node& item : *as_array) to.items.push_back(value(item));
    } else if (const auto* as_text = node.as_string()) {
      to.kind = ValueKind::text;
      to.text = as_text->get();
    } else if (const auto* as_integer = node.as_integer()) {
      to.kind = ValueKind::integer;
      to.integer = as_integer->get();
      to.real = static_cast<double>(to.integer);
      to.text = slice(lines_, node.source());
    } else if (const auto* as_real = node.as_floating_point()) {
      to.kind = ValueKind::real;
      to.real = as_real->get();
      to.text = slice(lines_, node.source());
    } else if (const auto* as_boolean = node.as_boolean()) {
      to.kind = ValueKind::boolean;
      to.boolean = as_boolean->get();
    } else if (const auto* as_date = node.as_date()) {
      to.kind = ValueKind::date;
      to.local_day = day_of(as_date->get());
    } else if (const auto* as_time = node.as_time()) {
      to.kind = ValueKind::time;
      to.time_of_day_ms = time_of_day_ms(as_time->get());
    } else if (const auto* as_moment = node.as_date_time()) {
      const toml::date_time& moment = as_moment->get();
      to.kind = moment.offset ? ValueKind::moment : ValueKind::local_moment;
      to.local_day = day_of(moment.date);
      to.time_of_day_ms = time_of_day_ms(moment.time);
      if (moment.offset)
        to.utc = UtcMs{to.local_day * day_ms + to.time_of_day_ms - moment.offset->minutes * minute_ms};
    }
    return to;
  }

  std::vector<std::string_view> lines_;
};

// The library's message, without any text it quotes from a value: that could be a piece of a secret. Single
// characters and names of keys stay.
std::string without_quotes_from_values(std::string_view message) {
  std::string text;
  while (true) {
    const std::size_t open = message.find('\'');
    const std::size_t close = open == std::string_view::npos ? open : message.find('\'', open + 1);
    if (close == std::string_view::npos) return text + std::string(message);
    const bool is_key = message.substr(0, open).find("existing") != std::string_view::npos;
    const bool is_short = close - open <= 3;
    text += message.substr(0, open);
    text += is_key || is_short ? std::string(message.substr(open, close - open + 1)) : std::string("it");
    message.remove_prefix(close + 1);
  }
}

}  // namespace

const char* words_for(ValueKind kind) {
  constexpr std::array<const char*, 10> words{
      "a text", "a whole number", "a number",        "true or false",
      "a date", "a time of day",  "a date and time", "a date and time with offset",
      "a list", "a table"};
  return words[static_cast<std::size_t>(kind)];
}

std::optional<Value> parse_document(const std::string& text, const std::string& shown,
                                    std::vector<Finding>& findings) {
  try {
    const toml::table root = toml::parse(std::string_view(text), std::string_view(shown));
    return Converter(text).table(root);
  } catch (const toml::parse_error& mistake) {
    const Place at = place_of(mistake.source().begin);
    findings.push_back({{shown, at.line, at.column},
                        true,
                        "",
                        "not TOML: " + without_quotes_from_values(mistake.description()),
                        "",
                        ""});
  }
  return std::nullopt;
}

Result<std::string> read_file(const std::filesystem::path& path) {
  std::error_code trouble;
  const auto status = std::filesystem::status(path, trouble);
  if (trouble || !std::filesystem::exists(status)) return Error{"no such file"};
  if (std::filesystem::is_directory(status)) return Error{"is a folder, not a file"};
  std::ifstream stream(path, std::ios::binary);
  if (!stream) return Error{"cannot be read"};
  std::string text(largest_file + 1, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (stream.bad()) return Error{"cannot be read"};
  text.resize(static_cast<std::size_t>(stream.gcount()));
  if (text.size() > largest_file) return Error{"is over 1 MiB long"};
  return text;
}

}  // namespace baskwell::settings
