#include "report/svg.h"

#include <array>
#include <charconv>
#include <cmath>

#include "core/alarm/message_text.h"
#include "core/check.h"

namespace baskwell::report {
namespace {

// No picture is larger; what would be beyond is a mistake of the caller's scale.
constexpr double largest_px = 100'000;

std::string attribute(std::string_view name, double length) {
  return " " + std::string(name) + "=\"" + px(length) + "\"";
}

std::string opened(std::string_view element, std::string_view style) {
  return "<" + std::string(element) + " class=\"" + std::string(style) + "\"";
}

}  // namespace

std::string xml_text(std::string_view text) {
  std::string clean = clean_line(text);
  // U+FFFE and U+FFFF are UTF-8 but no XML characters (XML 1.0, 2.2).
  for (const std::string_view none : {"\xEF\xBF\xBE", "\xEF\xBF\xBF"}) {
    for (auto at = clean.find(none); at != std::string::npos; at = clean.find(none, at))
      clean.replace(at, 3, " ");
  }
  std::string safe;
  for (const char c : clean) {
    switch (c) {
      case '&':
        safe += "&amp;";
        break;
      case '<':
        safe += "&lt;";
        break;
      case '>':
        safe += "&gt;";
        break;
      case '"':
        safe += "&quot;";
        break;
      case '\'':
        safe += "&#39;";
        break;
      default:
        safe += c;
    }
  }
  return safe;
}

std::string fixed(double value, int decimals) {
  // 40 hold every figure below 1e20 with the few decimals used here.
  CHECK(std::fabs(value) < 1e20 && decimals >= 0 && decimals <= 6);
  std::array<char, 40> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, decimals).ptr;
  const std::string shown(text.data(), end);
  // "-0.0" is told as "0.0".
  return shown.starts_with('-') && shown.find_first_not_of("-0.") == std::string::npos ? shown.substr(1)
                                                                                       : shown;
}

std::string px(double length) {
  CHECK(std::fabs(length) < largest_px);
  std::string text = fixed(length, 1);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text;
}

void Path::add(char what, double x, double y) {
  data_ += what;
  data_ += px(x) + " " + px(y);
}

void add_path(std::string& svg, std::string_view style, const Path& path) {
  if (!path.empty()) svg += opened("path", style) + " d=\"" + path.data() + "\"/>\n";
}

void add_line(std::string& svg, std::string_view style, double x1, double y1, double x2, double y2) {
  svg += opened("line", style) + attribute("x1", x1) + attribute("y1", y1) + attribute("x2", x2) +
         attribute("y2", y2) + "/>\n";
}

void add_box(std::string& svg, std::string_view style, double x, double y, double width, double height) {
  svg += opened("rect", style) + attribute("x", x) + attribute("y", y) + attribute("width", width) +
         attribute("height", height) + "/>\n";
}

void add_text(std::string& svg, std::string_view style, double x, double y, std::string_view text) {
  svg += opened("text", style) + attribute("x", x) + attribute("y", y) + ">" + xml_text(text) + "</text>\n";
}

}  // namespace baskwell::report
