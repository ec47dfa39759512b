#pragma once
// One record a line, fields separated by one blank: how a snapshot is written and read (engine_snapshot.cpp).
// Nothing that is read is trusted: a wrong field makes the whole line not good(). Locale-free. Pure.

#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <system_error>

namespace baskwell {

class LineWriter {
 public:
  explicit LineWriter(std::string& out) : out_(out) {}
  LineWriter& word(std::string_view text) {
    if (!first_) out_ += ' ';
    first_ = false;
    out_ += text;
    return *this;
  }
  template <class Number>
  LineWriter& number(Number value) {
    std::array<char, 40> text{};
    const auto end = std::to_chars(text.data(), text.data() + text.size(), value).ptr;
    return word({text.data(), static_cast<std::size_t>(end - text.data())});
  }
  LineWriter& flag(bool value) { return word(value ? "1" : "0"); }
  void end() {
    out_ += '\n';
    first_ = true;
  }

 private:
  std::string& out_;
  bool first_ = true;
};

// Reads what LineWriter wrote; a wrong field makes the whole line wrong.
class LineReader {
 public:
  explicit LineReader(std::string_view line) : rest_(line) {}
  std::string_view word() {
    const std::size_t blank = rest_.find(' ');
    const std::string_view text = rest_.substr(0, blank);
    rest_ = blank == std::string_view::npos ? std::string_view() : rest_.substr(blank + 1);
    if (text.empty()) good_ = false;
    return text;
  }
  std::string_view rest() const { return rest_; }
  template <class Number>
  Number number() {
    const std::string_view text = word();
    Number value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) good_ = false;
    return value;
  }
  bool flag() {
    const int value = number<int>();
    if (value != 0 && value != 1) good_ = false;
    return value == 1;
  }
  double finite() {
    const auto value = number<double>();
    if (!std::isfinite(value)) good_ = false;
    return value;
  }
  // A moment or a duration: small enough that sums of a few fit.
  std::int64_t ms() {
    constexpr std::int64_t most_ms = 1'000'000'000'000'000;  // some 30,000 years
    const auto value = number<std::int64_t>();
    require(value <= most_ms && value >= -most_ms);
    return value;
  }
  // The same, or `never`: an end of int64.
  std::int64_t ms_or(std::int64_t never) {
    LineReader again = *this;
    if (again.number<std::int64_t>() != never) return ms();
    *this = again;
    return never;
  }
  void require(bool condition) { good_ = good_ && condition; }
  template <class Enum>
  Enum enumeration(int count) {
    const int value = number<int>();
    if (value < 0 || value >= count) {
      good_ = false;
      return Enum{};
    }
    return static_cast<Enum>(value);
  }
  [[nodiscard]] bool good() const { return good_; }

 private:
  std::string_view rest_;
  bool good_ = true;
};

}  // namespace baskwell
