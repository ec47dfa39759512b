#pragma once
// Small pieces of SVG 1.1 as text: numbers, escaped text, paths. Lengths in px, y downwards. What comes from
// outside (names, ids) goes through xml_text and so cannot end an attribute or an element. Pure; locale-free.

#include <string>
#include <string_view>

namespace baskwell::report {

// As it may stand in XML, in an element or an attribute: one line, valid UTF-8, no control characters.
[[nodiscard]] std::string xml_text(std::string_view text);

// "12.5": at most one decimal, a tenth of a px being less than any eye or printer tells.
[[nodiscard]] std::string px(double length);

// "31.4", with so many decimals.
[[nodiscard]] std::string fixed(double value, int decimals);

// The `d` of a <path>.
class Path {
 public:
  void move(double x, double y) { add('M', x, y); }
  void line(double x, double y) { add('L', x, y); }
  void close() { data_ += 'Z'; }
  [[nodiscard]] bool empty() const { return data_.empty(); }
  [[nodiscard]] const std::string& data() const { return data_; }

 private:
  void add(char what, double x, double y);
  std::string data_;
};

// <path class="..." d="..."/> or nothing for an empty path. `style` is one of our own class names.
void add_path(std::string& svg, std::string_view style, const Path& path);
void add_line(std::string& svg, std::string_view style, double x1, double y1, double x2, double y2);
void add_box(std::string& svg, std::string_view style, double x, double y, double width, double height);
// `text` is escaped here.
void add_text(std::string& svg, std::string_view style, double x, double y, std::string_view text);

}  // namespace baskwell::report
