#pragma once
// A time zone by its name in the system's tz database, as a value for core. Reads tzdata; no clock. Call from
// one thread at a time (the zone library keeps one database).

#include <optional>
#include <string>
#include <vector>

#include "core/climate/zone_rules.h"

namespace baskwell::settings {

// All changes of offset from 2000 to 2100; nothing when the database has no such zone.
[[nodiscard]] std::optional<ZoneRules> zone_rules_for(const std::string& name);
// Names that the database knows; empty when there is no database.
[[nodiscard]] std::vector<std::string> zone_names();

}  // namespace baskwell::settings
