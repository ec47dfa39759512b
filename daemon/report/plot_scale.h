#pragma once
// From readings to a picture's points: what is left of a long series at a given width, where a line is
// broken, which values and which moments an axis names. Values in the unit of the series, times UTC; axes of
// time go by the room's wall clock, with its days of 23 and 25 hours. Pure.

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "core/climate/zone_rules.h"
#include "core/time.h"

namespace baskwell::report {

struct PlotPoint {
  UtcMs at;
  double value = 0;
  friend bool operator==(const PlotPoint&, const PlotPoint&) = default;
};

// Of each of `columns` equal parts of from..to at most four points: its first, lowest, highest and last. So
// every peak stays, however short. `points` ascending in time; what is outside from..to is left out.
[[nodiscard]] std::vector<PlotPoint> thinned(const std::vector<PlotPoint>& points, UtcMs from, UtcMs to,
                                             std::size_t columns);

// A line is broken where nothing was read for so long: three usual intervals, but no less than 12 minutes, as
// the heat watch counts a gap (core/heat/track).
[[nodiscard]] std::int64_t gap_ms_of(const std::vector<PlotPoint>& points);

struct ValueAxis {
  double low = 0;
  double high = 1;
  double step = 1;
  int decimals = 0;  // of its labels
};
// Covers low..high with some air, `most_ticks` labels at most. low <= high, finite.
[[nodiscard]] ValueAxis value_axis(double low, double high, int most_ticks);

struct TimeTick {
  UtcMs at;
  std::string hour;  // "02:00"; "" where ticks are days
  std::string day;   // "25 Nov", on the first tick of a local day
};
// from < to.
[[nodiscard]] std::vector<TimeTick> time_ticks(const ZoneRules& clock, UtcMs from, UtcMs to, int most_ticks);

// "25 Nov"
[[nodiscard]] std::string local_date(const ZoneRules& clock, UtcMs at);

}  // namespace baskwell::report
