#pragma once
// The room and its alarms as a person reads them in a terminal, and as JSON for programs. Pure text; no
// colour, so that it reads the same in a log, a mail and a screen reader. Columns are aligned by characters,
// not bytes.

#include <string>

#include "core/climate/zone_rules.h"
#include "core/engine.h"

namespace baskwell {

[[nodiscard]] std::string room_table(const RoomView& view, const ZoneRules& clock);
[[nodiscard]] std::string alarm_list(const RoomView& view, const ZoneRules& clock);

// Objects with units in their keys; see docs/command-line.md.
[[nodiscard]] std::string room_json(const RoomView& view);
[[nodiscard]] std::string alarms_json(const RoomView& view);

}  // namespace baskwell
