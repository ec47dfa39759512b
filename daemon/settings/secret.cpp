#include "settings/secret.h"

#include <array>
#include <fstream>
#include <string_view>

#include "core/check.h"

namespace baskwell {

Result<std::string> Secret::read() const {
  CHECK(given());
  std::ifstream stream(file_, std::ios::binary);
  if (!stream) return Error{"cannot read the secret file " + file_.string()};
  std::array<char, 4096 + 1> bytes{};
  stream.read(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  if (stream.bad()) return Error{"cannot read the secret file " + file_.string()};
  std::string_view text(bytes.data(), static_cast<std::size_t>(stream.gcount()));
  text = text.substr(0, text.find_first_of("\r\n"));
  if (text.size() == bytes.size())
    return Error{"the secret file " + file_.string() + " has a line over 4096 bytes"};
  if (text.empty()) return Error{"the secret file " + file_.string() + " is empty"};
  return std::string(text);
}

}  // namespace baskwell
