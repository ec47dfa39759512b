// Header fields and bodies of letters: the examples and limits of RFC 2045, 2047 and 5322, and random texts
// decoded again by a reader written here from the RFCs.
#include "letter.h"

#include <gtest/gtest.h>

#include <ctime>
#include <iostream>
#include <random>
#include <string>

namespace baskwell::channels {
namespace {

int hex_value(char c) {
  return c <= '9' ? c - '0' : c - 'A' + 10;
}

// RFC 2047: unfolds, drops the blank between encoded words, decodes "Q".
std::string decoded_header(std::string text) {
  for (std::size_t at = text.find("\r\n"); at != std::string::npos; at = text.find("\r\n")) text.erase(at, 2);
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    if (!text.substr(i).starts_with("=?UTF-8?Q?")) {
      out += text[i++];
      continue;
    }
    for (i += 10; text.substr(i, 2) != "?="; ++i) {
      if (text[i] == '_') {
        out += ' ';
      } else if (text[i] == '=') {
        out += static_cast<char>(hex_value(text[i + 1]) * 16 + hex_value(text[i + 2]));
        i += 2;
      } else {
        out += text[i];
      }
    }
    i += 2;
    if (text.substr(i).starts_with(" =?")) ++i;
  }
  return out;
}

// RFC 2045 6.7.
std::string decoded_body(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '=') {
      out += text[i];
    } else if (text[i + 1] == '\r') {
      i += 2;
    } else {
      out += static_cast<char>(hex_value(text[i + 1]) * 16 + hex_value(text[i + 2]));
      i += 2;
    }
  }
  return out;
}

std::size_t longest_line(std::string_view text, std::size_t used) {
  std::size_t longest = 0;
  for (std::size_t begin = 0; begin <= text.size();) {
    const std::size_t end = std::min(text.find("\r\n", begin), text.size());
    longest = std::max(longest, end - begin + (begin == 0 ? used : 0));
    begin = end + 2;
  }
  return longest;
}

TEST(Letter, PlainHeadersStayReadable) {
  EXPECT_EQ(header_text("Tub 7 too cold", 9), "Tub 7 too cold");
  EXPECT_EQ(header_text("", 9), "");
  EXPECT_EQ(header_text("a\r\nb", 9), "a  b");
  EXPECT_EQ(header_phrase("Ines Okafor"), "\"Ines Okafor\"");
  EXPECT_EQ(header_phrase("the \"boss\" \\"), "\"the \\\"boss\\\" \\\\\"");
  EXPECT_EQ(header_text("21 \u00B0C", 9), "=?UTF-8?Q?21_=C2=B0C?=");
}

TEST(Letter, DatesAgainstTheCLibrary) {
  EXPECT_EQ(mail_date(0), "Thu, 01 Jan 1970 00:00:00 +0000");
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  for (int round = 0; round < 20'000; ++round) {
    const auto seconds = static_cast<std::time_t>(random() % 253'402'300'800);
    std::tm parts{};
    ASSERT_NE(gmtime_r(&seconds, &parts), nullptr);
    char text[64];
    ASSERT_GT(std::strftime(text, sizeof text, "%a, %d %b %Y %H:%M:%S +0000", &parts), 0U);
    ASSERT_EQ(mail_date(static_cast<std::int64_t>(seconds) * 1000 + 999), text);
  }
}

std::string random_text(std::mt19937_64& random, bool lines) {
  static constexpr std::string_view pieces[] = {
      "a",      "B7",         " ",  "  ", "=",     "?",     "=?UTF-8?Q?x?=", "_", ".", "\t", "\u00B0C",
      "\u2603", "\U0001F98E", "\"", "\\", "wordy", "word ", "enclosure 7",   "<", "@", "~"};
  std::string text;
  for (auto left = random() % 60; left > 0; --left) {
    if (lines && random() % 10 == 0) text += "\r\n";
    text += pieces[random() % std::size(pieces)];
  }
  return text;
}

TEST(Letter, RandomTextsComeOutAsTheyWentIn) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  for (int round = 0; round < 20'000; ++round) {
    std::string text = random_text(random, false);
    std::replace(text.begin(), text.end(), '\t', ' ');
    text.erase(0, text.find_first_not_of(' '));
    text.erase(text.find_last_not_of(' ') + 1);
    const std::string header = header_text(text, 9);
    ASSERT_EQ(decoded_header(header), text) << header;
    ASSERT_LE(longest_line(header, 9), 76U + 9U) << header;
    ASSERT_EQ(header.find("\r\n\r\n"), std::string::npos);
    const std::string body = random_text(random, true);
    const std::string encoded = quoted_printable(body);
    ASSERT_EQ(decoded_body(encoded), body);
    ASSERT_LE(longest_line(encoded, 0), 76U);
    ASSERT_EQ(encoded.find(" \r\n"), std::string::npos);  // blanks at a line's end would be lost on the way
  }
}

TEST(Letter, ACharacterIsNeverSplitBetweenTwoEncodedWords) {
  std::string text;
  for (int i = 0; i < 100; ++i) text += "\U0001F98E";
  const std::string header = header_text(text, 9);
  EXPECT_EQ(decoded_header(header), text);
  for (std::size_t at = header.find("=?"); at != std::string::npos; at = header.find("=?UTF-8", at + 1)) {
    EXPECT_EQ(header.substr(at + 10, 12), "=F0=9F=A6=8E") << header.substr(at, 80);
  }
}

TEST(Letter, Addresses) {
  for (const char* good : {"a@b", "first.last+tag@mail.example.org", "o'neil@example.org"}) {
    EXPECT_TRUE(is_mail_address(good)) << good;
  }
  for (const char* bad :
       {"", "a", "@b", "a@", "a@b@c", "a b@c", "a@b>", "<a@b>", "a@b\r\n", "a@b c", "\"a\"@b", "a@[::1]"}) {
    EXPECT_FALSE(is_mail_address(bad)) << bad;
  }
  EXPECT_FALSE(is_mail_address(std::string(250, 'a') + "@example.org"));
}

}  // namespace
}  // namespace baskwell::channels
