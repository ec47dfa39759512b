#include "letter.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <vector>

namespace baskwell::channels {
namespace {

constexpr std::size_t line_length_max = 76;      // RFC 2045 6.7 and RFC 2047 2
constexpr std::size_t encoded_word_max = 75;     // RFC 2047 2
constexpr std::size_t header_bytes_max = 1'000;  // of a text; the rest is in the body anyway
constexpr std::string_view hex = "0123456789ABCDEF";

constexpr bool is_plain(char c) {
  return c >= 0x20 && c < 0x7F;
}
constexpr bool is_control(char c) {
  return static_cast<unsigned char>(c) < 0x20U || c == 0x7F;
}
constexpr bool is_continuation(char c) {
  return (static_cast<unsigned char>(c) & 0xC0U) == 0x80U;
}
constexpr bool is_letter_or_digit(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

// Control characters, line ends among them, become spaces: nothing in a header can end the line it is in. Cut
// to at most `bytes_max` at a whole character, without spaces at either end.
std::string header_line(std::string_view text, std::size_t bytes_max) {
  if (text.size() > bytes_max) {
    while (bytes_max > 0 && is_continuation(text[bytes_max])) --bytes_max;
    text = text.substr(0, bytes_max);
  }
  std::string clean(text);
  std::replace_if(clean.begin(), clean.end(), is_control, ' ');
  clean.erase(0, clean.find_first_not_of(' '));
  clean.erase(clean.find_last_not_of(' ') + 1);
  return clean;
}

bool all_plain(std::string_view text) {
  return std::all_of(text.begin(), text.end(), is_plain);
}

void append_hex(std::string& out, char c) {
  const auto byte = static_cast<unsigned char>(c);
  out.push_back('=');
  out.push_back(hex[byte >> 4U]);
  out.push_back(hex[byte & 0xFU]);
}

// One whole UTF-8 character at text[i]; a stray byte counts as one.
std::string_view character_at(std::string_view text, std::size_t i) {
  std::size_t end = i + 1;
  while (end < text.size() && end - i < 4 && is_continuation(text[end])) ++end;
  return text.substr(i, end - i);
}

// "Q" encoding (RFC 2047 4.2) with only letters and digits bare, which is right in a phrase too (5, rule 3).
// No character is split over two words; words are folded onto lines of their own.
std::string encoded_words(std::string_view text, std::size_t used) {
  constexpr std::string_view opening = "=?UTF-8?Q?";
  constexpr std::string_view closing = "?=";
  std::string out(opening);
  std::size_t on_line = used + opening.size();
  std::size_t in_word = opening.size();
  for (std::size_t i = 0; i < text.size();) {
    const std::string_view character = character_at(text, i);
    std::string piece;
    for (const char c : character) {
      if (c == ' ') {
        piece.push_back('_');
      } else if (is_letter_or_digit(c)) {
        piece.push_back(c);
      } else {
        append_hex(piece, c);
      }
    }
    const bool word_full = in_word + piece.size() + closing.size() > encoded_word_max;
    const bool line_full = on_line + piece.size() + closing.size() > line_length_max;
    if ((word_full || line_full) && in_word > opening.size()) {
      out.append(closing).append("\r\n ").append(opening);
      in_word = opening.size();
      on_line = 1 + opening.size();
    }
    out.append(piece);
    in_word += piece.size();
    on_line += piece.size();
    i += character.size();
  }
  return out.append(closing);
}

// Plain text folded at its spaces. Empty: a word is too long for a line, so it has to be encoded.
std::string folded(std::string_view text, std::size_t used) {
  std::string out;
  std::size_t on_line = used;
  while (!text.empty()) {  // a run of spaces and the word behind it at a time
    const std::size_t start = std::min(text.find_first_not_of(' '), text.size());
    const std::size_t length = std::min(text.find(' ', start), text.size());
    if (length > line_length_max) return {};
    if (on_line + length > line_length_max && start > 0) {
      out.append("\r\n");
      on_line = 0;
    }
    out.append(text.substr(0, length));
    on_line += length;
    text.remove_prefix(length);
  }
  return out;
}

std::int64_t floor_divided(std::int64_t a, std::int64_t b) {
  return a / b - (a % b < 0 ? 1 : 0);
}

// What of an id may stand in a Message-ID (RFC 5322 atext, without the rarer signs).
std::string as_atoms(std::string_view id) {
  std::string out;
  for (const char c : id.substr(0, 200)) {
    out.push_back(is_letter_or_digit(c) || c == '-' || c == '_' ? c : '-');
  }
  return out.empty() ? "message" : out;
}

struct Importance {
  std::string_view importance;  // RFC 4021 2.1.53: high, normal, low
  std::string_view priority;    // RFC 4021 2.1.54: urgent, normal, non-urgent
};

Importance importance_of(std::string_view priority) {
  if (priority == "high") return {"high", "urgent"};
  if (priority == "low") return {"low", "non-urgent"};
  return {"normal", "normal"};
}

// The body's lines with CRLF ends, whatever they had.
std::string with_crlf(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\r' && i + 1 < text.size() && text[i + 1] == '\n') continue;
    if (text[i] == '\n' || text[i] == '\r') {
      out.append("\r\n");
    } else {
      out.push_back(text[i]);
    }
  }
  if (!out.ends_with("\r\n")) out.append("\r\n");
  return out;
}

// Whether every line is plain ASCII (tabs allowed) and short enough to go as it is.
bool fits_7bit(std::string_view crlf_text) {
  std::size_t length = 0;
  for (const char c : crlf_text) {
    if (c == '\n') {
      length = 0;
    } else if (c != '\r' && ((!is_plain(c) && c != '\t') || ++length > line_length_max)) {
      return false;
    }
  }
  return true;
}

}  // namespace

bool is_mail_address(std::string_view address) {
  constexpr std::size_t path_max = 254;  // RFC 5321 4.5.3.1.3, without the angle brackets
  const std::size_t at = address.find('@');
  if (at == std::string_view::npos || at == 0 || at + 1 == address.size() || address.size() > path_max)
    return false;
  if (address.find('@', at + 1) != std::string_view::npos || address[0] == '-') return false;
  constexpr std::string_view atext_signs = "!#$%&'*+-/=?^_`{|}~.";
  const std::string_view local = address.substr(0, at);
  const bool local_good = std::all_of(local.begin(), local.end(), [&](char c) {
    return is_letter_or_digit(c) || atext_signs.find(c) != std::string_view::npos;
  });
  const std::string_view domain = address.substr(at + 1);
  return local_good && std::all_of(domain.begin(), domain.end(),
                                   [](char c) { return is_letter_or_digit(c) || c == '-' || c == '.'; });
}

std::string header_text(std::string_view text, std::size_t used) {
  const std::string clean = header_line(text, header_bytes_max);
  // A text that looks like an encoded word would be decoded by the reader, so it is encoded itself.
  if (all_plain(clean) && clean.find("=?") == std::string::npos) {
    std::string plain = folded(clean, used);
    if (!plain.empty() || clean.empty()) return plain;
  }
  return encoded_words(clean, used);
}

std::string header_phrase(std::string_view name) {
  const std::string clean = header_line(name, 100);
  if (!all_plain(clean) || clean.find("=?") != std::string::npos) return encoded_words(clean, 6);
  std::string quoted = "\"";
  for (const char c : clean) {
    if (c == '"' || c == '\\') quoted.push_back('\\');
    quoted.push_back(c);
  }
  return quoted + "\"";
}

std::string mail_date(std::int64_t utc_ms) {
  static constexpr std::array<const char*, 7> weekdays = {"Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed"};
  static constexpr std::array<const char*, 12> months = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const std::int64_t seconds = floor_divided(utc_ms, 1000);
  const std::int64_t days = floor_divided(seconds, 86'400);
  const std::int64_t of_day = seconds - days * 86'400;
  // Civil date from days since 1970: years counted from March, 400-year cycles of 146097 days.
  const std::int64_t shifted = days + 719'468;
  const std::int64_t era = floor_divided(shifted, 146'097);
  const std::int64_t day_of_era = shifted - era * 146'097;
  const std::int64_t year_of_era =
      (day_of_era - day_of_era / 1'460 + day_of_era / 36'524 - day_of_era / 146'096) / 365;
  const std::int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const std::int64_t month_from_march = (5 * day_of_year + 2) / 153;
  const std::int64_t day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
  const std::int64_t month =
      month_from_march < 10 ? month_from_march + 2 : month_from_march - 10;  // 0: January
  const std::int64_t year = year_of_era + era * 400 + (month < 2 ? 1 : 0);
  std::array<char, 64> text{};
  const auto weekday = static_cast<std::size_t>(((days % 7) + 7) % 7);
  std::snprintf(text.data(), text.size(), "%s, %02d %s %04d %02d:%02d:%02d +0000", weekdays.at(weekday),
                static_cast<int>(day), months.at(static_cast<std::size_t>(month)), static_cast<int>(year),
                static_cast<int>(of_day / 3600), static_cast<int>(of_day / 60 % 60),
                static_cast<int>(of_day % 60));
  return text.data();
}

std::string quoted_printable(std::string_view text) {
  std::string out;
  std::size_t on_line = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '\r' && i + 1 < text.size() && text[i + 1] == '\n') {
      out.append("\r\n");
      on_line = 0;
      ++i;
      continue;
    }
    const bool ends_line = i + 1 == text.size() || text[i + 1] == '\r';
    const bool bare = (c > 0x20 && c < 0x7F && c != '=') || ((c == ' ' || c == '\t') && !ends_line);
    const std::size_t width = bare ? 1 : 3;
    if (on_line + width > line_length_max - 1) {  // one for the soft break's own '='
      out.append("=\r\n");
      on_line = 0;
    }
    if (bare) {
      out.push_back(c);
    } else {
      append_hex(out, c);
    }
    on_line += width;
  }
  return out;
}

std::string letter_for(const bw_message& message, const std::string& from, const std::string& from_name) {
  const std::string_view person(message.person);
  const Importance importance = importance_of(message.priority);
  std::string out = "Date: " + mail_date(message.utc_ms);
  out.append("\r\nFrom: ").append(header_phrase(from_name)).append("\r\n <").append(from);
  out.append(">\r\nTo: ");
  if (!person.empty()) out.append(header_phrase(person)).append("\r\n ");
  out.append("<").append(message.address).append(">\r\nSubject: ");
  out.append(header_text(message.headline, std::string_view("Subject: ").size()));
  out.append("\r\nMessage-ID: <")
      .append(as_atoms(message.id))
      .append(from.substr(from.find('@')))
      .append(">");
  out.append("\r\nImportance: ").append(importance.importance);
  out.append("\r\nPriority: ").append(importance.priority);
  out.append("\r\nAuto-Submitted: auto-generated");  // RFC 3834: no absence notices back
  out.append(
      "\r\nMIME-Version: 1.0\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: ");
  const std::string body = with_crlf(message.body);
  const bool plain = fits_7bit(body);
  out.append(plain ? "7bit\r\n\r\n" : "quoted-printable\r\n\r\n");
  return out.append(plain ? body : quoted_printable(body));
}

}  // namespace baskwell::channels
