#include "settings/table_reader.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>

#include "core/units.h"
#include "settings/near_name.h"

namespace baskwell::settings {
namespace {

constexpr std::size_t most_items = 10'000;

struct DurationUnit {
  std::string_view name;
  std::int64_t ms;
};
constexpr std::array<DurationUnit, 4> duration_units{
    {{"ms", 1}, {"s", second_ms}, {"min", minute_ms}, {"h", hour_ms}}};

std::string in_quotes(std::string_view text) {
  std::size_t most = 60;
  if (text.size() <= most) return '"' + std::string(text) + '"';
  while (most > 0 && (static_cast<unsigned char>(text[most]) & 0xc0U) == 0x80U)
    --most;  // not inside a character
  return '"' + std::string(text.substr(0, most)) + "...\"";
}

bool has_control_character(std::string_view text) {
  return std::any_of(text.begin(), text.end(),
                     [](char c) { return static_cast<unsigned char>(c) < 0x20U || c == 0x7f; });
}

// Durations as people write them, in the largest unit that divides them.
std::string text_of_duration(std::int64_t duration_ms) {
  for (std::size_t i = duration_units.size(); i-- > 0;) {
    if (duration_ms % duration_units[i].ms == 0)
      return std::to_string(duration_ms / duration_units[i].ms) + ' ' + std::string(duration_units[i].name);
  }
  return std::to_string(duration_ms) + " ms";
}

bool is_number(const Value& value) {
  return value.kind == ValueKind::integer || value.kind == ValueKind::real;
}

}  // namespace

std::string joined(const std::vector<std::string>& names) {
  constexpr std::size_t most = 40;
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < most; ++i) text += (i == 0 ? "" : ", ") + names[i];
  if (names.size() > most) text += " and " + std::to_string(names.size() - most) + " more";
  return text;
}

std::string text_of_number(double number) {
  std::array<char, 32> digits{};
  const auto [end, trouble] = std::to_chars(digits.data(), digits.data() + digits.size(), number);
  return trouble == std::errc{} ? std::string(digits.data(), end) : "a number";
}

std::optional<int> minute_from(std::string_view text) {
  const auto digit = [&](std::size_t i) { return text[i] >= '0' && text[i] <= '9' ? text[i] - '0' : 100; };
  if (text.size() != 5 || text[2] != ':') return std::nullopt;
  const int hour = digit(0) * 10 + digit(1);
  const int minute = digit(3) * 10 + digit(4);
  if (hour > 23 || minute > 59) return std::nullopt;
  return hour * 60 + minute;
}

std::optional<std::int64_t> duration_ms_from(std::string_view text) {
  double number = 0;
  const auto [end, trouble] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (trouble != std::errc{} || !std::isfinite(number) || number < 0 || number > 1e9) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  if (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  for (const DurationUnit& unit : duration_units) {
    if (unit.name == text)
      return static_cast<std::int64_t>(std::llround(number * static_cast<double>(unit.ms)));
  }
  return std::nullopt;
}

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 40 && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
  });
}

void unknown_reference(Report& report, Place at, std::string key, std::string_view kind,
                       const std::string& name, const std::vector<std::string>& known) {
  report.error(at, std::move(key), "there is no " + std::string(kind) + ' ' + in_quotes(name),
               known.empty() ? "" : joined(known), nearest_name(name, known));
}

// ---- Where and what

std::string TableReader::key_of(std::string_view name) const {
  return key_.empty() ? std::string(name) : key_ + '.' + std::string(name);
}

const Value* TableReader::member(std::string_view name) const {
  for (const Member& member : table_->members) {
    if (member.key == name) return &member.value;
  }
  return nullptr;
}

Place TableReader::place_of(std::string_view name) const {
  for (const Member& member : table_->members) {
    if (member.key == name) return member.at;
  }
  return table_->at;
}

bool TableReader::has(std::string_view name) const {
  return member(name) != nullptr;
}

void TableReader::know(std::string_view name) {
  if (std::find(known_.begin(), known_.end(), name) == known_.end()) known_.emplace_back(name);
}

// ---- Complaints

void TableReader::missing(std::string_view name, std::string allowed) {
  report_->error(table_->at, key_of(name), is_missing, std::move(allowed));
}

void TableReader::wrong(std::string_view name, std::string what, std::string allowed, std::string nearest) {
  const Value* value = member(name);
  report_->error(value == nullptr ? table_->at : value->at, key_of(name), std::move(what), std::move(allowed),
                 std::move(nearest));
}

void TableReader::doubt(std::string_view name, std::string what, std::string allowed) {
  const Value* value = member(name);
  report_->warn(value == nullptr ? table_->at : value->at, key_of(name), std::move(what), std::move(allowed));
}

void TableReader::wrong_kind(const Value& value, const std::string& key, std::string_view wanted) {
  report_->error(value.at, key, "is " + std::string(words_for(value.kind)), std::string(wanted));
}

void TableReader::finish() {
  for (const Member& member : table_->members) {
    if (std::find(known_.begin(), known_.end(), member.key) != known_.end()) continue;
    report_->error(member.at, key_of(member.key), unknown_key, joined(known_),
                   nearest_name(member.key, known_));
  }
}

// ---- Values

const Value* TableReader::find(std::string_view name) {
  know(name);
  return member(name);
}

const Value* TableReader::find(std::string_view name, ValueKind kind) {
  const Value* value = find(name);
  if (value == nullptr || value->kind == kind) return value;
  wrong_kind(*value, key_of(name), words_for(kind));
  return nullptr;
}

std::optional<std::string> TableReader::text(std::string_view name, std::size_t longest) {
  const Value* value = find(name, ValueKind::text);
  if (value == nullptr) return std::nullopt;
  if (value->text.empty()) {
    wrong(name, "is empty", "a text");
  } else if (value->text.size() > longest) {
    wrong(name, "is too long", "at most " + std::to_string(longest) + " bytes");
  } else if (has_control_character(value->text)) {
    wrong(name, "has a line break or another control character", "a text of one line");
  } else {
    return value->text;
  }
  return std::nullopt;
}

std::optional<double> TableReader::number(std::string_view name, double lowest, double highest) {
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  const std::string allowed = text_of_number(lowest) + " to " + text_of_number(highest);
  if (!is_number(*value)) {
    wrong_kind(*value, key_of(name), allowed);
  } else if (!(value->real >= lowest && value->real <= highest)) {
    wrong(name, text_of_number(value->real) + " is out of range", allowed);
  } else {
    return value->real;
  }
  return std::nullopt;
}

std::optional<std::int64_t> TableReader::integer(std::string_view name, std::int64_t lowest,
                                                 std::int64_t highest) {
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  const std::string allowed =
      "a whole number from " + std::to_string(lowest) + " to " + std::to_string(highest);
  if (value->kind != ValueKind::integer) {
    wrong_kind(*value, key_of(name), allowed);
  } else if (value->integer < lowest || value->integer > highest) {
    wrong(name, std::to_string(value->integer) + " is out of range", allowed);
  } else {
    return value->integer;
  }
  return std::nullopt;
}

std::optional<bool> TableReader::boolean(std::string_view name) {
  const Value* value = find(name, ValueKind::boolean);
  return value == nullptr ? std::nullopt : std::optional(value->boolean);
}

std::optional<std::size_t> TableReader::one_of(std::string_view name, const std::vector<std::string>& names) {
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  if (value->kind != ValueKind::text) {
    wrong_kind(*value, key_of(name), joined(names));
    return std::nullopt;
  }
  const auto found = std::find(names.begin(), names.end(), value->text);
  if (found != names.end()) return static_cast<std::size_t>(found - names.begin());
  wrong(name, in_quotes(value->text) + " is unknown", joined(names), nearest_name(value->text, names));
  return std::nullopt;
}

std::optional<int> TableReader::minute(std::string_view name) {
  constexpr const char* allowed = "a time of day from \"00:00\" to \"23:59\"";
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  if (value->kind == ValueKind::time) {
    if (value->time_of_day_ms % minute_ms == 0) return static_cast<int>(value->time_of_day_ms / minute_ms);
    wrong(name, "is not a whole minute", allowed);
    return std::nullopt;
  }
  if (value->kind != ValueKind::text) {
    wrong_kind(*value, key_of(name), allowed);
    return std::nullopt;
  }
  const auto minute = minute_from(value->text);
  if (!minute) wrong(name, in_quotes(value->text) + " is no time of day", allowed);
  return minute;
}

std::optional<std::int64_t> TableReader::duration_ms(std::string_view name, std::int64_t lowest_ms,
                                                     std::int64_t highest_ms) {
  const std::string allowed = text_of_duration(lowest_ms) + " to " + text_of_duration(highest_ms);
  std::optional<std::int64_t> result;
  std::string told;  // which key told it
  const auto take = [&](const std::string& key, std::int64_t duration) {
    if (!told.empty()) {
      wrong(key, "says the same as " + told, "one of them");
    } else if (duration < lowest_ms || duration > highest_ms) {
      wrong(key, text_of_duration(duration) + " is out of range", allowed);
    } else {
      result = duration;
    }
    told = key;
  };
  const std::string plain(name);
  if (const Value* value = find(plain)) {
    const auto duration = value->kind == ValueKind::text ? duration_ms_from(value->text) : std::nullopt;
    if (duration) {
      take(plain, *duration);
    } else if (value->kind == ValueKind::text) {
      wrong(plain, in_quotes(value->text) + " is no duration", "a number and ms, s, min or h, as \"15 min\"");
    } else {
      wrong_kind(*value, key_of(plain), "a text as \"15 min\"");
    }
  }
  for (const DurationUnit& unit : duration_units) {
    const std::string key = plain + '_' + std::string(unit.name);
    if (!has(key)) continue;  // known, but not named among the allowed ones: the plain key is the usual form
    const auto count = number(key, 0, 1e9);
    if (count) take(key, static_cast<std::int64_t>(std::llround(*count * static_cast<double>(unit.ms))));
  }
  return result;
}

std::optional<double> TableReader::temperature_degc(std::string_view name, double lowest, double highest) {
  const std::string in_celsius = std::string(name) + "_degc";
  const std::string in_fahrenheit = std::string(name) + "_degf";
  if (has(in_celsius) && has(in_fahrenheit))
    wrong(in_fahrenheit, "says the same as " + in_celsius, "one of them");
  const auto celsius = number(in_celsius, lowest, highest);
  if (!has(in_fahrenheit)) return celsius;
  const auto fahrenheit = number(in_fahrenheit, lowest * 1.8 + 32, highest * 1.8 + 32);
  if (celsius || !fahrenheit) return celsius;
  return (*fahrenheit - 32) / 1.8;
}

std::optional<Range> TableReader::range(std::string_view name) {
  constexpr const char* allowed = "[low, high], nan for no limit on that side";
  const Value* value = find(name);
  if (value == nullptr) return std::nullopt;
  if (value->kind != ValueKind::list) {
    wrong_kind(*value, key_of(name), allowed);
    return std::nullopt;
  }
  if (value->items.size() != 2 || !is_number(value->items[0]) || !is_number(value->items[1])) {
    wrong(name, "is not two numbers", allowed);
    return std::nullopt;
  }
  const Range range{value->items[0].real, value->items[1].real};
  if (std::isinf(range.low) || std::isinf(range.high)) {
    wrong(name, "has an infinite limit", allowed);
    return std::nullopt;
  }
  if (range.low > range.high) {
    wrong(name, "low " + text_of_number(range.low) + " is above high " + text_of_number(range.high), allowed);
    return std::nullopt;
  }
  return range;
}

std::vector<TableReader::Item> TableReader::texts(std::string_view name) {
  std::vector<Item> items;
  const Value* value = find(name);
  if (value == nullptr) return items;
  const std::string key = key_of(name);
  if (value->kind == ValueKind::text) return {{value->text, value->at, key}};
  if (value->kind != ValueKind::list) {
    wrong_kind(*value, key, "a list of texts");
    return items;
  }
  if (value->items.size() > most_items) wrong(name, "is too long", "at most " + std::to_string(most_items));
  for (std::size_t i = 0; i < std::min(value->items.size(), most_items); ++i) {
    const std::string item_key = key + '[' + std::to_string(i + 1) + ']';
    const Value& item = value->items[i];
    if (item.kind == ValueKind::text) {
      items.push_back({item.text, item.at, item_key});
    } else {
      wrong_kind(item, item_key, "a text");
    }
  }
  return items;
}

std::vector<TableReader> TableReader::tables(std::string_view name) {
  std::vector<TableReader> readers;
  const Value* value = find(name);
  if (value == nullptr) return readers;
  const std::string key = key_of(name);
  if (value->kind == ValueKind::table) {
    readers.emplace_back(*value, key, *report_);
    return readers;
  }
  if (value->kind != ValueKind::list) {
    wrong_kind(*value, key, "a list of tables");
    return readers;
  }
  if (value->items.size() > most_items) wrong(name, "is too long", "at most " + std::to_string(most_items));
  for (std::size_t i = 0; i < std::min(value->items.size(), most_items); ++i) {
    const std::string item_key = key + '[' + std::to_string(i + 1) + ']';
    if (value->items[i].kind == ValueKind::table) {
      readers.emplace_back(value->items[i], item_key, *report_);
    } else {
      wrong_kind(value->items[i], item_key, "a table");
    }
  }
  return readers;
}

std::optional<TableReader> TableReader::table(std::string_view name) {
  const Value* value = find(name, ValueKind::table);
  if (value == nullptr) return std::nullopt;
  return TableReader(*value, key_of(name), *report_);
}

std::vector<TableReader::Named> TableReader::named_tables(std::string_view name) {
  std::vector<Named> named;
  const Value* section = find(name, ValueKind::table);
  if (section == nullptr) return named;
  for (const Member& member : section->members) {
    const std::string key = key_of(name) + '.' + member.key;
    if (!is_id(member.key)) {
      report_->error(member.at, key, "is no id", id_rule);
    } else if (member.value.kind != ValueKind::table) {
      wrong_kind(member.value, key, "a table");
    } else if (named.size() >= most_items) {
      report_->error(member.at, key, "is one too many", "at most " + std::to_string(most_items));
      break;
    } else {
      named.push_back({member.key, member.at, key, &member.value});
    }
  }
  return named;
}

}  // namespace baskwell::settings
