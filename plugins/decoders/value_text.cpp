#include "value_text.h"

#include <algorithm>
#include <array>
#include <limits>

namespace baskwell::decoders {
namespace {

constexpr std::int32_t places_max = 18;
constexpr std::uint64_t digits_max = std::numeric_limits<std::int64_t>::max();
constexpr std::int32_t exponent_max = 1000;  // far beyond what a bw_decimal holds; keeps the sum in range
constexpr const char* too_long = "more digits than can be kept exactly (18 decimal places, 19 digits in all)";

constexpr bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
constexpr bool is_blank(char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

std::string_view trimmed_left(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  return text;
}

// A C string sent with its terminator is common on small instruments: a trailing NUL counts as a blank.
std::string_view trimmed(std::string_view text) {
  while (!text.empty() && (is_blank(text.back()) || text.back() == '\0')) text.remove_suffix(1);
  return trimmed_left(text);
}

// Digits as they are read, before and after the point.
struct Digits {
  std::uint64_t magnitude = 0;
  std::int32_t places = 0;
  std::size_t count = 0;
  bool dropped_zero = false;
  bool overflow = false;

  void take(char c, bool fraction) {
    const auto digit = static_cast<std::uint64_t>(c - '0');
    ++count;
    if (magnitude > (digits_max - digit) / 10 || dropped_zero) {
      // A zero at the end of a fraction that no longer fits changes nothing; anything else would be rounding.
      if (fraction && digit == 0) {
        dropped_zero = true;
      } else {
        overflow = true;
      }
      return;
    }
    magnitude = magnitude * 10 + digit;
    if (fraction) ++places;
  }
};

// The exponent at text[at], if there is a whole one; moves `at` behind it.
std::int32_t read_exponent(std::string_view text, std::size_t& at) {
  if (at >= text.size() || (text[at] != 'e' && text[at] != 'E')) return 0;
  std::size_t i = at + 1;
  const bool negative = i < text.size() && text[i] == '-';
  if (i < text.size() && (text[i] == '-' || text[i] == '+')) ++i;
  if (i >= text.size() || !is_digit(text[i])) return 0;
  std::int32_t exponent = 0;
  for (; i < text.size() && is_digit(text[i]); ++i)
    exponent = std::min(exponent * 10 + (text[i] - '0'), exponent_max);
  at = i;
  return negative ? -exponent : exponent;
}

struct UnitName {
  std::string_view name;
  std::uint32_t unit;
};

// The SI's and the trade's own spellings; letter case as written, since K and W mean something only in
// capitals.
constexpr std::array<UnitName, 19> unit_names = {{
    {"degC", BW_UNIT_DEGC},      {"\u00B0C", BW_UNIT_DEGC},   {"\u2103", BW_UNIT_DEGC},
    {"C", BW_UNIT_DEGC},         {"degF", BW_UNIT_DEGF},      {"\u00B0F", BW_UNIT_DEGF},
    {"\u2109", BW_UNIT_DEGF},    {"F", BW_UNIT_DEGF},         {"K", BW_UNIT_KELVIN},
    {"%", BW_UNIT_RH_PERCENT},   {"%RH", BW_UNIT_RH_PERCENT}, {"% RH", BW_UNIT_RH_PERCENT},
    {"%rh", BW_UNIT_RH_PERCENT}, {"%rH", BW_UNIT_RH_PERCENT}, {"% rH", BW_UNIT_RH_PERCENT},
    {"lux", BW_UNIT_LUX},        {"lx", BW_UNIT_LUX},         {"W", BW_UNIT_WATT},
    {"V", BW_UNIT_VOLT},
}};

std::uint32_t unit_called(std::string_view name) {
  for (const UnitName& known : unit_names) {
    if (known.name == name) return known.unit;
  }
  return 0;
}

constexpr bool is_temperature(std::uint32_t unit) {
  return unit == BW_UNIT_DEGC || unit == BW_UNIT_DEGF || unit == BW_UNIT_KELVIN;
}

// Length of a word for "not a number" at the start of `text`, 0 if there is none.
std::size_t not_a_number_word(std::string_view text) {
  const std::size_t sign = !text.empty() && (text[0] == '-' || text[0] == '+') ? 1 : 0;
  for (const std::string_view word : {"nan", "infinity", "inf", "null"}) {
    const std::string_view candidate = text.substr(sign, word.size());
    const bool same = std::equal(candidate.begin(), candidate.end(), word.begin(), word.end(),
                                 [](char a, char b) { return (a | 0x20) == b; });
    if (same) return sign + word.size();
  }
  return 0;
}

bool unit_fits(std::string_view suffix, std::uint32_t declared, bw_reading& reading, plugin::Line& error) {
  reading.unit = declared;
  if (suffix.empty()) return true;
  const std::uint32_t unit = unit_called(suffix);
  if (unit == 0) {
    error.set("unknown unit ").add_quoted(suffix).add(" behind the number");
    return false;
  }
  if (unit != declared && !(is_temperature(unit) && is_temperature(declared))) {
    error.set("the payload says ").add(unit_name(unit)).add(", declared is ").add(unit_name(declared));
    return false;
  }
  reading.unit = unit;
  return true;
}

// Days since 1970-01-01 of a date of the proleptic Gregorian calendar, for years from 1970 on.
constexpr std::int64_t days_since_1970(std::int64_t year, std::int64_t month, std::int64_t day) {
  const std::int64_t months =
      (year * 12 + month - 1) - 2;  // counted from March, so that the leap day comes last
  const std::int64_t y = months / 12;
  const std::int64_t m = months % 12;
  constexpr std::int64_t march_1970 = 719'468;  // days from 0000-03-01 to 1970-01-01
  return y * 365 + y / 4 - y / 100 + y / 400 + (m * 153 + 2) / 5 + day - 1 - march_1970;
}
static_assert(days_since_1970(1970, 1, 1) == 0 && days_since_1970(2000, 2, 29) == 11'016);
static_assert(days_since_1970(2024, 12, 31) == 20'088);

constexpr int days_in(int year, int month) {
  constexpr std::array<int, 12> days = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return days.at(static_cast<std::size_t>(month - 1)) + (month == 2 && leap ? 1 : 0);
}

// Reads fixed-width fields one after another; turns bad at the first that does not fit.
class Fields {
 public:
  explicit Fields(std::string_view text) : rest_(text) {}

  int number(std::size_t width, int low, int high) {
    int value = 0;
    if (rest_.size() < width) good_ = false;
    for (std::size_t i = 0; good_ && i < width; ++i) {
      if (!is_digit(rest_[i])) good_ = false;
      value = value * 10 + (rest_[i] - '0');
    }
    if (!good_ || value < low || value > high) {
      good_ = false;
      return low;
    }
    rest_.remove_prefix(width);
    return value;
  }
  char one_of(std::string_view allowed) {
    if (rest_.empty() || allowed.find(rest_[0]) == std::string_view::npos) {
      good_ = false;
      return '\0';
    }
    const char c = rest_[0];
    rest_.remove_prefix(1);
    return c;
  }
  // An optional fraction of a second, cut to milliseconds.
  int fraction_ms() {
    if (!good_ || rest_.empty() || rest_[0] != '.') return 0;
    rest_.remove_prefix(1);
    int ms = 0;
    int weight = 100;
    std::size_t count = 0;
    for (; !rest_.empty() && is_digit(rest_[0]); rest_.remove_prefix(1), ++count) {
      ms += (rest_[0] - '0') * weight;
      weight /= 10;
    }
    if (count == 0) good_ = false;
    return ms;
  }
  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] bool at_end() const { return rest_.empty(); }

 private:
  std::string_view rest_;
  bool good_ = true;
};

constexpr std::int64_t year_10000_ms = 253'402'300'800'000;  // 10000-01-01T00:00:00Z

std::optional<std::int64_t> within_years(std::int64_t utc_ms) {
  if (utc_ms < 0 || utc_ms >= year_10000_ms) return std::nullopt;
  return utc_ms;
}

}  // namespace

DecimalText read_decimal(std::string_view text) {
  DecimalText result;
  std::size_t i = 0;
  const bool negative = !text.empty() && text[0] == '-';
  if (!text.empty() && (text[0] == '-' || text[0] == '+')) ++i;
  Digits digits;
  for (; i < text.size() && is_digit(text[i]); ++i) digits.take(text[i], false);
  if (i < text.size() && text[i] == '.') {
    for (++i; i < text.size() && is_digit(text[i]); ++i) digits.take(text[i], true);
  }
  if (digits.count == 0) {
    result.problem = "not a number";
    return result;
  }
  std::int32_t places = digits.places - read_exponent(text, i);
  result.end = i;
  std::uint64_t magnitude = digits.magnitude;
  if (magnitude == 0) places = std::clamp(places, 0, places_max);
  for (; places < 0 && magnitude <= digits_max / 10; ++places) magnitude *= 10;
  for (; places > places_max && magnitude % 10 == 0; --places) magnitude /= 10;
  if (digits.overflow || places < 0 || places > places_max) {
    result.problem = too_long;
    return result;
  }
  const auto value = static_cast<std::int64_t>(magnitude);
  result.value = {negative ? -value : value, places};
  return result;
}

bool read_value(std::string_view text, std::uint32_t declared, bw_reading& reading, plugin::Line& error) {
  const std::string_view all = trimmed(text);
  reading.value = {0, 0};
  reading.not_a_number = 0;
  if (all.empty()) {
    error.set("empty, where a number should be");
    return false;
  }
  if (const std::size_t word = not_a_number_word(all); word > 0) {
    reading.not_a_number = 1;
    return unit_fits(trimmed_left(all.substr(word)), declared, reading, error);
  }
  const DecimalText number = read_decimal(all);
  if (number.problem != nullptr) {
    error.set(number.problem).add(": ").add_quoted(all);
    return false;
  }
  if (number.end < all.size() && all[number.end] == ',') {
    const auto at = static_cast<std::size_t>(all.data() - text.data()) + number.end;
    error.set("a comma at byte ")
        .add_number(at)
        .add(" of ")
        .add_quoted(all)
        .add("; the decimal mark is a point");
    return false;
  }
  reading.value = number.value;
  return unit_fits(trimmed_left(all.substr(number.end)), declared, reading, error);
}

const char* unit_name(std::uint32_t unit) {
  switch (unit) {
    case BW_UNIT_DEGC:
      return "degC";
    case BW_UNIT_DEGF:
      return "degF";
    case BW_UNIT_KELVIN:
      return "K";
    case BW_UNIT_RH_PERCENT:
      return "%RH";
    case BW_UNIT_LUX:
      return "lux";
    case BW_UNIT_WATT:
      return "W";
    case BW_UNIT_VOLT:
      return "V";
    default:
      return "an unknown unit";
  }
}

std::optional<std::int64_t> read_rfc3339_ms(std::string_view text) {
  Fields fields(text);
  const int year = fields.number(4, 1970, 9999);
  fields.one_of("-");
  const int month = fields.number(2, 1, 12);
  fields.one_of("-");
  const int day = fields.number(2, 1, days_in(year, month));
  fields.one_of("Tt ");  // the blank: RFC 3339 section 5.6, note
  const int hour = fields.number(2, 0, 23);
  fields.one_of(":");
  const int minute = fields.number(2, 0, 59);
  fields.one_of(":");
  const int second = fields.number(2, 0, 60);
  const int fraction_ms = fields.fraction_ms();
  const char zone = fields.one_of("Zz+-");
  std::int64_t offset_minutes = 0;
  if (zone == '+' || zone == '-') {
    offset_minutes = std::int64_t{60} * fields.number(2, 0, 23);
    fields.one_of(":");
    offset_minutes += fields.number(2, 0, 59);
    if (zone == '-') offset_minutes = -offset_minutes;
  }
  if (!fields.good() || !fields.at_end()) return std::nullopt;
  const std::int64_t minutes = (days_since_1970(year, month, day) * 24 + hour) * 60 + minute - offset_minutes;
  return within_years((minutes * 60 + second) * 1000 + fraction_ms);
}

std::optional<std::int64_t> unix_time_ms(bw_decimal time) {
  if (time.digits < 0) return std::nullopt;
  std::int64_t scale = 1;
  for (std::int32_t i = 0; i < time.places; ++i) scale *= 10;
  const std::int64_t whole = time.digits / scale;
  constexpr std::int64_t milliseconds_from = 100'000'000'000;
  if (whole >= milliseconds_from) return within_years(whole);
  // The first three places of the fraction; the rest is cut.
  std::int64_t fraction = time.digits % scale;
  for (std::int32_t places = time.places; places > 3; --places) fraction /= 10;
  for (std::int32_t places = time.places; places < 3; ++places) fraction *= 10;
  return within_years(whole * 1000 + fraction);
}

std::optional<std::int64_t> read_time_ms(std::string_view text) {
  const std::string_view all = trimmed(text);
  const DecimalText number = read_decimal(all);
  if (number.problem == nullptr && number.end == all.size()) return unix_time_ms(number.value);
  return read_rfc3339_ms(all);
}

}  // namespace baskwell::decoders
