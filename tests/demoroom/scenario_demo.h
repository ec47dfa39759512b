#pragma once
// Odile Farrow's animal room: the demo's own scenario, invented. Ids, topics and figures as in README.md of
// this folder. Pure; any thread.

#include "demoroom/demo_room.h"

namespace baskwell::demoroom {

[[nodiscard]] RoomSpec demo_scenario(double interval_s = 30.0);

}  // namespace baskwell::demoroom
