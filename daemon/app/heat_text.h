#pragma once
// What is believed of an enclosure's heating, as a person reads it in a terminal. Pure text, no colour; what
// comes from outside is cleaned. Times local to the room, differences in °C.

#include <optional>
#include <string>
#include <vector>

#include "core/alarm/words.h"
#include "core/heat/belief.h"
#include "core/room.h"

namespace baskwell {

struct HeatView {
  const Room& room;
  Index enclosure = none;
  UtcMs now;
  std::optional<heat::Belief> belief;  // empty: nothing heats it, or it has no temperature probe
  std::vector<AlarmView> alarms;       // of it, not normal, worst first
};

[[nodiscard]] std::string heat_text(const HeatView& view);

// "hot spot, surface"; with its enclosure where that is another one.
[[nodiscard]] std::string spot_words(const Room& room, const Placement& placement, Index enclosure);
// The name people gave it, else its id.
[[nodiscard]] std::string enclosure_name(const Room& room, Index enclosure);

}  // namespace baskwell
