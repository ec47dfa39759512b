#pragma once
// The daemon's own state in words, from the JSON that `status --json` gives. Pure.

#include <boost/json/object.hpp>
#include <string>

namespace baskwell {

[[nodiscard]] std::string status_text(const boost::json::object& status);

}  // namespace baskwell
