#include "pattern.h"

#include <algorithm>
#include <array>

#include "baskwell/plugin.hpp"

namespace baskwell::channels {
namespace {

constexpr std::string_view hex = "0123456789ABCDEF";

struct Placeholder {
  std::string_view name;
  const char* bw_message::*field;
};

constexpr std::array<Placeholder, 6> placeholders = {{{"headline", &bw_message::headline},
                                                      {"body", &bw_message::body},
                                                      {"priority", &bw_message::priority},
                                                      {"person", &bw_message::person},
                                                      {"address", &bw_message::address},
                                                      {"id", &bw_message::id}}};

constexpr bool is_small_letter(char c) {
  return c >= 'a' && c <= 'z';
}
constexpr bool is_control(char c) {
  return static_cast<unsigned char>(c) < 0x20U || c == 0x7F;
}

constexpr bool is_unreserved(char c) {  // RFC 3986 2.3
  return is_small_letter(c) || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '.' ||
         c == '_' || c == '~';
}

void append_json(std::string& out, char c) {
  switch (c) {
    case '"':
      out.append("\\\"");
      return;
    case '\\':
      out.append("\\\\");
      return;
    case '\n':
      out.append("\\n");
      return;
    default:
      break;
  }
  if (!is_control(c)) {
    out.push_back(c);
    return;
  }
  const auto byte = static_cast<unsigned char>(c);
  out.append("\\u00").push_back(hex[byte >> 4U]);
  out.push_back(hex[byte & 0xFU]);
}

void append_percent(std::string& out, char c) {
  if (is_unreserved(c)) {
    out.push_back(c);
    return;
  }
  const auto byte = static_cast<unsigned char>(c);
  out.push_back('%');
  out.push_back(hex[byte >> 4U]);
  out.push_back(hex[byte & 0xFU]);
}

std::string quoted(std::string_view text) {
  return "\"" + escaped(text, Escape::json) + "\"";
}

}  // namespace

std::string escaped(std::string_view text, Escape escape) {
  std::string out;
  out.reserve(text.size() + text.size() / 8);
  for (const char c : text) {
    switch (escape) {
      case Escape::none:
        if (!is_control(c) || c == '\n' || c == '\t') out.push_back(c);
        break;
      case Escape::one_line:
        out.push_back(is_control(c) ? ' ' : c);
        break;
      case Escape::json:
        append_json(out, c);
        break;
      case Escape::percent:
        append_percent(out, c);
        break;
    }
  }
  return out;
}

Pattern::Pattern(std::string_view text, Escape escape) : escape_(escape) {
  std::string literal;
  for (std::size_t i = 0; i < text.size();) {
    std::size_t end = i + 1;
    while (text[i] == '{' && end < text.size() && is_small_letter(text[end])) ++end;
    if (text[i] != '{' || end == i + 1 || end == text.size() || text[end] != '}') {
      literal.push_back(text[i++]);
      continue;
    }
    const std::string_view name = text.substr(i + 1, end - i - 1);
    const auto* known =
        std::find_if(placeholders.begin(), placeholders.end(),
                     [&](const Placeholder& placeholder) { return placeholder.name == name; });
    if (known == placeholders.end()) {
      throw plugin::BadSetting("unknown placeholder {" + std::string(name) +
                               "}; known: {headline} {body} {priority} {person} {address} {id}");
    }
    first_placeholder_ = std::min(first_placeholder_, i);
    pieces_.push_back({std::exchange(literal, {}), nullptr});
    pieces_.push_back({{}, known->field});
    i = end + 1;
  }
  pieces_.push_back({std::move(literal), nullptr});
}

std::string Pattern::filled(const bw_message& message) const {
  std::string out;
  for (const Piece& piece : pieces_) {
    out.append(piece.field == nullptr ? piece.text : escaped(message.*piece.field, escape_));
  }
  return out;
}

std::string message_json(const bw_message& message) {
  std::string out = "{\"id\":" + quoted(message.id);
  out.append(",\"person\":").append(quoted(message.person));
  out.append(",\"address\":").append(quoted(message.address));
  out.append(",\"priority\":").append(quoted(message.priority));
  out.append(",\"headline\":").append(quoted(message.headline));
  out.append(",\"body\":").append(quoted(message.body));
  out.append(",\"utc_ms\":").append(std::to_string(message.utc_ms));
  out.append(",\"alarm\":").append(*message.json != '\0' ? message.json : "null");
  return out.append("}");
}

}  // namespace baskwell::channels
