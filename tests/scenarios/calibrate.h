#pragma once
// What a drawn enclosure really does, by running it alone for some simulated days: the power it needs, how
// fast it cools, what its thermostat makes of it. Draws outside the ranges of the evaluation are given back
// for another draw. degC, K, W, minutes. Pure; any thread.

#include <cstdint>
#include <vector>

#include "demoroom/enclosure.h"
#include "demoroom/heating.h"

namespace baskwell::scenarios {

// A heat unit alone: one heater, one thermostat, one enclosure or the tubs of a rack.
struct UnitUnderTest {
  std::vector<demoroom::EnclosureSpec> enclosures;
  demoroom::ThermostatSpec thermostat;  // its probe's enclosure is an index into `enclosures`
  demoroom::Place logged = demoroom::Place::hot_surface;
  double light_w_share = 1.0;
};

struct Needs {
  double power_w = 0;      // holds the day setting at the given room temperature, for good
  double cooling_min = 0;  // from there, heater off: to 1/e of the difference, where the probe lies
  bool sane = false;       // a power was found at all
};
[[nodiscard]] Needs measure_needs(const UnitUnderTest& unit, double coldest_room_degc);

struct Held {
  double mean_degc = 0;   // where the hot probe lies, by day
  double swing_k = 0;     // mean height of a cycle; proportional: the whole ripple
  double period_min = 0;  // 0: no cycles
  double cool_mean_degc = 0;
  double low_degc = 0;     // over all tubs where a hot probe may lie, by day
  double high_degc = 0;    // the same; warming up included
  double warm_up_min = 0;  // from the night setting into half a degree of the day's
};
[[nodiscard]] Held measure_held(const UnitUnderTest& unit, double power_w, double room_degc);

}  // namespace baskwell::scenarios
