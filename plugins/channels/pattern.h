#pragma once
// Patterns with placeholders: "{headline}", "{body}", "{priority}", "{person}", "{address}", "{id}". The
// values are escaped for the place they go to, so that no message can break out of it. Other braces stay as
// they are, but {word} with an unknown word is refused, so that a slip of the pen shows when the settings are
// checked. Also the whole message as one JSON object, for receivers that want all of it. Pure. Errors:
// BadSetting from Pattern's constructor. Thread-safe: immutable.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "baskwell/plugin.h"

namespace baskwell::channels {

enum class Escape : std::uint8_t {
  none,      // plain text; control characters other than line feed and tab are dropped
  one_line,  // plain text in one line
  json,      // the inside of a JSON string (RFC 8259)
  percent,   // RFC 3986: only unreserved characters bare; right in a URL and in a form
};

[[nodiscard]] std::string escaped(std::string_view text, Escape escape);

class Pattern {
 public:
  Pattern(std::string_view text, Escape escape);
  [[nodiscard]] std::string filled(const bw_message& message) const;
  // Where the first placeholder begins in the pattern's text; npos if there is none.
  [[nodiscard]] std::size_t first_placeholder() const { return first_placeholder_; }

 private:
  struct Piece {
    std::string text;
    const char* bw_message::*field = nullptr;  // nullptr: the text stands for itself
  };
  std::vector<Piece> pieces_;
  Escape escape_;
  std::size_t first_placeholder_ = std::string_view::npos;
};

// {"id":...,"person":...,"address":...,"priority":...,"headline":...,"body":...,"utc_ms":...,"alarm":{...}};
// `alarm` is the message's own JSON object as the daemon wrote it, null if there is none.
[[nodiscard]] std::string message_json(const bw_message& message);

}  // namespace baskwell::channels
