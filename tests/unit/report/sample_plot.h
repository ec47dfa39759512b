#pragma once
// A picture to test and to look at: a night in which the heater of "Shelf 2" went off at 02:00, with a second
// probe that was silent for three hours and a room that cools. Seeded, the same every time.

#include "report/heat_plot.h"

namespace baskwell::test {

[[nodiscard]] report::HeatPlot sample_plot();

}  // namespace baskwell::test
