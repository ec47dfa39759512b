#pragma once
// Quantities, their units, and decimals exactly as they came.
// Core judges in one unit a quantity: degC, %RH, lux, W, V. What came is kept as decimal and unit, and
// converted on reading, so that a step of 0.0625 degC and one of 0.1 degF are both exact in the store.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace baskwell {

enum class Quantity : std::uint8_t { temperature, humidity, light, power, battery };
inline constexpr int quantity_count = 5;

// Same numbers as bw_unit in the plugin interface.
enum class Unit : std::uint8_t {
  degc = 1,
  degf = 2,
  kelvin = 3,
  rh_percent = 4,
  lux = 5,
  watt = 6,
  volt = 7
};

[[nodiscard]] Quantity quantity_of(Unit unit);
[[nodiscard]] Unit judged_unit(Quantity quantity);  // degc, rh_percent, lux, watt, volt
[[nodiscard]] std::string_view name_of(
    Quantity quantity);  // "temperature", "humidity", "light", "power", "battery"
[[nodiscard]] std::string_view symbol_of(
    Unit unit);  // as settings write it: "degC", "degF", "K", "%RH", "lux", "W", "V"
[[nodiscard]] std::optional<Unit> unit_from(std::string_view symbol);
[[nodiscard]] std::optional<Quantity> quantity_from(std::string_view name);

// digits / 10^places; places 0..18. 23.50 is {2350, 2}.
struct Decimal {
  std::int64_t digits = 0;
  std::int8_t places = 0;
  friend bool operator==(const Decimal&, const Decimal&) = default;
};

[[nodiscard]] double to_double(Decimal value);
// Optional sign, digits with at most one point among, before or after them, optional exponent; nothing around
// it. Empty when it is no such number or does not fit 18 digits and 18 places.
[[nodiscard]] std::optional<Decimal> decimal_from(std::string_view text);
[[nodiscard]] std::string to_text(Decimal value);  // "23.50"

// The value in the unit core judges this quantity in: the double nearest to the exact value where that has up
// to 12 places and 15 digits, as every probe's has.
[[nodiscard]] double judged_value(Decimal value, Unit unit);

}  // namespace baskwell
