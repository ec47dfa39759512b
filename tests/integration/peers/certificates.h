#pragma once
// Certificates for tests, made by the openssl command: an authority of our own and a server certificate for
// "localhost" and 127.0.0.1, valid for one day, plus a second authority that signed nothing (for refusals).

#include <string>

#include "core/result.h"
#include "peers/peers.h"

namespace baskwell::peers {

struct Certificates {
  std::string ca_file;        // PEM
  std::string stranger_file;  // PEM of an authority that did not sign the server
  std::string server_file;    // PEM
  std::string server_key_file;
};

[[nodiscard]] Result<Certificates> make_certificates(const TempFolder& folder);

}  // namespace baskwell::peers
