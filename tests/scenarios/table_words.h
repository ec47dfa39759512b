#pragma once
// How figures are written in the table. Pure.

#include <cstdint>
#include <string>

namespace baskwell::scenarios {

[[nodiscard]] std::string number_text(double value, int decimals);
// "97.5 % (94.3-98.9)", or "-" of nothing.
[[nodiscard]] std::string share_text(std::int64_t hits, std::int64_t n);
// A count over an exposure: "0.12 (0.05-0.24)".
[[nodiscard]] std::string rate_text(std::int64_t count, double exposure);
// Hours to three figures: "0.42", "26.1".
[[nodiscard]] std::string hours_text(double hours);
// "2026-01-31 07:05", UTC.
[[nodiscard]] std::string minute_text(std::int64_t utc_ms);

}  // namespace baskwell::scenarios
