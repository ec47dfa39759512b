#pragma once
// Why a broker cannot be reached, for when the client library only says that it cannot: makes one plain
// connection, and over it a TLS handshake where TLS is wanted. Sends nothing else. Blocks for the look-up of
// the name (the system's limits), then at most 1 s an address, three addresses at most, and 2 s for the
// handshake. Any thread. The only place of intake that knows the TLS library.

#include <cstdint>
#include <optional>
#include <string>

namespace baskwell::intake {

struct Destination {
  std::string host;
  std::uint16_t port = 0;
  bool tls = false;
  std::string ca_file;  // "": the system's authorities
};

// In words ("Connection refused"); nothing when a connection could be made.
[[nodiscard]] std::optional<std::string> why_unreachable(const Destination& to);

}  // namespace baskwell::intake
