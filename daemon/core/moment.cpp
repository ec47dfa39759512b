#include "core/moment.h"

#include <algorithm>
#include <array>
#include <cstddef>

namespace baskwell {
namespace {

void append(std::string& text, std::int64_t number, int width) {
  std::array<char, 20> digits{};
  for (int i = width - 1; i >= 0; --i) {
    digits[static_cast<std::size_t>(i)] = static_cast<char>('0' + number % 10);
    number /= 10;
  }
  text.append(digits.data(), static_cast<std::size_t>(width));
}

// Reads exactly `width` digits at `at`; -1 where they are not all digits.
int digits_at(std::string_view text, std::size_t at, std::size_t width) {
  if (text.size() < at + width) return -1;
  int number = 0;
  for (std::size_t i = at; i < at + width; ++i) {
    if (text[i] < '0' || text[i] > '9') return -1;
    number = number * 10 + (text[i] - '0');
  }
  return number;
}

int days_in_month(int year, int month) {
  constexpr std::array<int, 12> days{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : days[static_cast<std::size_t>(month - 1)];
}

// "Z", "+01:00": the offset in minutes.
std::optional<int> offset_min(std::string_view text) {
  if (text == "Z" || text == "z") return 0;
  if (text.size() != 6 || (text[0] != '+' && text[0] != '-') || text[3] != ':') return std::nullopt;
  const int hours = digits_at(text, 1, 2);
  const int minutes = digits_at(text, 4, 2);
  if (hours < 0 || hours > 23 || minutes < 0 || minutes > 59) return std::nullopt;
  return (text[0] == '-' ? -1 : 1) * (hours * 60 + minutes);
}

}  // namespace

std::string rfc3339(UtcMs at) {
  // The notation has four digits for the year; what lies beyond is shown as its first or last moment.
  at = std::clamp(at, earliest_utc, latest_utc);
  const ZoneRules utc;
  const std::int64_t day = local_day(utc, at);
  const CivilDate date = civil_from_days(day);
  const std::int64_t ms = at.ms - day * day_ms;
  std::string text;
  text.reserve(24);
  append(text, date.year, 4);
  text += '-';
  append(text, date.month, 2);
  text += '-';
  append(text, date.day, 2);
  text += 'T';
  append(text, ms / hour_ms, 2);
  text += ':';
  append(text, ms / minute_ms % 60, 2);
  text += ':';
  append(text, ms / second_ms % 60, 2);
  if (ms % second_ms != 0) {
    text += '.';
    append(text, ms % second_ms, 3);
  }
  text += 'Z';
  return text;
}

std::optional<UtcMs> utc_from_rfc3339(std::string_view text) {
  const int year = digits_at(text, 0, 4);
  const int month = digits_at(text, 5, 2);
  const int day = digits_at(text, 8, 2);
  const int hour = digits_at(text, 11, 2);
  const int minute = digits_at(text, 14, 2);
  const int second = digits_at(text, 17, 2);
  if (text.size() < 20 || text[4] != '-' || text[7] != '-' || text[13] != ':' || text[16] != ':')
    return std::nullopt;
  if (text[10] != 'T' && text[10] != 't' && text[10] != ' ') return std::nullopt;
  if (year < 0 || month < 1 || month > 12 || day < 1 || day > days_in_month(year, month)) return std::nullopt;
  // 60 is a leap second; it falls on the next minute's first, as UtcMs counts none.
  if (hour < 0 || hour > 23 || minute < 0 || minute > 59 || second < 0 || second > 60) return std::nullopt;
  std::size_t at = 19;
  std::int64_t fraction_ms = 0;
  if (text[at] == '.') {
    ++at;
    std::int64_t scale = 100;
    const std::size_t first = at;
    for (; at < text.size() && text[at] >= '0' && text[at] <= '9'; ++at) {
      fraction_ms += (text[at] - '0') * scale;
      scale /= 10;
    }
    if (at == first) return std::nullopt;
  }
  const auto offset = offset_min(text.substr(at));
  if (!offset) return std::nullopt;
  const std::int64_t days = days_from_civil({year, month, day});
  const std::int64_t minutes = hour * 60 + minute - *offset;
  return UtcMs{days * day_ms + minutes * minute_ms + second * second_ms + fraction_ms};
}

std::string local_hour_minute(const ZoneRules& zone, UtcMs at) {
  const int minute = local_minute(zone, at);
  std::string text;
  append(text, minute / 60, 2);
  text += ':';
  append(text, minute % 60, 2);
  return text;
}

std::string local_day_hour_minute(const ZoneRules& zone, UtcMs at) {
  constexpr std::array<std::string_view, 12> months{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                    "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const CivilDate date = civil_from_days(local_day(zone, at));
  std::string text = std::to_string(date.day) + " ";
  text += months[static_cast<std::size_t>(date.month - 1)];
  return text + " " + local_hour_minute(zone, at);
}

}  // namespace baskwell
