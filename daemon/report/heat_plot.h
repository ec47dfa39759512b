#pragma once
// One picture of an enclosure's heating around an event, as SVG: for each probe a frame with what was read,
// what was expected and how far it usually strays, the target band and the harm limits; below them when the
// lights were off and what was raised. Readable in print and without colour (line styles and hatching
// differ), with a title, a description and every axis in words. degC; times UTC here, by the room's clock in
// the picture.
//
// Bounded: whatever it is handed, frames, marks and points drawn are limited, what is left out is said. About
// 60 KB a frame at most. Pure.

#include <cstddef>
#include <string>
#include <vector>

#include "core/care/bands.h"
#include "core/climate/zone_rules.h"
#include "core/room.h"
#include "core/time.h"
#include "report/plot_scale.h"

namespace baskwell::report {

// What the model expects; NaN in `degc`: not learned at that hour.
struct ExpectedPoint {
  UtcMs at;
  double degc = 0;
  double low_degc = 0;  // usually no lower, usually no higher
  double high_degc = 0;
};

// Target band and harm limits at a moment, infinite where there is none; a line between two of them.
struct LimitPoint {
  UtcMs at;
  Wanted wanted;
};

struct PlotFrame {
  std::string title;                    // "hot spot, surface"
  std::string probe;                    // the channel's id
  std::vector<PlotPoint> readings;      // degC, in any order, finite
  std::size_t left_out = 0;             // readings that are worth nothing (core/probe/quality)
  std::vector<ExpectedPoint> expected;  // ascending
  std::vector<LimitPoint> limits;       // ascending
};

struct PlotMark {
  UtcMs at;
  std::string words;  // "A12 not-heating: raised, medium"
};

struct HeatPlot {
  std::string title;  // "Shelf 2: temperature and heating"
  std::string room;
  ZoneRules clock;
  UtcMs from;
  UtcMs to;  // later than `from`
  std::vector<PlotFrame> frames;
  std::vector<PlotMark> marks;     // ascending
  std::vector<Span> lights_off;    // ascending; empty: no row for them
  std::vector<std::string> notes;  // sentences below the picture
};

inline constexpr std::size_t most_frames = 6;
inline constexpr std::size_t most_marks = 10;

[[nodiscard]] std::string heat_plot_svg(const HeatPlot& plot);

}  // namespace baskwell::report
