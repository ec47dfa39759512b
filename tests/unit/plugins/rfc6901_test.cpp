// Every pointer of RFC 6901 section 5 on the RFC's own document, and the rules of section 4, through the json
// decoder. Source: tests/reference/jsonpointer-rfc6901.json (its "_source" says where it was read).
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <fstream>
#include <sstream>

#include "decoding.h"

namespace baskwell::plugin_host {
namespace {

boost::json::value reference() {
  std::ifstream file(BASKWELL_REFERENCE_DIR "/jsonpointer-rfc6901.json");
  EXPECT_TRUE(file.good());
  std::stringstream text;
  text << file.rdbuf();
  return boost::json::parse(text.str());
}

Outcomes evaluate(const std::string& pointer, const std::string& document) {
  Result<Decoder> decoder = open("json", {{{pointer, BW_UNIT_LUX}}, std::nullopt, {}});
  EXPECT_TRUE(decoder.ok()) << pointer;
  return decode(decoder.value(), document);
}

TEST(Rfc6901, EveryPointerOfSection5) {
  const boost::json::value table = reference();
  const boost::json::value& document = table.at("document");
  std::size_t numbers = 0;
  std::size_t others = 0;
  for (const boost::json::value& row : table.at("pointers").as_array()) {
    const std::string pointer(row.at(0).as_string());
    const boost::json::value& expected = pointer.empty() ? document : row.at(1);
    SCOPED_TRACE(pointer);
    const Outcomes got = evaluate(pointer, boost::json::serialize(document));
    if (expected.is_int64()) {
      ++numbers;
      EXPECT_EQ(got.readings, std::vector<std::string>{"0: " + std::to_string(expected.as_int64()) + " lux"});
      continue;
    }
    // The decoder hands on numbers only; for the rest it must say what the pointer leads to.
    ++others;
    EXPECT_EQ(got.decoded, Decoded::unreadable);
    std::string what = "is an object";
    if (expected.is_array()) what = "is an array";
    if (expected.is_string()) what = "not a number: '" + std::string(expected.as_string()) + "'";
    EXPECT_NE(got.problem.find(what), std::string::npos) << got.problem;
  }
  EXPECT_EQ(numbers, 9U);
  EXPECT_EQ(others, 3U);
}

// The same places of the document with numbers in them, so that each of the twelve pointers is followed to
// its end.
TEST(Rfc6901, PointersIntoArraysReachTheirElement) {
  const std::string document = R"({"foo":[10,11],"":0})";
  EXPECT_EQ(evaluate("/foo/0", document).readings, std::vector<std::string>{"0: 10 lux"});
  EXPECT_EQ(evaluate("/foo/1", document).readings, std::vector<std::string>{"0: 11 lux"});
  EXPECT_EQ(evaluate("", "12").readings, std::vector<std::string>{"0: 12 lux"});
}

TEST(Rfc6901, ArrayIndexRules) {
  const std::string array = R"({"foo":[10,11]})";
  const std::string object = R"({"foo":{"-":1,"00":2,"01":3,"1e0":4,"+1":5,"2":6}})";
  for (const std::string token : {"-", "00", "01", "1e0", "+1", "2", "", "99999999999999999999"}) {
    SCOPED_TRACE(token);
    EXPECT_EQ(evaluate("/foo/" + token, array).decoded, Decoded::unreadable);
  }
  // The same tokens are ordinary names in an object.
  int expected = 0;
  for (const std::string token : {"-", "00", "01", "1e0", "+1", "2"}) {
    EXPECT_EQ(evaluate("/foo/" + token, object).readings,
              std::vector<std::string>{"0: " + std::to_string(++expected) + " lux"});
  }
}

// Section 4: "~1" first, then "~0", so that "~01" is "~1" and never "/".
TEST(Rfc6901, EscapesAreUndoneInTheRightOrder) {
  const std::string document = R"({"~1":1,"/":2,"~":3,"~0":4})";
  EXPECT_EQ(evaluate("/~01", document).readings, std::vector<std::string>{"0: 1 lux"});
  EXPECT_EQ(evaluate("/~1", document).readings, std::vector<std::string>{"0: 2 lux"});
  EXPECT_EQ(evaluate("/~0", document).readings, std::vector<std::string>{"0: 3 lux"});
  EXPECT_EQ(evaluate("/~00", document).readings, std::vector<std::string>{"0: 4 lux"});
}

}  // namespace
}  // namespace baskwell::plugin_host
