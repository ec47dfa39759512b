#include "demoroom/time_text.h"

#include <array>
#include <charconv>
#include <chrono>
#include <cmath>

#include "core/check.h"

namespace baskwell::demoroom {
namespace {

void put_digits(std::string& text, std::int64_t value, int width) {
  std::array<char, 20> digits{};
  for (int i = width - 1; i >= 0; --i) {
    digits[static_cast<std::size_t>(i)] = static_cast<char>('0' + value % 10);
    value /= 10;
  }
  text.append(digits.data(), static_cast<std::size_t>(width));
}

// Reads exactly `width` digits at `at`; -1 when they are not there.
std::int64_t take_digits(std::string_view text, std::size_t at, std::size_t width) {
  if (at + width > text.size()) return -1;
  std::int64_t value = 0;
  for (std::size_t i = at; i < at + width; ++i) {
    if (text[i] < '0' || text[i] > '9') return -1;
    value = value * 10 + (text[i] - '0');
  }
  return value;
}

}  // namespace

std::string rfc3339_ms(std::int64_t utc_ms) {
  using namespace std::chrono;
  const sys_time<milliseconds> when{milliseconds(utc_ms)};
  const auto day = floor<days>(when);
  const year_month_day date(day);
  const std::int64_t of_day_ms = (when - day).count();
  std::string text;
  text.reserve(24);
  put_digits(text, static_cast<int>(date.year()), 4);
  text += '-';
  put_digits(text, static_cast<unsigned>(date.month()), 2);
  text += '-';
  put_digits(text, static_cast<unsigned>(date.day()), 2);
  text += 'T';
  put_digits(text, of_day_ms / 3'600'000, 2);
  text += ':';
  put_digits(text, of_day_ms / 60'000 % 60, 2);
  text += ':';
  put_digits(text, of_day_ms / 1000 % 60, 2);
  text += '.';
  put_digits(text, of_day_ms % 1000, 3);
  text += 'Z';
  return text;
}

Result<std::int64_t> parse_rfc3339_ms(std::string_view text) {
  using namespace std::chrono;
  const Error wrong{"'" + std::string(text) + "' is not a time as 2026-11-24T09:00:00Z"};
  const std::int64_t year_n = take_digits(text, 0, 4);
  const std::int64_t month_n = take_digits(text, 5, 2);
  const std::int64_t day_n = take_digits(text, 8, 2);
  const std::int64_t hour_n = take_digits(text, 11, 2);
  const std::int64_t minute_n = take_digits(text, 14, 2);
  const std::int64_t second_n = take_digits(text, 17, 2);
  if (year_n < 0 || month_n < 0 || day_n < 0 || hour_n < 0 || minute_n < 0 || second_n < 0) return wrong;
  if (text[4] != '-' || text[7] != '-' || text[10] != 'T' || text[13] != ':' || text[16] != ':') return wrong;
  const year_month_day date{year(static_cast<int>(year_n)), month(static_cast<unsigned>(month_n)),
                            day(static_cast<unsigned>(day_n))};
  if (!date.ok() || hour_n > 23 || minute_n > 59 || second_n > 59) return wrong;
  std::size_t at = 19;
  std::int64_t fraction_ms = 0;
  if (at < text.size() && text[at] == '.') {
    ++at;
    std::int64_t scale = 100;
    const std::size_t first = at;
    while (at < text.size() && text[at] >= '0' && text[at] <= '9') {
      fraction_ms += scale * (text[at] - '0');
      scale /= 10;
      ++at;
    }
    if (at == first) return wrong;
  }
  std::int64_t offset_minutes = 0;
  if (at < text.size() && (text[at] == '+' || text[at] == '-')) {
    const std::int64_t hours_n = take_digits(text, at + 1, 2);
    const std::int64_t minutes_n = take_digits(text, at + 4, 2);
    if (hours_n < 0 || minutes_n < 0 || hours_n > 23 || minutes_n > 59 || text[at + 3] != ':') return wrong;
    offset_minutes = (text[at] == '-' ? -1 : 1) * (hours_n * 60 + minutes_n);
    at += 6;
  } else if (at < text.size() && text[at] == 'Z') {
    ++at;
  } else {
    return wrong;
  }
  if (at != text.size()) return wrong;
  const std::int64_t day_ms = duration_cast<milliseconds>(sys_days(date).time_since_epoch()).count();
  return day_ms + ((hour_n * 60 + minute_n - offset_minutes) * 60 + second_n) * 1000 + fraction_ms;
}

std::string decimal(double value, int decimals) {
  std::array<char, 64> text{};
  const auto [end, error] =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, decimals);
  CHECK(error == std::errc{});
  std::string out(text.data(), end);
  return out == "-0.0" ? "0.0" : out == "-0" ? "0" : out;
}

}  // namespace baskwell::demoroom
