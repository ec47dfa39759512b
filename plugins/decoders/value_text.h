#pragma once
// What the decoders share: a number's own text as an exact decimal, with an optional unit behind it, and a
// time. No locale, no floating point: 23.50 stays 2350 / 10^2. What cannot be kept exactly in a bw_decimal
// (more than 18 decimal places, more than about 19 digits) is refused in words rather than rounded. Errors: a
// `problem` text for a person (static storage) and the byte it is at. Thread-safe: no state.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string_view>

#include "baskwell/plugin.hpp"

namespace baskwell::decoders {

struct DecimalText {
  bw_decimal value{0, 0};
  std::size_t end = 0;            // bytes used; where the problem is if there is one
  const char* problem = nullptr;  // nullptr: `value` holds
};

// The decimal at the start of `text`: [+-] digits [. digits] [e [+-] digits], digits on at least one side of
// the point.
[[nodiscard]] DecimalText read_decimal(std::string_view text);

// A whole text: blanks, a number or a word for "not a number" (nan, inf, infinity, null), blanks, a unit,
// blanks. Fills value, unit and not_a_number of `reading`; a unit in the text overrides `declared` within the
// same quantity. False: cannot be used, and `error` says why.
[[nodiscard]] bool read_value(std::string_view text, std::uint32_t declared, bw_reading& reading,
                              plugin::Line& error);

[[nodiscard]] const char* unit_name(std::uint32_t unit);

// RFC 3339 date-time: any offset, any fraction (cut to the millisecond), second 60 taken as the next second.
// nullopt: not one, or outside the years 1970 to 9999.
[[nodiscard]] std::optional<std::int64_t> read_rfc3339_ms(std::string_view text);

// Unix time told apart by magnitude: below 10^11 seconds (until the year 5138), from there milliseconds
// (since 1973).
[[nodiscard]] std::optional<std::int64_t> unix_time_ms(bw_decimal time);

// Either of the two above, as text.
[[nodiscard]] std::optional<std::int64_t> read_time_ms(std::string_view text);

}  // namespace baskwell::decoders
