#pragma once
// What is judged as one: a thermostat with the heaters on it and the enclosures they feed; a heater without a
// thermostat likewise. A rack of twenty tubs on one cable is one unit, so it is one alarm. Pure.

#include <string>
#include <vector>

#include "core/room.h"

namespace baskwell::heat {

struct Unit {
  std::string id;           // of the enclosure where it feeds but one, else of the thermostat or heater
  Index thermostat = none;  // none: its heater hangs on a timer or runs always
  std::vector<Index> heaters;
  std::vector<Index> enclosures;  // ascending, each once; never empty
  bool has_cut_out = false;       // an independent high cut-out is on one of its heaters
};

[[nodiscard]] std::vector<Unit> units_of(const Room& room);

}  // namespace baskwell::heat
