#pragma once
// What is wrong with intake right now, gathered from several causes into the one trouble that people are told
// of. Causes are numbered by the owner; each holds words for people. Pure, one thread, bounded by the number
// of causes.

#include <cstdint>
#include <map>
#include <string>
#include <string_view>

namespace baskwell::intake {

class Trouble {
 public:
  // A cause begins, or keeps on under new words (which alone are no news).
  void begin(std::uint32_t cause, std::string_view words);
  void end(std::uint32_t cause);
  [[nodiscard]] bool has(std::uint32_t cause) const { return causes_.contains(cause); }

  // True once after a cause has joined or left.
  [[nodiscard]] bool take_news();
  [[nodiscard]] bool any() const { return !causes_.empty(); }
  // All causes in one line, the lowest number first; after the third only how many more.
  [[nodiscard]] std::string words() const;

 private:
  std::map<std::uint32_t, std::string> causes_;
  bool news_ = false;
};

}  // namespace baskwell::intake
