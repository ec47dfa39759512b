#pragma once
// The known name that a mistyped one most likely meant. Pure.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace baskwell::settings {

// Insertions, deletions, substitutions and swaps of neighbours (Damerau-Levenshtein, each place edited once).
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b);

// "" when nothing known is near: at most a third of the longer name's letters may differ, and one always may.
[[nodiscard]] std::string nearest_name(std::string_view name, const std::vector<std::string>& known);

}  // namespace baskwell::settings
