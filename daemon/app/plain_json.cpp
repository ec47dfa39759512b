#include "app/plain_json.h"

#include <array>
#include <boost/json.hpp>
#include <charconv>
#include <cmath>
#include <system_error>
#include <utility>

#include "core/check.h"

namespace baskwell {
namespace {

namespace json = boost::json;

void add(std::string& text, const json::value& value) {
  if (value.is_double()) {
    CHECK(std::isfinite(value.get_double()));
    // The largest has 309 digits before the point, the smallest 1074 after it.
    std::array<char, 1100> digits{};
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), value.get_double(),
                                   std::chars_format::fixed);
    CHECK(end.ec == std::errc());
    text.append(digits.data(), end.ptr);
  } else if (value.is_array()) {
    text += '[';
    bool first = true;
    for (const json::value& each : value.get_array()) {
      if (!std::exchange(first, false)) text += ',';
      add(text, each);
    }
    text += ']';
  } else if (value.is_object()) {
    text += '{';
    bool first = true;
    for (const auto& [key, each] : value.get_object()) {
      if (!std::exchange(first, false)) text += ',';
      text += json::serialize(key) + ":";
      add(text, each);
    }
    text += '}';
  } else {
    text += json::serialize(value);
  }
}

}  // namespace

std::string plain_json(const json::value& value) {
  std::string text;
  add(text, value);
  return text;
}

}  // namespace baskwell
