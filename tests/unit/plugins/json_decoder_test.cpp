// The json decoder through the host: many quantities, own time, refusals; random documents against a model
// that looks the pointers up in a tree (Boost.JSON's own, an independent implementation of RFC 6901).
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <iostream>
#include <random>

#include "decoding.h"

namespace baskwell::plugin_host {
namespace {

using Words = std::vector<std::string>;

Decoder json(std::vector<Wanted> wanted, std::optional<std::string> time = std::nullopt) {
  Result<Decoder> opened = open("json", {std::move(wanted), std::move(time), {}});
  EXPECT_TRUE(opened.ok()) << (opened.ok() ? "" : opened.error().text);
  return std::move(opened).value();
}

TEST(JsonDecoder, ManyQuantitiesOfOneMessageWithItsOwnTime) {
  Decoder decoder = json({{"/temperature", BW_UNIT_DEGC},
                          {"/air/humidity", BW_UNIT_RH_PERCENT},
                          {"/battery/volts", BW_UNIT_VOLT},
                          {"/light/0", BW_UNIT_LUX}},
                         "/sent");
  const Outcomes got =
      decode(decoder, R"({"temperature": 23.50, "air": {"pressure": 1013, "humidity": "55 %"},
      "light": [1200, 7], "battery": {"volts": 2.970}, "sent": "2026-11-24T12:00:00.250+01:00"})");
  EXPECT_EQ(got.decoded, Decoded::whole) << got.problem;
  EXPECT_EQ(got.readings, (Words{"0: 23.50 degC @1795518000250", "1: 55 %RH @1795518000250",
                                 "2: 2.970 V @1795518000250", "3: 1200 lux @1795518000250"}));
}

struct Case {
  std::string_view payload;
  Decoded decoded;
  Words readings;
  std::string problem;
};

void check(Decoder& decoder, const std::vector<Case>& cases) {
  for (const Case& c : cases) {
    SCOPED_TRACE(std::string(c.payload));
    const Outcomes got = decode(decoder, c.payload);
    EXPECT_EQ(got.decoded, c.decoded) << got.problem;
    EXPECT_EQ(got.readings, c.readings);
    EXPECT_NE(got.problem.find(c.problem), std::string::npos) << got.problem;
  }
}

TEST(JsonDecoder, NumbersAsTheyCome) {
  Decoder decoder = json({{"/t", BW_UNIT_DEGC}});
  const Decoded whole = Decoded::whole;
  check(decoder, {
                     {R"({"t":23.5})", whole, {"0: 23.5 degC"}, ""},
                     {R"({"t":23.500})", whole, {"0: 23.500 degC"}, ""},
                     {R"({"t":-0.0})", whole, {"0: 0.0 degC"}, ""},
                     {R"({"t":0})", whole, {"0: 0 degC"}, ""},
                     {R"({"t":-0})", whole, {"0: 0 degC"}, ""},
                     {R"({"t":-127})", whole, {"0: -127 degC"}, ""},
                     {R"({"t":1.20E+1})", whole, {"0: 12.0 degC"}, ""},
                     {R"({"t":25e-1})", whole, {"0: 2.5 degC"}, ""},
                     {R"({"t":23.299999237060547})", whole, {"0: 23.299999237060547 degC"}, ""},
                     {R"({"t":9223372036854775807})", whole, {"0: 9223372036854775807 degC"}, ""},
                     {R"({"t":"23.5"})", whole, {"0: 23.5 degC"}, ""},
                     {R"({"t":" 74.30 \u0046 "})", whole, {"0: 74.30 degF"}, ""},
                     {R"({"t":null})", whole, {"0: not a number"}, ""},
                     {R"({"t":"NaN"})", whole, {"0: not a number"}, ""},
                     {R"({"t":NaN})", whole, {"0: not a number"}, ""},
                     {R"({"t":-inf,"nan":"nan"})", whole, {"0: not a number"}, ""},
                     {"{\"t\":23.5}\n\0", whole, {"0: 23.5 degC"}, ""},
                     {"\xEF\xBB\xBF{\"t\":23.5}", whole, {"0: 23.5 degC"}, ""},
                     {R"({"\u0074":1})", whole, {"0: 1 degC"}, ""},
                     {R"({"other":{"t":9},"list":[{"t":8}],"t":1})", whole, {"0: 1 degC"}, ""},
                 });
}

TEST(JsonDecoder, Refusals) {
  Decoder decoder = json({{"/t", BW_UNIT_DEGC}});
  const Decoded no = Decoded::unreadable;
  check(decoder, {
                     {R"({"t":18446744073709551616})", no, {}, "more digits than can be kept exactly"},
                     {R"({"t":"23,5"})", no, {}, "'/t': a comma at byte 2"},
                     {R"({"t":"55 %"})", no, {}, "the payload says %RH, declared is degC"},
                     {R"({"t":"off"})", no, {}, "'/t': not a number: 'off'"},
                     {R"({"t":true})", no, {}, "'/t' is true or false"},
                     {R"({"t":{}})", no, {}, "'/t' is an object"},
                     {R"({"t":[1]})", no, {}, "'/t' is an array"},
                     {R"({"u":1})", no, {}, "no '/t'"},
                     {R"([1])", no, {}, "no '/t'"},
                     {R"(1)", no, {}, "no '/t'"},
                     {"", no, {}, "not JSON"},
                     {"23.5 C", no, {}, "not JSON: more text behind the value at byte 5"},
                     {R"({"t":23,5})", no, {}, "not JSON: syntax error at byte 8"},
                     {R"({"t":23.5)", no, {}, "not JSON: incomplete JSON at byte 9"},
                     {R"({"t":01})", no, {}, "not JSON"},
                     {R"({"t":nano})", no, {}, "not JSON"},
                     {R"({"t":NaN,})", no, {}, "not JSON"},
                     {R"({"t":1e9999999999})", no, {}, "not JSON"},
                     {"{\"t\":\"\xFF\"}", no, {}, "not JSON"},
                     // RFC 6901 section 4: a referenced name that is not unique is undefined
                     {R"({"t":1,"t":2})", no, {}, "twice in the same object: '/t'"},
                     {R"({"t":"12345678901234567890123456789012345678901234567890123456789012345"})",
                      no,
                      {},
                      "too long"},
                 });
}

TEST(JsonDecoder, WhatCanBeUsedIsUsed) {
  Decoder decoder = json({{"/a", BW_UNIT_DEGC}, {"/b/c", BW_UNIT_LUX}, {"/b/d", BW_UNIT_VOLT}}, "/when");
  check(decoder,
        {
            {R"({"a":1,"b":{"c":false}})", Decoded::in_part, {"0: 1 degC"}, "'/b/c' is true or false"},
            {R"({"b":{"d":3}})", Decoded::whole, {"2: 3 V"}, ""},
            {R"({"a":1,"when":null})", Decoded::whole, {"0: 1 degC"}, ""},
            {R"({"a":1,"when":"noon"})", Decoded::in_part, {"0: 1 degC"}, "the time at '/when' is neither"},
            {R"({"a":1,"when":[]})", Decoded::in_part, {"0: 1 degC"}, "'/when' is an array"},
            {R"({"b":{"c":1},"b":{"d":2}})", Decoded::unreadable, {}, "twice in the same object: '/b/c'"},
            // Names that are not wanted, and the same name in two objects, may repeat.
            {R"({"a":1,"x":1,"x":{"a":1,"b":1}})", Decoded::whole, {"0: 1 degC"}, ""},
        });
}

TEST(JsonDecoder, Times) {
  Decoder decoder = json({{"/a", BW_UNIT_DEGC}}, "/t");
  const auto at = [&](const std::string& time) {
    const Outcomes got = decode(decoder, "{\"a\":1,\"t\":" + time + "}");
    return got.readings.empty() ? "none" : got.readings[0].substr(std::string("0: 1 degC").size());
  };
  EXPECT_EQ(at("1795518000"), " @1795518000000");
  EXPECT_EQ(at("1795518000.2509"), " @1795518000250");
  EXPECT_EQ(at("1795518000250"), " @1795518000250");
  EXPECT_EQ(at("\"1795518000\""), " @1795518000000");
  EXPECT_EQ(at("99999999999"), " @99999999999000");  // the last second, 5138-11-16
  EXPECT_EQ(at("100000000000"), " @100000000000");   // the first millisecond, 1973-03-03
  EXPECT_EQ(at("\"2026-11-24T11:00:00Z\""), " @1795518000000");
  EXPECT_EQ(at("-5"), "");
  EXPECT_EQ(at("1e17"), "");
  EXPECT_EQ(at("\"2026-11-24\""), "");
}

TEST(JsonDecoder, DepthAndSizeAreLimited) {
  Decoder decoder = json({{"/t", BW_UNIT_DEGC}});
  const auto nested = [](std::size_t levels) {
    return R"({"t":1,"x":)" + std::string(levels, '[') + std::string(levels, ']') + "}";
  };
  EXPECT_EQ(decode(decoder, nested(31)).decoded, Decoded::whole);
  const Outcomes deep = decode(decoder, nested(32));
  EXPECT_EQ(deep.decoded, Decoded::unreadable);
  EXPECT_NE(deep.problem.find("too deep"), std::string::npos) << deep.problem;
  EXPECT_EQ(decode(decoder, nested(30'000)).decoded, Decoded::unreadable);
  EXPECT_EQ(decode(decoder, R"({"t":1,"x":")" + std::string(60'000, 'y') + "\"}").decoded, Decoded::whole);
  const Outcomes big = decode(decoder, R"({"t":1,"x":")" + std::string(70'000, 'y') + "\"}");
  EXPECT_EQ(big.decoded, Decoded::unreadable);
  EXPECT_NE(big.problem.find("longer than 65536 bytes"), std::string::npos) << big.problem;
  EXPECT_EQ(decode(decoder, R"({"t":1})").decoded, Decoded::whole);  // and it goes on after all that
}

TEST(JsonDecoder, RefusesSettingsThatMakeNoSense) {
  const auto refused = [](const DecoderSettings& settings) { return open("json", settings).error().text; };
  EXPECT_NE(refused({{}, std::nullopt, {}}).find("between 1 and 256"), std::string::npos);
  EXPECT_NE(refused({{{"t", BW_UNIT_DEGC}}, std::nullopt, {}}).find("must be empty or begin with '/'"),
            std::string::npos);
  EXPECT_NE(refused({{{"/a~2", BW_UNIT_DEGC}}, std::nullopt, {}}).find("'~'"), std::string::npos);
  EXPECT_NE(refused({{{"/a~", BW_UNIT_DEGC}}, std::nullopt, {}}).find("'~'"), std::string::npos);
  EXPECT_NE(refused({{{"/a", BW_UNIT_DEGC}}, "/a", {}}).find("both"), std::string::npos);
  EXPECT_NE(refused({{{"/a", BW_UNIT_DEGC}}, std::nullopt, {{"colour", "red"}}}).find("unknown key 'colour'"),
            std::string::npos);
}

TEST(JsonDecoder, TheSamePointerMayBeWantedTwice) {
  Decoder decoder = json({{"/t", BW_UNIT_DEGC}, {"/t", BW_UNIT_DEGF}});
  EXPECT_EQ(decode(decoder, R"({"t":70})").readings, (Words{"0: 70 degC", "1: 70 degF"}));
}

// Random documents, built from few names so that pointers often hit; every leaf is a distinct whole number.
class RandomDocuments {
 public:
  explicit RandomDocuments(std::uint64_t seed) : random_(seed) {}
  std::string value(int depth) {
    const auto kind = depth >= 5 ? 0 : random_() % 4;
    if (kind < 2) return std::to_string(++leaves_);
    const bool object = kind == 2;
    std::string text = object ? "{" : "[";
    std::vector<std::string> names = {"a", "b", "0", "1", "", "~", "/", "-", "01"};
    std::shuffle(names.begin(), names.end(), random_);
    const std::size_t count = random_() % 5;
    for (std::size_t i = 0; i < count; ++i) {
      if (i > 0) text += ",";
      if (object) text += "\"" + names[i] + "\":";
      text += value(depth + 1);
    }
    return text + (object ? "}" : "]");
  }
  std::string pointer() {
    static constexpr std::string_view tokens[] = {"a", "b", "0", "1", "", "~0", "~1", "-", "01", "2"};
    std::string text;
    for (auto left = random_() % 4; left > 0; --left)
      text.append("/").append(tokens[random_() % std::size(tokens)]);
    return text;
  }

 private:
  std::mt19937_64 random_;
  int leaves_ = 0;
};

// RFC 6901 section 4 on a parsed tree, written down step by step. (Not Boost.JSON 1.81's own find_pointer: it
// takes an empty token for the array index 0, which the grammar of section 4 does not allow.)
const boost::json::value* looked_up(const boost::json::value& document, std::string_view pointer) {
  const boost::json::value* at = &document;
  while (!pointer.empty()) {
    pointer.remove_prefix(1);
    std::string token(pointer.substr(0, pointer.find('/')));
    pointer.remove_prefix(token.size());
    for (std::size_t i = token.find("~1"); i != std::string::npos; i = token.find("~1"))
      token.replace(i, 2, "/");
    for (std::size_t i = token.find("~0"); i != std::string::npos; i = token.find("~0", i + 1))
      token.replace(i, 2, "~");
    if (const boost::json::object* object = at->if_object()) {
      at = object->if_contains(token);
    } else if (const boost::json::array* array = at->if_array()) {
      const bool index = token == "0" || token == "1" || token == "2";  // all that the test's pointers have
      at = index ? array->if_contains(std::stoul(token)) : nullptr;
    } else {
      at = nullptr;
    }
    if (at == nullptr) return nullptr;
  }
  return at;
}

TEST(JsonDecoder, RandomDocumentsAgainstAModel) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  RandomDocuments documents(seed);
  std::size_t hits = 0;
  for (int round = 0; round < 3'000; ++round) {
    std::vector<Wanted> wanted;
    wanted.reserve(6);
    for (int i = 0; i < 6; ++i) wanted.push_back({documents.pointer(), BW_UNIT_DEGC});
    Decoder decoder = json(wanted);
    for (int repeat = 0; repeat < 4; ++repeat) {
      const std::string text = documents.value(0);
      Words expected;
      const boost::json::value tree = boost::json::parse(text);
      for (std::size_t i = 0; i < wanted.size(); ++i) {
        const boost::json::value* found = looked_up(tree, wanted[i].pointer);
        if (found == nullptr || !found->is_int64()) continue;
        expected.push_back(std::to_string(i) + ": " + std::to_string(found->as_int64()) + " degC");
      }
      hits += expected.size();
      std::string pointers;
      for (const Wanted& one : wanted) pointers += "'" + one.pointer + "' ";
      ASSERT_EQ(decode(decoder, text).readings, expected) << text << " " << pointers;
    }
  }
  EXPECT_GT(hits, 1'000U);
}

TEST(JsonDecoder, RandomBytesAreAnswered) {
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  const std::string good = R"({"t":23.5,"l":["\u00e9",1e3,NaN],"o":{"x":null}})";
  Decoder decoder = json({{"/t", BW_UNIT_DEGC}, {"/l/1", BW_UNIT_LUX}, {"/o/x", BW_UNIT_VOLT}}, "/l/0");
  for (int round = 0; round < 50'000; ++round) {
    std::string text = good;
    for (auto left = random() % 4; left > 0; --left) {
      const std::size_t at = random() % text.size();
      if (random() % 2 == 0) {
        text[at] = static_cast<char>(random());
      } else {
        text.erase(at, 1 + random() % 3);
      }
    }
    const Outcomes got = decode(decoder, text);
    ASSERT_EQ(got.decoded == Decoded::unreadable, got.readings.empty()) << text;
    ASSERT_EQ(got.decoded == Decoded::whole, got.problem.empty()) << text;
  }
}

}  // namespace
}  // namespace baskwell::plugin_host
