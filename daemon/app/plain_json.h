#pragma once
// JSON for programs and people with a shell: numbers as plain decimals ("30.5", "0.0000001"), the shortest
// that read back to the same bits, never with an exponent. Pure.

#include <boost/json/value.hpp>
#include <string>

namespace baskwell {

// On one line, without blanks. `value` must be finite: JSON has no other numbers.
[[nodiscard]] std::string plain_json(const boost::json::value& value);

}  // namespace baskwell
