#include "app/plain_json.h"

#include <gtest/gtest.h>

#include <bit>
#include <boost/json.hpp>
#include <cmath>
#include <cstdint>
#include <iostream>
#include <limits>
#include <random>

namespace baskwell {
namespace {

namespace json = boost::json;

TEST(PlainJson, WritesNumbersAsPeopleDo) {
  EXPECT_EQ(plain_json(30.0), "30");
  EXPECT_EQ(plain_json(24.3125), "24.3125");
  EXPECT_EQ(plain_json(-0.0625), "-0.0625");
  EXPECT_EQ(plain_json(1e-7), "0.0000001");
  EXPECT_EQ(plain_json(1e21), "1000000000000000000000");
  EXPECT_EQ(plain_json(json::value(7)), "7");
  EXPECT_EQ(plain_json(json::parse(R"({"a":[3E1,null,true,"3E1\n",{}],"b":{"c":[]}})")),
            R"({"a":[30,null,true,"3E1\n",{}],"b":{"c":[]}})");
}

TEST(PlainJson, ReadsBackToTheSameBits) {
  for (const double value : {std::numeric_limits<double>::max(), std::numeric_limits<double>::denorm_min(),
                             std::numeric_limits<double>::min(), 0.1, 1.0 / 3.0}) {
    EXPECT_EQ(std::strtod(plain_json(value).c_str(), nullptr), value) << plain_json(value);
  }
  const std::uint64_t seed = std::random_device{}();
  std::cout << "seed " << seed << "\n";
  std::mt19937_64 random(seed);
  for (int i = 0; i < 20000; ++i) {
    const auto value = std::bit_cast<double>(random());
    if (!std::isfinite(value)) continue;
    const std::string text = plain_json(value);
    EXPECT_EQ(std::bit_cast<std::uint64_t>(std::strtod(text.c_str(), nullptr)),
              std::bit_cast<std::uint64_t>(value))
        << text;
    EXPECT_EQ(text.find_first_of("eE"), std::string::npos) << text;
  }
}

}  // namespace
}  // namespace baskwell
