#include "core/alarm/message_text.h"

#include <gtest/gtest.h>

#include <limits>
#include <string>
#include <vector>

namespace baskwell {
namespace {

// Berlin around the change to summer time of 2026: 29 March, 01:00 UTC.
const ZoneRules berlin{{{UtcMs{0}, 3600}, {UtcMs{1774746000000}, 7200}, {UtcMs{1792890000000}, 3600}}};

TEST(MessageText, CountsCharactersNotBytes) {
  EXPECT_EQ(characters_in(""), 0U);
  EXPECT_EQ(characters_in("36.1 °C"), 7U);
  EXPECT_EQ(characters_in("Zoë 🦎"), 5U);
}

TEST(MessageText, CutsWholeCharactersAndSaysSo) {
  EXPECT_EQ(cut_to("Zoë", 3), "Zoë");
  EXPECT_EQ(cut_to("Zoës", 3), "Zo…");
  EXPECT_EQ(cut_to("ëëëë", 3), "ëë…");
  EXPECT_EQ(cut_to("Shelf 2 left", 7), "Shelf…") << "no space before the ellipsis";
  EXPECT_EQ(cut_to("abc", 1), "…");
}

TEST(MessageText, CleansWhatComesFromOutside) {
  EXPECT_EQ(clean_line("Shelf\r\n2\t\x7f"), "Shelf  2  ");
  EXPECT_EQ(clean_line("a\xC2\x85"
                       "b\u2028c"),
            "a b c");
  EXPECT_EQ(clean_line("Zoë 🦎"), "Zoë 🦎");
  // Not well-formed by RFC 3629: a stray byte, an overlong slash, a surrogate, beyond U+10FFFF, a torn end.
  EXPECT_EQ(clean_line("\xFF"), "\uFFFD");
  EXPECT_EQ(clean_line("\xC0\xAF"), "\uFFFD\uFFFD");
  EXPECT_EQ(clean_line("\xED\xA0\x80"), "\uFFFD\uFFFD\uFFFD");
  EXPECT_EQ(clean_line("\xF4\x90\x80\x80"), "\uFFFD\uFFFD\uFFFD\uFFFD");
  EXPECT_EQ(clean_line("a\xE2\x82"), "a\uFFFD\uFFFD");
}

TEST(MessageText, WritesNumbersWithOneDecimal) {
  EXPECT_EQ(number_text(36.06), "36.1");
  EXPECT_EQ(number_text(-5), "-5.0");
  EXPECT_EQ(number_text(-0.04), "0.0");
  EXPECT_EQ(number_text(1e300), "1e+300");
  EXPECT_EQ(number_text(std::numeric_limits<double>::quiet_NaN()), "unknown");
  EXPECT_EQ(quantity_text(std::numeric_limits<double>::infinity(), Quantity::humidity), "unknown");
  EXPECT_EQ(quantity_text(85, Quantity::temperature), "85.0 °C");
  EXPECT_EQ(quantity_text(41.25, Quantity::humidity), "41.2 %");
}

TEST(MessageText, WritesTimesByTheWallClockOfTheRoom) {
  const UtcMs before_jump{1774745940000};  // 2026-03-29T00:59:00Z
  const UtcMs after_jump{1774746000000};
  EXPECT_EQ(local_time_text(before_jump, after_jump, berlin), "01:59");
  EXPECT_EQ(local_time_text(after_jump, after_jump, berlin), "03:00");
  EXPECT_EQ(local_time_text(after_jump, after_jump + day_ms, berlin), "29 Mar 03:00");
  EXPECT_EQ(local_date_time_text(before_jump, berlin), "29 Mar 2026 01:59");
  EXPECT_EQ(utc_text(before_jump + 59'007), "2026-03-29T00:59:59.007Z");
  EXPECT_EQ(utc_text(UtcMs{-1}), "1969-12-31T23:59:59.999Z");
}

TEST(MessageText, WritesDurations) {
  EXPECT_EQ(duration_text(-5), "0 s");
  EXPECT_EQ(duration_text(59'999), "59 s");
  EXPECT_EQ(duration_text(15 * minute_ms), "15 min");
  EXPECT_EQ(duration_text(hour_ms), "1 h");
  EXPECT_EQ(duration_text(72 * minute_ms), "1 h 12 min");
  EXPECT_EQ(duration_text(51 * hour_ms), "2 d 3 h");
}

TEST(MessageText, ListsNamesUpToABound) {
  const std::vector<std::string> names{"a", "b", "c"};
  EXPECT_EQ(list_text({}, 3), "");
  EXPECT_EQ(list_text(std::span(names).first(1), 3), "a");
  EXPECT_EQ(list_text(std::span(names).first(2), 3), "a and b");
  EXPECT_EQ(list_text(names, 3), "a, b and c");
  EXPECT_EQ(list_text(names, 1), "a and 2 more");
}

}  // namespace
}  // namespace baskwell
