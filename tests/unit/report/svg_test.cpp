#include "report/svg.h"

#include <gtest/gtest.h>

#include <limits>

namespace baskwell::report {
namespace {

TEST(XmlText, EscapesAllFiveOfXml) {
  EXPECT_EQ(xml_text("<a b=\"c\" d='e'>&amp;"), "&lt;a b=&quot;c&quot; d=&#39;e&#39;&gt;&amp;amp;");
}

TEST(XmlText, LetsNothingThroughThatXmlHasNot) {
  EXPECT_EQ(xml_text(std::string("a\0b\x1b[2J\n\x7f", 9)), "a b [2J  ");
  EXPECT_EQ(xml_text("f\xC3\xBCr \xFFx"), "f\xC3\xBCr \xEF\xBF\xBDx");
  // U+FFFE and U+FFFF; U+10FFFF is a character of XML 1.0 (2.2, Char).
  EXPECT_EQ(xml_text("\xEF\xBF\xBE|\xEF\xBF\xBF|\xF4\x8F\xBF\xBF"), " | |\xF4\x8F\xBF\xBF");
}

TEST(Numbers, AreShortAndNeverMinusNought) {
  EXPECT_EQ(px(12), "12");
  EXPECT_EQ(px(12.25), "12.2");
  EXPECT_EQ(px(-0.04), "0");
  EXPECT_EQ(px(100), "100");
  EXPECT_EQ(fixed(-0.001, 1), "0.0");
  EXPECT_EQ(fixed(-0.05001, 1), "-0.1");
  EXPECT_EQ(fixed(31.44, 1), "31.4");
}

TEST(Numbers, OfNoUseAreAMistakeOfTheProgram) {
  EXPECT_DEATH(static_cast<void>(px(std::numeric_limits<double>::quiet_NaN())), "");
  EXPECT_DEATH(static_cast<void>(px(1e9)), "");
}

TEST(Elements, AreLeftOutWhenThereIsNothingToDraw) {
  std::string svg;
  add_path(svg, "read", Path());
  EXPECT_EQ(svg, "");
  Path path;
  path.move(1, 2);
  path.line(3.5, 4);
  add_path(svg, "read", path);
  EXPECT_EQ(svg, "<path class=\"read\" d=\"M1 2L3.5 4\"/>\n");
}

}  // namespace
}  // namespace baskwell::report
