#pragma once
// Why a host and port cannot be reached, for when the client library only says that they cannot. Tries one
// plain TCP connection. Blocks for the look-up of the name (the system's limits) and then at most 1 s an
// address, three addresses at most. Any thread.

#include <cstdint>
#include <optional>
#include <string>

namespace baskwell::intake {

// In words ("connection refused"); nothing when a connection could be made.
[[nodiscard]] std::optional<std::string> why_unreachable(const std::string& host, std::uint16_t port);

}  // namespace baskwell::intake
