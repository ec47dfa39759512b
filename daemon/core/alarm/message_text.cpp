#include "core/alarm/message_text.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <system_error>

#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::string_view ellipsis = "\u2026";
constexpr std::string_view replacement = "\uFFFD";
constexpr std::array<std::string_view, 12> month_names{"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                       "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};

bool continues(char byte) {
  return (static_cast<unsigned char>(byte) & 0xC0U) == 0x80U;
}

// Bytes of the well-formed UTF-8 sequence that `text` begins with; 0: none. Ranges after RFC 3629 section 4.
std::size_t sequence_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(0);
  if (lead < 0x80) return 1;
  const std::size_t length = lead >= 0xC2 && lead <= 0xDF   ? 2
                             : lead >= 0xE0 && lead <= 0xEF ? 3
                             : lead >= 0xF0 && lead <= 0xF4 ? 4
                                                            : 0;
  if (length == 0 || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if (!continues(text[i])) return 0;
  }
  const bool overlong = (lead == 0xE0 && byte(1) < 0xA0) || (lead == 0xF0 && byte(1) < 0x90);
  const bool surrogate = lead == 0xED && byte(1) > 0x9F;
  const bool too_large = lead == 0xF4 && byte(1) > 0x8F;
  return overlong || surrogate || too_large ? 0 : length;
}

std::string padded(std::int64_t value, std::size_t width) {
  std::string digits = std::to_string(value);
  if (digits.size() < width) digits.insert(0, width - digits.size(), '0');
  return digits;
}

std::string clock_text(int minute_of_day) {
  return padded(minute_of_day / 60, 2) + ":" + padded(minute_of_day % 60, 2);
}

std::string day_text(CivilDate date) {
  return std::to_string(date.day) + " " + std::string(month_names[static_cast<std::size_t>(date.month - 1)]);
}

}  // namespace

std::size_t characters_in(std::string_view text) {
  std::size_t count = 0;
  for (const char byte : text) {
    if (!continues(byte)) ++count;
  }
  return count;
}

std::string cut_to(std::string_view text, std::size_t limit) {
  CHECK(limit >= 1);
  if (characters_in(text) <= limit) return std::string(text);
  std::size_t end = 0;
  for (std::size_t count = 0; end < text.size(); ++end) {
    if (continues(text[end])) continue;
    if (++count == limit) break;
  }
  while (end > 0 && text[end - 1] == ' ') --end;  // no space before the ellipsis
  return std::string(text.substr(0, end)).append(ellipsis);
}

std::string clean_line(std::string_view text) {
  std::string clean;
  clean.reserve(text.size());
  while (!text.empty()) {
    const std::size_t length = sequence_length(text);
    const auto lead = static_cast<unsigned char>(text.front());
    if (length == 0) {
      clean += replacement;
      text.remove_prefix(1);
      continue;
    }
    // C0 and C1 controls and DEL, line and paragraph separators: a name must not start a line of its own.
    const bool control = lead < 0x20 || lead == 0x7F ||
                         (lead == 0xC2 && static_cast<unsigned char>(text[1]) < 0xA0) ||
                         text.starts_with("\u2028") || text.starts_with("\u2029");
    if (control) {
      clean += ' ';
    } else {
      clean += text.substr(0, length);
    }
    text.remove_prefix(length);
  }
  return clean;
}

std::string number_text(double value) {
  if (!std::isfinite(value)) return "unknown";
  std::array<char, 32> buffer{};
  const bool huge = std::fabs(value) >= 1e6;
  const double shown = std::fabs(value) < 0.05 ? 0.0 : value;  // never "-0.0"
  const auto written =
      huge ? std::to_chars(buffer.data(), buffer.data() + buffer.size(), shown, std::chars_format::scientific,
                           0)
           : std::to_chars(buffer.data(), buffer.data() + buffer.size(), shown, std::chars_format::fixed, 1);
  CHECK(written.ec == std::errc());
  return {buffer.data(), written.ptr};
}

std::string_view people_symbol_of(Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      return "°C";
    case Quantity::humidity:
      return "%";
    case Quantity::light:
      return "lux";
    case Quantity::power:
      return "W";
    case Quantity::battery:
      return "V";
  }
  CHECK(false);
}

std::string quantity_text(double value, Quantity quantity) {
  std::string text = number_text(value);
  return std::isfinite(value) ? text.append(" ").append(people_symbol_of(quantity)) : text;
}

std::string local_time_text(UtcMs at, UtcMs now, const ZoneRules& clock) {
  const std::int64_t day = local_day(clock, at);
  const std::string time = clock_text(local_minute(clock, at));
  return day == local_day(clock, now) ? time : day_text(civil_from_days(day)) + " " + time;
}

std::string local_date_time_text(UtcMs at, const ZoneRules& clock) {
  const CivilDate date = civil_from_days(local_day(clock, at));
  return day_text(date) + " " + std::to_string(date.year) + " " + clock_text(local_minute(clock, at));
}

std::string utc_text(UtcMs at) {
  const ZoneRules utc;
  const std::int64_t day = local_day(utc, at);
  const CivilDate date = civil_from_days(day);
  const std::int64_t in_minute_ms = at.ms - day * day_ms - local_minute(utc, at) * minute_ms;
  return padded(date.year, 4) + "-" + padded(date.month, 2) + "-" + padded(date.day, 2) + "T" +
         clock_text(local_minute(utc, at)) + ":" + padded(in_minute_ms / second_ms, 2) + "." +
         padded(in_minute_ms % second_ms, 3) + "Z";
}

std::string duration_text(std::int64_t duration_ms) {
  const auto two = [](std::int64_t large, std::string_view large_unit, std::int64_t small,
                      std::string_view small_unit) {
    std::string text = std::to_string(large).append(large_unit);
    if (small > 0) text.append(" ").append(std::to_string(small)).append(small_unit);
    return text;
  };
  if (duration_ms < 0) return "0 s";
  if (duration_ms < minute_ms) return std::to_string(duration_ms / second_ms) + " s";
  if (duration_ms < hour_ms) return std::to_string(duration_ms / minute_ms) + " min";
  if (duration_ms < day_ms) {
    return two(duration_ms / hour_ms, " h", duration_ms % hour_ms / minute_ms, " min");
  }
  return two(duration_ms / day_ms, " d", duration_ms % day_ms / hour_ms, " h");
}

std::string list_text(std::span<const std::string> names, std::size_t shown) {
  CHECK(shown >= 1);
  std::string text;
  const std::size_t count = std::min(names.size(), shown);
  for (std::size_t i = 0; i < count; ++i) {
    if (i > 0) text += i + 1 == names.size() ? " and " : ", ";
    text += clean_line(names[i]);
  }
  if (names.size() > count) text += " and " + std::to_string(names.size() - count) + " more";
  return text;
}

}  // namespace baskwell
