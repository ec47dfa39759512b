#pragma once
// A message as an e-mail: RFC 5322 header fields with RFC 2047 encoded words, a body in quoted-printable
// (RFC 2045 6.7) where it is not plain short ASCII. Whatever a text holds, it cannot start a header field of
// its own. Pure: no clock, no locale. Lines end in CRLF. Throws BadSetting for an address that is none.

#include <cstdint>
#include <string>
#include <string_view>

#include "baskwell/plugin.h"

namespace baskwell::channels {

// Whether `address` is a plain local@domain in printable ASCII (no display name, no comment, no quotes).
[[nodiscard]] bool is_mail_address(std::string_view address);

// The value of an unstructured header field, folded at 76 characters; `used` characters are already on its
// first line.
[[nodiscard]] std::string header_text(std::string_view text, std::size_t used);

// A display name as a phrase, quoted or encoded as needed.
[[nodiscard]] std::string header_phrase(std::string_view name);

// RFC 5322 date-time in UTC.
[[nodiscard]] std::string mail_date(std::int64_t utc_ms);

[[nodiscard]] std::string quoted_printable(std::string_view text);

// The whole letter, header fields and body.
[[nodiscard]] std::string letter_for(const bw_message& message, const std::string& from,
                                     const std::string& from_name);

}  // namespace baskwell::channels
