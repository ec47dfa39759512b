#include "settings/near_name.h"

#include <algorithm>
#include <utility>

namespace baskwell::settings {
namespace {
// A name longer than this is no slip of the fingers; keeps the work bounded.
constexpr std::size_t longest_name = 100;
}  // namespace

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> before_last(b.size() + 1);
  std::vector<std::size_t> last(b.size() + 1);
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = a[i - 1] == b[j - 1] ? 0 : 1;
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1])
        row[j] = std::min(row[j], before_last[j - 2] + 1);
    }
    std::swap(before_last, last);
    std::swap(last, row);
  }
  return last[b.size()];
}

std::string nearest_name(std::string_view name, const std::vector<std::string>& known) {
  if (name.size() > longest_name) return "";
  std::string best;
  std::size_t best_distance = 0;
  for (const std::string& candidate : known) {
    if (candidate.size() > longest_name) continue;
    const std::size_t distance = edit_distance(name, candidate);
    const std::size_t limit = std::max<std::size_t>(1, std::max(name.size(), candidate.size()) / 3);
    if (distance > limit || distance >= candidate.size()) continue;
    if (best.empty() || distance < best_distance) {
      best = candidate;
      best_distance = distance;
    }
  }
  return best;
}

}  // namespace baskwell::settings
