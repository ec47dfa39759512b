#include "core/units.h"

#include <array>
#include <charconv>
#include <cstddef>

#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::array<std::int64_t, 19> powers_of_ten = [] {
  std::array<std::int64_t, 19> powers{};
  std::int64_t power = 1;
  for (std::size_t i = 0; i < powers.size(); ++i) {
    powers[i] = power;
    if (i + 1 < powers.size()) power *= 10;
  }
  return powers;
}();

struct UnitRow {
  Unit unit;
  Quantity quantity;
  std::string_view symbol;
};
constexpr std::array<UnitRow, 7> unit_rows{{
    {Unit::degc, Quantity::temperature, "degC"},
    {Unit::degf, Quantity::temperature, "degF"},
    {Unit::kelvin, Quantity::temperature, "K"},
    {Unit::rh_percent, Quantity::humidity, "%RH"},
    {Unit::lux, Quantity::light, "lux"},
    {Unit::watt, Quantity::power, "W"},
    {Unit::volt, Quantity::battery, "V"},
}};
constexpr std::array<std::string_view, quantity_count> quantity_names{"temperature", "humidity", "light",
                                                                      "power", "battery"};

std::size_t places_of(Decimal value) {
  CHECK(value.places >= 0 && value.places <= 18);
  return static_cast<std::size_t>(static_cast<unsigned char>(value.places));
}

const UnitRow& row_of(Unit unit) {
  const auto index = static_cast<std::size_t>(unit) - 1;
  CHECK(index < unit_rows.size());
  return unit_rows[index];
}

}  // namespace

Quantity quantity_of(Unit unit) {
  return row_of(unit).quantity;
}

Unit judged_unit(Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      return Unit::degc;
    case Quantity::humidity:
      return Unit::rh_percent;
    case Quantity::light:
      return Unit::lux;
    case Quantity::power:
      return Unit::watt;
    case Quantity::battery:
      return Unit::volt;
  }
  CHECK(false);
}

std::string_view name_of(Quantity quantity) {
  return quantity_names[static_cast<std::size_t>(quantity)];
}
std::string_view symbol_of(Unit unit) {
  return row_of(unit).symbol;
}

std::optional<Unit> unit_from(std::string_view symbol) {
  for (const UnitRow& row : unit_rows) {
    if (row.symbol == symbol) return row.unit;
  }
  return std::nullopt;
}

std::optional<Quantity> quantity_from(std::string_view name) {
  for (std::size_t i = 0; i < quantity_names.size(); ++i) {
    if (quantity_names[i] == name) return static_cast<Quantity>(i);
  }
  return std::nullopt;
}

double to_double(Decimal value) {
  // Both operands are exact up to 2^53, so the quotient is the double nearest to the decimal.
  return static_cast<double>(value.digits) / static_cast<double>(powers_of_ten[places_of(value)]);
}

std::optional<Decimal> decimal_from(std::string_view text) {
  const bool negative = !text.empty() && text.front() == '-';
  if (!text.empty() && (text.front() == '-' || text.front() == '+')) text.remove_prefix(1);
  std::int64_t digits = 0;
  int places = 0;
  int seen = 0;
  bool fraction = false;
  std::size_t i = 0;
  for (; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '.' && !fraction) {
      fraction = true;
      continue;
    }
    if (c < '0' || c > '9') break;
    if (digits > (powers_of_ten[18] - 10) / 10) return std::nullopt;
    digits = digits * 10 + (c - '0');
    places += fraction ? 1 : 0;
    ++seen;
  }
  if (seen == 0) return std::nullopt;
  if (i < text.size()) {
    if (text[i] != 'e' && text[i] != 'E') return std::nullopt;
    ++i;
    if (i + 1 < text.size() && text[i] == '+' && text[i + 1] != '-') ++i;  // from_chars knows no plus
    int exponent = 0;
    const auto [end, error] = std::from_chars(text.data() + i, text.data() + text.size(), exponent);
    if (error != std::errc{} || end != text.data() + text.size() || exponent > 40 || exponent < -40)
      return std::nullopt;
    places -= exponent;
  }
  while (places < 0) {
    if (digits >= powers_of_ten[17]) return std::nullopt;  // 18 digits at most
    digits *= 10;
    ++places;
  }
  // A zero may carry any number of places; anything else that needs more than 18 does not fit.
  if (digits == 0 && places > 18) places = 18;
  if (places > 18) return std::nullopt;
  return Decimal{negative ? -digits : digits, static_cast<std::int8_t>(places)};
}

std::string to_text(Decimal value) {
  const bool negative = value.digits < 0;
  // Negated as unsigned, so that the least int64 has a magnitude too.
  const auto bits = static_cast<std::uint64_t>(value.digits);
  std::string text = std::to_string(negative ? 0 - bits : bits);
  const auto places = places_of(value);
  if (places > 0) {
    if (text.size() <= places) text.insert(0, places + 1 - text.size(), '0');
    text.insert(text.size() - places, 1, '.');
  }
  return negative ? "-" + text : text;
}

double judged_value(Decimal value, Unit unit) {
  // Fahrenheit and kelvin start from a zero of their own. It is taken off in whole digits and divided once,
  // so that what is exactly at a limit is judged to be exactly there: 98.6 degF is 37 degC and not a hair
  // more.
  constexpr std::int8_t most_places = 12;
  constexpr std::int64_t most_digits = 100'000'000'000'000'000;
  constexpr std::int8_t kelvin_places = 2;
  const bool exact = value.places <= most_places && value.digits < most_digits && value.digits > -most_digits;
  switch (unit) {
    case Unit::degf: {
      if (!exact) return (to_double(value) - 32.0) / 1.8;
      const std::int64_t scale = powers_of_ten[places_of(value)];
      return static_cast<double>((value.digits - 32 * scale) * 5) / static_cast<double>(scale * 9);
    }
    case Unit::kelvin: {
      if (!exact) return to_double(value) - 273.15;
      if (value.places < kelvin_places) {
        const std::int64_t finer = powers_of_ten[static_cast<std::size_t>(kelvin_places - value.places)];
        if (value.digits > most_digits / 100 || value.digits < -most_digits / 100)
          return to_double(value) - 273.15;
        return static_cast<double>(value.digits * finer - 27315) / 100.0;
      }
      const std::int64_t coarser = powers_of_ten[static_cast<std::size_t>(value.places - kelvin_places)];
      return to_double({value.digits - 27315 * coarser, value.places});
    }
    default:
      return to_double(value);
  }
}

}  // namespace baskwell
