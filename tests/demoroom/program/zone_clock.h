#pragma once
// How far local time is ahead of UTC at a moment: from a named zone of the system's tzdata, or fixed.
// Seconds. Errors: an unknown zone is a Result. Threads: any.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include "core/result.h"

namespace baskwell::demoroom {

using LocalOffset = std::function<std::int64_t(std::int64_t utc_ms)>;  // seconds

// `zone` empty: the environment's TZ when it is a zone's name, else Europe/London.
[[nodiscard]] Result<LocalOffset> local_offset(const std::string& zone, std::optional<int> offset_minutes);

}  // namespace baskwell::demoroom
