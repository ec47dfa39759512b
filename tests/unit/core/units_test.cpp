// Decimals as they came, and the value that is judged.

#include "core/units.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <limits>
#include <random>
#include <string>

#include "seed.h"

namespace baskwell {
namespace {

TEST(Decimal, KeepsDigitsAndPlacesAsTheyCame) {
  EXPECT_EQ(decimal_from("23.50"), (Decimal{2350, 2}));
  EXPECT_EQ(decimal_from("-0.0625"), (Decimal{-625, 4}));
  EXPECT_EQ(decimal_from("+7"), (Decimal{7, 0}));
  EXPECT_EQ(decimal_from("007.10"), (Decimal{710, 2}));
  EXPECT_EQ(decimal_from(".5"), (Decimal{5, 1}));
  EXPECT_EQ(decimal_from("5."), (Decimal{5, 0}));
  EXPECT_EQ(decimal_from("2.5e1"), (Decimal{25, 0}));
  EXPECT_EQ(decimal_from("2.5E+3"), (Decimal{2500, 0}));
  EXPECT_EQ(decimal_from("25e-3"), (Decimal{25, 3}));
  EXPECT_EQ(decimal_from("0e40"), (Decimal{0, 0}));
  EXPECT_EQ(decimal_from("0e-40"), (Decimal{0, 18}));
  EXPECT_EQ(decimal_from("999999999999999999"), (Decimal{999999999999999999, 0}));
  EXPECT_EQ(decimal_from("0.000000000000000001"), (Decimal{1, 18}));
}

TEST(Decimal, RefusesWhatIsNoNumberOrDoesNotFit) {
  for (const char* text : {"",
                           "-",
                           "+",
                           ".",
                           "-.",
                           "e5",
                           "1e",
                           "1e+",
                           "1e-",
                           "1e+-5",
                           "1e--5",
                           "1e5.0",
                           "1,5",
                           "1.2.3",
                           " 1",
                           "1 ",
                           "0x10",
                           "nan",
                           "NaN",
                           "inf",
                           "-inf",
                           "1_000",
                           "--1",
                           "+-1",
                           "\xd9\xa1",
                           "1e999999999999",
                           "1e41",
                           "1e-19",
                           "1000000000000000000",
                           "1e18",
                           "99999999999999999999999",
                           "0.0000000000000000001",
                           "1\n",
                           "23.5C"}) {
    EXPECT_FALSE(decimal_from(text)) << "'" << text << "'";
  }
  EXPECT_FALSE(decimal_from(std::string_view("1\0", 2)));
  EXPECT_FALSE(decimal_from(std::string(100000, '9')));
  EXPECT_EQ(decimal_from(std::string(100000, '0')), (Decimal{0, 0}));
}

TEST(Decimal, TextGoesRound) {
  std::mt19937_64 random(test::announced_seed());
  for (int i = 0; i < 20000; ++i) {
    const auto size = static_cast<int>(test::between(random, 0, 17));
    const auto most = static_cast<std::int64_t>(std::pow(10.0, size));
    const Decimal value{test::between(random, -most, most),
                        static_cast<std::int8_t>(test::between(random, 0, 18))};
    const auto again = decimal_from(to_text(value));
    ASSERT_TRUE(again) << to_text(value);
    ASSERT_EQ(*again, value) << to_text(value);
    // The nearest double, by the C library's own reading of the text.
    if (std::abs(value.digits) < 1'000'000'000'000'000) {
      ASSERT_EQ(to_double(value), std::strtod(to_text(value).c_str(), nullptr)) << to_text(value);
    }
  }
  EXPECT_EQ(to_text({std::numeric_limits<std::int64_t>::min(), 0}), "-9223372036854775808");
  EXPECT_EQ(to_text({-5, 3}), "-0.005");
}

TEST(Decimal, NoTextBreaksIt) {
  std::mt19937_64 random(test::announced_seed());
  constexpr std::string_view alphabet = "0123456789.-+eE x\xff";
  for (int i = 0; i < 200000; ++i) {
    std::string text;
    for (std::int64_t n = test::between(random, 0, 24); n > 0; --n)
      text += alphabet[static_cast<std::size_t>(
          test::between(random, 0, static_cast<std::int64_t>(alphabet.size()) - 1))];
    const auto value = decimal_from(text);
    if (!value) continue;
    ASSERT_TRUE(value->places >= 0 && value->places <= 18) << text;
    ASSERT_TRUE(std::abs(value->digits) <= 999999999999999999) << text;
    const double read = std::strtod(text.c_str(), nullptr);
    ASSERT_NEAR(to_double(*value), read, std::abs(read) * 1e-15) << text;
  }
}

// Steps of common probes. Both are finite decimals, so the store has them exactly.
TEST(Steps, SixteenthsOfADegreeAreExact) {
  for (std::int64_t step = -880; step <= 2000; ++step) {
    const double degc = static_cast<double>(step) / 16.0;  // exact in binary
    const Decimal value{step * 625, 4};
    ASSERT_EQ(to_double(value), degc);
    ASSERT_EQ(judged_value(value, Unit::degc), degc);
    ASSERT_EQ(decimal_from(to_text(value)), value);
  }
}

TEST(Steps, TenthsOfADegreeFahrenheitAreExactlyWhatTheyAre) {
  for (std::int64_t tenths = -400; tenths <= 2500; ++tenths) {
    const Decimal value{tenths, 1};
    ASSERT_EQ(decimal_from(to_text(value)), value);
    // (F - 32) / 1.8 = (10 F - 320) / 18: one division of whole numbers is the nearest double there is.
    ASSERT_EQ(judged_value(value, Unit::degf), static_cast<double>(tenths - 320) / 18.0) << tenths;
    ASSERT_EQ(judged_value({tenths * 100, 3}, Unit::degf), static_cast<double>(tenths - 320) / 18.0)
        << tenths;
  }
  // The definition of the scales: 32 degF is 0 degC, 212 degF is 100 degC.
  EXPECT_EQ(judged_value({32, 0}, Unit::degf), 0.0);
  EXPECT_EQ(judged_value({2120, 1}, Unit::degf), 100.0);
  EXPECT_EQ(judged_value({986, 1}, Unit::degf), 37.0);
  EXPECT_EQ(judged_value({-40, 0}, Unit::degf), -40.0);
}

TEST(Steps, KelvinAtALimitIsAtTheLimit) {
  for (std::int64_t hundredths = -5000; hundredths <= 15000; ++hundredths) {
    ASSERT_EQ(judged_value({hundredths + 27315, 2}, Unit::kelvin), static_cast<double>(hundredths) / 100.0)
        << hundredths;
    ASSERT_EQ(judged_value({(hundredths + 27315) * 10, 3}, Unit::kelvin),
              static_cast<double>(hundredths) / 100.0)
        << hundredths;
  }
  EXPECT_EQ(judged_value({300, 0}, Unit::kelvin), 26.85);
  EXPECT_EQ(judged_value({3001, 1}, Unit::kelvin), 26.95);
}

TEST(Steps, HugeNumbersStayFinite) {
  for (const std::int64_t digits :
       {std::numeric_limits<std::int64_t>::max(), std::numeric_limits<std::int64_t>::min(),
        std::int64_t{999999999999999999}}) {
    for (std::int8_t places = 0; places <= 18; ++places) {
      for (const Unit unit : {Unit::degc, Unit::degf, Unit::kelvin, Unit::lux}) {
        const double judged = judged_value({digits, places}, unit);
        ASSERT_TRUE(std::isfinite(judged));
        const double plain = static_cast<double>(digits) / std::pow(10.0, places);
        const double wanted = unit == Unit::degf     ? (plain - 32) / 1.8
                              : unit == Unit::kelvin ? plain - 273.15
                                                     : plain;
        ASSERT_NEAR(judged, wanted, std::abs(wanted) * 1e-12 + 1e-9);
      }
    }
  }
}

TEST(Units, NamesGoRound) {
  for (int i = 1; i <= 7; ++i) {
    const auto unit = static_cast<Unit>(i);
    EXPECT_EQ(unit_from(symbol_of(unit)), unit);
  }
  for (int i = 0; i < quantity_count; ++i) {
    const auto quantity = static_cast<Quantity>(i);
    EXPECT_EQ(quantity_from(name_of(quantity)), quantity);
    EXPECT_EQ(quantity_of(judged_unit(quantity)), quantity);
  }
  EXPECT_FALSE(unit_from("C"));
  EXPECT_FALSE(unit_from("degc"));
  EXPECT_FALSE(unit_from(""));
  EXPECT_FALSE(quantity_from("Temperature"));
}

}  // namespace
}  // namespace baskwell
