#include "core/room.h"

#include <array>
#include <cstddef>
#include <string_view>

namespace baskwell {
namespace {
constexpr std::array<std::string_view, zone_count> zone_names{"hot",   "middle", "cool", "hide",
                                                              "water", "eggs",   "room"};
constexpr std::array<std::string_view, medium_count> medium_names{"air", "surface", "substrate", "water",
                                                                  "eggs"};

template <class Names>
std::optional<std::size_t> find_name(const Names& names, std::string_view name) {
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (names[i] == name) return i;
  }
  return std::nullopt;
}
}  // namespace

std::string_view name_of(Zone zone) {
  return zone_names[static_cast<std::size_t>(zone)];
}
std::string_view name_of(Medium medium) {
  return medium_names[static_cast<std::size_t>(medium)];
}

std::optional<Zone> zone_from(std::string_view name) {
  const auto index = find_name(zone_names, name);
  return index ? std::optional(static_cast<Zone>(*index)) : std::nullopt;
}
std::optional<Medium> medium_from(std::string_view name) {
  const auto index = find_name(medium_names, name);
  return index ? std::optional(static_cast<Medium>(*index)) : std::nullopt;
}
}  // namespace baskwell
