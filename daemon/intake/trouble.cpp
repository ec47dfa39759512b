#include "intake/trouble.h"

namespace baskwell::intake {

void Trouble::begin(std::uint32_t cause, std::string_view words) {
  const auto [place, is_new] = causes_.insert_or_assign(cause, std::string(words));
  news_ = news_ || is_new;
}

void Trouble::end(std::uint32_t cause) {
  if (causes_.erase(cause) > 0) news_ = true;
}

bool Trouble::take_news() {
  const bool news = news_;
  news_ = false;
  return news;
}

std::string Trouble::words() const {
  constexpr std::size_t shown_max = 3;
  std::string all;
  std::size_t shown = 0;
  for (const auto& [cause, words] : causes_) {
    if (shown == shown_max) {
      all += "; and " + std::to_string(causes_.size() - shown) + " more";
      break;
    }
    if (shown++ > 0) all += "; ";
    all += words;
  }
  return all;
}

}  // namespace baskwell::intake
