#pragma once
// Small pieces that messages are put together from: numbers, times and names as text. Locale-free; same
// input, same bytes. Lengths are in characters (Unicode code points), text is UTF-8. Pure; safe from any
// thread.

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "core/climate/zone_rules.h"
#include "core/time.h"
#include "core/units.h"

namespace baskwell {

[[nodiscard]] std::size_t characters_in(std::string_view text);

// At most `limit` characters; what is cut off is replaced by one ellipsis. limit >= 1.
[[nodiscard]] std::string cut_to(std::string_view text, std::size_t limit);

// Fit for one line of a message: control characters become spaces, bytes that are no UTF-8 become U+FFFD.
[[nodiscard]] std::string clean_line(std::string_view text);

// "36.1"; one decimal. Numbers of a million and more as "1e+09"; "unknown" where not finite.
[[nodiscard]] std::string number_text(double value);
// "36.1 °C", "71.0 %", "unknown"
[[nodiscard]] std::string quantity_text(double value, Quantity quantity);
[[nodiscard]] std::string_view people_symbol_of(Quantity quantity);  // "°C", "%"

// "14:05", or "23 Nov 22:40" where that is not the day of `now`; the wall clock of the room.
[[nodiscard]] std::string local_time_text(UtcMs at, UtcMs now, const ZoneRules& clock);
// "24 Nov 2026 14:05"
[[nodiscard]] std::string local_date_time_text(UtcMs at, const ZoneRules& clock);
// RFC 3339 with milliseconds: "2026-11-24T13:05:00.000Z"
[[nodiscard]] std::string utc_text(UtcMs at);
// "45 s", "12 min", "1 h 12 min", "2 d 3 h"; rounded down; negative as "0 s".
[[nodiscard]] std::string duration_text(std::int64_t duration_ms);

// "a", "a and b", "a, b and c", "a, b and 5 more": at most `shown` names.
[[nodiscard]] std::string list_text(std::span<const std::string> names, std::size_t shown);

}  // namespace baskwell
