#pragma once
// Moments as text: RFC 3339, to the millisecond, and local time for people. Pure; locale-free.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/climate/zone_rules.h"
#include "core/time.h"

namespace baskwell {

// "2026-11-24T02:10:00Z", with milliseconds where there are any.
[[nodiscard]] std::string rfc3339(UtcMs at);
// Full RFC 3339 date-time with `Z` or an offset; a fraction beyond milliseconds is cut. Empty: it is not one.
[[nodiscard]] std::optional<UtcMs> utc_from_rfc3339(std::string_view text);

// "02:10" by the wall clock of the room.
[[nodiscard]] std::string local_hour_minute(const ZoneRules& zone, UtcMs at);
// "24 Nov 02:10"
[[nodiscard]] std::string local_day_hour_minute(const ZoneRules& zone, UtcMs at);

}  // namespace baskwell
