#pragma once
// RFC 3339 in UTC, with milliseconds, and decimals without a locale. Pure; any thread.

#include <cstdint>
#include <string>
#include <string_view>

#include "core/result.h"

namespace baskwell::demoroom {

[[nodiscard]] std::string rfc3339_ms(std::int64_t utc_ms);

// `2026-11-24T09:00:00Z`, with or without a fraction, with `Z` or an offset `+01:00`.
[[nodiscard]] Result<std::int64_t> parse_rfc3339_ms(std::string_view text);

[[nodiscard]] std::string decimal(double value, int decimals);

}  // namespace baskwell::demoroom
