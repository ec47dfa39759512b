#include "settings/zone_tail.h"

#include <algorithm>
#include <cstdint>

namespace baskwell::settings {
namespace {

// When in a year the clock changes.
struct ChangeRule {
  enum class Form { month_week_day, day_without_leap, day_of_year };
  Form form = Form::month_week_day;
  int month = 1;
  int week = 1;  // 5: the last
  int day = 0;   // of the week, 0 Sunday; or of the year
  int at_s = 2 * 3600;
};

class Parser {
 public:
  explicit Parser(std::string_view text) : rest_(text) {}

  [[nodiscard]] bool at_end() const { return rest_.empty(); }
  bool take(char c) {
    if (rest_.empty() || rest_.front() != c) return false;
    rest_.remove_prefix(1);
    return true;
  }
  // "BST", or "<+0330>".
  bool name() {
    std::size_t length = 0;
    if (take('<')) {
      length = rest_.find('>');
      if (length == std::string_view::npos) return false;
      rest_.remove_prefix(length + 1);
      return true;
    }
    while (length < rest_.size() && is_letter(rest_[length])) ++length;
    rest_.remove_prefix(length);
    return length >= 3;
  }
  std::optional<int> number(int highest) {
    int value = 0;
    std::size_t length = 0;
    for (; length < rest_.size() && rest_[length] >= '0' && rest_[length] <= '9' && length < 4; ++length)
      value = value * 10 + (rest_[length] - '0');
    rest_.remove_prefix(length);
    return length == 0 || value > highest ? std::nullopt : std::optional(value);
  }
  // [+-]hh[:mm[:ss]]
  std::optional<int> time_s() {
    const bool negative = take('-');
    if (!negative) take('+');
    const auto hours = number(167);  // RFC 8536 widens it from 24
    if (!hours) return std::nullopt;
    const auto minutes = take(':') ? number(59) : std::optional(0);
    const auto seconds = minutes && take(':') ? number(59) : std::optional(0);
    if (!minutes || !seconds) return std::nullopt;
    const int total = *hours * 3600 + *minutes * 60 + *seconds;
    return negative ? -total : total;
  }
  std::optional<ChangeRule> change() {
    ChangeRule rule;
    if (take('M')) {
      const auto month = number(12);
      const auto week = take('.') ? number(5) : std::nullopt;
      const auto day = take('.') ? number(6) : std::nullopt;
      if (!month || !week || !day || *month == 0 || *week == 0) return std::nullopt;
      rule.month = *month;
      rule.week = *week;
      rule.day = *day;
    } else {
      rule.form = take('J') ? ChangeRule::Form::day_without_leap : ChangeRule::Form::day_of_year;
      const auto day = number(365);
      if (!day) return std::nullopt;
      rule.day = *day;
    }
    if (take('/')) {
      const auto at_s = time_s();
      if (!at_s) return std::nullopt;
      rule.at_s = *at_s;
    }
    return rule;
  }

 private:
  static bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
  std::string_view rest_;
};

bool is_leap(int year) {
  return (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
}

std::int64_t day_of(const ChangeRule& rule, int year) {
  const std::int64_t new_year = days_from_civil({year, 1, 1});
  if (rule.form == ChangeRule::Form::day_of_year) return new_year + rule.day;
  if (rule.form == ChangeRule::Form::day_without_leap)  // 1..365, the 29th of February is never counted
    return new_year + rule.day - 1 + (is_leap(year) && rule.day >= 60 ? 1 : 0);
  const std::int64_t first = days_from_civil({year, rule.month, 1});
  const std::int64_t next =
      rule.month == 12 ? days_from_civil({year + 1, 1, 1}) : days_from_civil({year, rule.month + 1, 1});
  const auto weekday = [](std::int64_t day) { return ((day + 4) % 7 + 7) % 7; };  // 1970-01-01 was a Thursday
  std::int64_t day = first + (rule.day - weekday(first) + 7) % 7 + std::int64_t{7} * (rule.week - 1);
  while (day >= next) day -= 7;
  return day;
}

UtcMs moment_of(const ChangeRule& rule, int year, std::int32_t offset_before_s) {
  return UtcMs{day_of(rule, year) * day_ms + (std::int64_t{rule.at_s} - offset_before_s) * second_ms};
}

}  // namespace

std::optional<std::vector<ZoneRules::Change>> changes_by_rule(std::string_view rule, int first_year,
                                                              int last_year) {
  Parser parser(rule);
  if (!parser.name()) return std::nullopt;
  const auto west_s = parser.time_s();  // POSIX counts offsets westwards
  if (!west_s) return std::nullopt;
  const std::int32_t standard_s = -*west_s;
  if (parser.at_end()) return std::vector<ZoneRules::Change>{};
  if (!parser.name()) return std::nullopt;
  std::int32_t summer_s = standard_s + 3600;
  if (!parser.take(',')) {
    const auto summer_west_s = parser.time_s();
    if (!summer_west_s || !parser.take(',')) return std::nullopt;
    summer_s = -*summer_west_s;
  }
  const auto start = parser.change();
  if (!start || !parser.take(',')) return std::nullopt;
  const auto end = parser.change();
  if (!end || !parser.at_end()) return std::nullopt;

  std::vector<ZoneRules::Change> changes;
  for (int year = first_year; year <= last_year; ++year) {
    changes.push_back({moment_of(*start, year, standard_s), summer_s});
    changes.push_back({moment_of(*end, year, summer_s), standard_s});
  }
  std::sort(changes.begin(), changes.end(),
            [](const ZoneRules::Change& a, const ZoneRules::Change& b) { return a.from < b.from; });
  return changes;
}

}  // namespace baskwell::settings
