// The plain decoder through the host: a table of payloads, and random numbers that must come through digit by
// digit.
#include <gtest/gtest.h>

#include <array>
#include <iostream>
#include <random>

#include "decoding.h"

namespace baskwell::plugin_host {
namespace {

struct Case {
  bw_unit declared;
  std::string_view payload;
  std::string reading;  // "" if the payload must be refused
  std::string problem;  // part of it
};

Decoder plain(bw_unit unit) {
  Result<Decoder> opened = open("plain", {{{"", unit}}, std::nullopt, {}});
  EXPECT_TRUE(opened.ok());
  return std::move(opened).value();
}

TEST(PlainDecoder, Table) {
  using namespace std::string_view_literals;
  const std::vector<Case> cases = {
      {BW_UNIT_DEGC, "23.5", "0: 23.5 degC", ""},
      {BW_UNIT_DEGC, "23.50", "0: 23.50 degC", ""},
      {BW_UNIT_DEGC, "-0.0625", "0: -0.0625 degC", ""},
      {BW_UNIT_DEGC, "+7", "0: 7 degC", ""},
      {BW_UNIT_DEGC, ".5", "0: 0.5 degC", ""},
      {BW_UNIT_DEGC, "5.", "0: 5 degC", ""},
      {BW_UNIT_DEGC, "007", "0: 7 degC", ""},
      {BW_UNIT_DEGC, " 74.3 F", "0: 74.3 degF", ""},
      {BW_UNIT_DEGC, "21.5 degC\r\n", "0: 21.5 degC", ""},
      {BW_UNIT_DEGC, "21.5\0"sv, "0: 21.5 degC", ""},
      {BW_UNIT_DEGC, "21.5\u00B0C", "0: 21.5 degC", ""},
      {BW_UNIT_DEGF, "294.65K", "0: 294.65 K", ""},
      {BW_UNIT_RH_PERCENT, "55 %", "0: 55 %RH", ""},
      {BW_UNIT_RH_PERCENT, "55%RH", "0: 55 %RH", ""},
      {BW_UNIT_RH_PERCENT, "55 % rH", "0: 55 %RH", ""},
      {BW_UNIT_LUX, "12000 lx", "0: 12000 lux", ""},
      {BW_UNIT_WATT, "60W", "0: 60 W", ""},
      {BW_UNIT_VOLT, "2.97 V", "0: 2.97 V", ""},
      {BW_UNIT_DEGC, "1.2e1", "0: 12 degC", ""},
      {BW_UNIT_DEGC, "1.20e1", "0: 12.0 degC", ""},
      {BW_UNIT_DEGC, "2350E-2", "0: 23.50 degC", ""},
      {BW_UNIT_LUX, "1e5", "0: 100000 lux", ""},
      {BW_UNIT_LUX, "0e-40", "0: 0.000000000000000000 lux", ""},
      {BW_UNIT_DEGC, "nan", "0: not a number", ""},
      {BW_UNIT_DEGC, "-NaN", "0: not a number", ""},
      {BW_UNIT_DEGC, "inf degC", "0: not a number", ""},
      {BW_UNIT_DEGC, "null", "0: not a number", ""},
      {BW_UNIT_LUX, "9223372036854775807", "0: 9223372036854775807 lux", ""},
      {BW_UNIT_LUX, "0.300000000000000000000000000", "0: 0.300000000000000000 lux", ""},
      {BW_UNIT_LUX, "9223372036854775808", "", "more digits than can be kept exactly"},
      {BW_UNIT_LUX, "0.1234567890123456789", "", "more digits than can be kept exactly"},
      {BW_UNIT_LUX, "1e400", "", "more digits than can be kept exactly"},
      {BW_UNIT_LUX, "1e-99999999999999999999", "", "more digits than can be kept exactly"},
      {BW_UNIT_DEGC, "23,5", "", "a comma at byte 2 of '23,5'; the decimal mark is a point"},
      {BW_UNIT_DEGC, " 23,5 C", "", "a comma at byte 3"},
      {BW_UNIT_DEGC, "", "", "empty"},
      {BW_UNIT_DEGC, "  \n", "", "empty"},
      {BW_UNIT_DEGC, "warm", "", "not a number: 'warm'"},
      {BW_UNIT_DEGC, "-", "", "not a number"},
      {BW_UNIT_DEGC, ".", "", "not a number"},
      {BW_UNIT_DEGC, "0x1F", "", "unknown unit 'x1F'"},
      {BW_UNIT_DEGC, "23.5.1", "", "unknown unit '.1'"},
      {BW_UNIT_DEGC, "23.5 24.5", "", "unknown unit '24.5'"},
      {BW_UNIT_DEGC, "1e", "", "unknown unit 'e'"},
      {BW_UNIT_DEGC, "21 c", "", "unknown unit 'c'"},
      {BW_UNIT_DEGC, "55 %", "", "the payload says %RH, declared is degC"},
      {BW_UNIT_RH_PERCENT, "21 degC", "", "the payload says degC, declared is %RH"},
      {BW_UNIT_VOLT, "nan W", "", "the payload says W, declared is V"},
      {BW_UNIT_DEGC, "{\"t\": 1}", "", "not a number: '{\"t\": 1}'"},
      {BW_UNIT_DEGC, "\xFF\xFE\x01", "", "not a number: '"},
  };
  for (const Case& c : cases) {
    SCOPED_TRACE(std::string(c.payload));
    Decoder decoder = plain(c.declared);
    const Outcomes got = decode(decoder, c.payload);
    if (c.reading.empty()) {
      EXPECT_EQ(got.decoded, Decoded::unreadable);
      EXPECT_TRUE(got.readings.empty());
      EXPECT_NE(got.problem.find(c.problem), std::string::npos) << got.problem;
    } else {
      EXPECT_EQ(got.decoded, Decoded::whole) << got.problem;
      EXPECT_EQ(got.readings, std::vector<std::string>{c.reading});
    }
  }
}

TEST(PlainDecoder, APayloadThatIsTooLongIsRefused) {
  Decoder decoder = plain(BW_UNIT_DEGC);
  EXPECT_EQ(decode(decoder, std::string(257, ' ')).decoded, Decoded::unreadable);
  EXPECT_EQ(decode(decoder, std::string(252, ' ') + "23.5").decoded, Decoded::whole);
}

TEST(PlainDecoder, RefusesSettingsThatMakeNoSense) {
  EXPECT_NE(open("plain", {{}, std::nullopt, {}}).error().text.find("exactly one"), std::string::npos);
  EXPECT_NE(open("plain", {{{"/a", BW_UNIT_DEGC}}, std::nullopt, {}}).error().text.find("pointer"),
            std::string::npos);
  EXPECT_NE(open("plain", {{{"", BW_UNIT_DEGC}}, "/t", {}}).error().text.find("time"), std::string::npos);
}

// Any number of up to 18 digits and places comes out with the digits it came in with.
TEST(PlainDecoder, RandomNumbersKeepEveryDigit) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  Decoder decoder = plain(BW_UNIT_DEGC);
  for (int round = 0; round < 20'000; ++round) {
    const auto before = 1 + random() % 9;
    const auto after = random() % 10;
    std::string text = random() % 2 == 0 ? "-" : "";
    text += static_cast<char>('1' + random() % 9);
    for (std::uint64_t i = 1; i < before; ++i) text += static_cast<char>('0' + random() % 10);
    if (after > 0) text += '.';
    for (std::uint64_t i = 0; i < after; ++i) text += static_cast<char>('0' + random() % 10);
    const Outcomes got = decode(decoder, text);
    ASSERT_EQ(got.readings, std::vector<std::string>{"0: " + text + " degC"}) << got.problem;
  }
}

// Any bytes at all: an answer, never a crash, and exactly one of a reading and a problem.
TEST(PlainDecoder, RandomBytesAreAnswered) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  constexpr std::string_view likely = "0123456789.,eE+-% CFKVWluxnaif\t\n";
  Decoder decoder = plain(BW_UNIT_RH_PERCENT);
  for (int round = 0; round < 50'000; ++round) {
    std::string text;
    for (auto left = random() % 12; left > 0; --left) {
      text += random() % 20 == 0 ? static_cast<char>(random()) : likely[random() % likely.size()];
    }
    const Outcomes got = decode(decoder, text);
    ASSERT_EQ(got.readings.size(), got.decoded == Decoded::whole ? 1U : 0U) << text;
    ASSERT_EQ(got.problem.empty(), got.decoded == Decoded::whole) << text;
  }
}

}  // namespace
}  // namespace baskwell::plugin_host
