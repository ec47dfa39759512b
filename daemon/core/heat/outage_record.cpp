#include "core/heat/outage_record.h"

#include <array>

namespace baskwell {
namespace {

constexpr std::array<std::string_view, outage_kind_count> kind_names{"mains",   "circuit", "room-heating",
                                                                     "network", "broker",  "service"};
constexpr std::array<std::string_view, outage_stage_count> stage_names{"open", "ended", "settled", "closed"};

template <class Enum, class Names>
std::optional<Enum> find(const Names& names, std::string_view name) {
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (names[i] == name) return static_cast<Enum>(i);
  }
  return std::nullopt;
}

}  // namespace

std::string_view name_of(OutageKind kind) {
  return kind_names[static_cast<std::size_t>(kind)];
}

std::optional<OutageKind> outage_kind_from(std::string_view name) {
  return find<OutageKind>(kind_names, name);
}

std::string_view name_of(OutageStage stage) {
  return stage_names[static_cast<std::size_t>(stage)];
}

std::optional<OutageStage> outage_stage_from(std::string_view name) {
  return find<OutageStage>(stage_names, name);
}

}  // namespace baskwell
