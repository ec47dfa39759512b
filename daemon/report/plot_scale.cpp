#include "report/plot_scale.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "core/check.h"
#include "core/moment.h"

namespace baskwell::report {
namespace {

constexpr std::int64_t shortest_gap_ms = 12 * minute_ms;

// The points that one column keeps, as indexes; equal ones are kept once.
struct Column {
  std::size_t first = 0, low = 0, high = 0, last = 0;
};

void keep(const Column& column, const std::vector<PlotPoint>& points, std::vector<PlotPoint>& kept) {
  std::array<std::size_t, 4> order{column.first, column.low, column.high, column.last};
  std::sort(order.begin(), order.end());
  for (std::size_t i = 0; i < order.size(); ++i) {
    if (i == 0 || order[i] != order[i - 1]) kept.push_back(points[order[i]]);
  }
}

}  // namespace

std::vector<PlotPoint> thinned(const std::vector<PlotPoint>& points, UtcMs from, UtcMs to,
                               std::size_t columns) {
  CHECK(from < to && columns > 0);
  std::vector<PlotPoint> kept;
  const double per_column = static_cast<double>(to - from) / static_cast<double>(columns);
  Column column;
  std::size_t number = SIZE_MAX;  // of that column
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (points[i].at < from || to < points[i].at) continue;
    const auto here = static_cast<std::size_t>(static_cast<double>(points[i].at - from) / per_column);
    if (here != number) {
      if (number != SIZE_MAX) keep(column, points, kept);
      number = here;
      column = {i, i, i, i};
    }
    column.last = i;
    if (points[i].value < points[column.low].value) column.low = i;
    if (points[i].value > points[column.high].value) column.high = i;
  }
  if (number != SIZE_MAX) keep(column, points, kept);
  return kept;
}

std::int64_t gap_ms_of(const std::vector<PlotPoint>& points) {
  std::vector<std::int64_t> intervals;
  for (std::size_t i = 1; i < points.size(); ++i) intervals.push_back(points[i].at - points[i - 1].at);
  if (intervals.empty()) return shortest_gap_ms;
  const auto middle = intervals.begin() + static_cast<std::ptrdiff_t>(intervals.size() / 2);
  std::nth_element(intervals.begin(), middle, intervals.end());
  return std::max(shortest_gap_ms, 3 * *middle);
}

ValueAxis value_axis(double low, double high, int most_ticks) {
  CHECK(low <= high && most_ticks >= 2);
  // A probe's noise over the whole height would look like trouble.
  constexpr double least_span = 4.0;
  constexpr double air = 0.06;  // of the span, so that no line lies on the frame
  const double more = std::max(0.0, least_span - (high - low)) / 2;
  const double span = high - low + 2 * more;
  ValueAxis axis;
  axis.low = low - more - air * span;
  axis.high = high + more + air * span;
  const double wanted = (axis.high - axis.low) / most_ticks;
  const double power = std::pow(10.0, std::floor(std::log10(wanted)));
  axis.step = 10 * power;
  for (const double times : {5.0, 2.0, 1.0}) {
    if (times * power >= wanted) axis.step = times * power;
  }
  axis.decimals = axis.step < 1 ? 1 : 0;
  return axis;
}

std::vector<TimeTick> time_ticks(const ZoneRules& clock, UtcMs from, UtcMs to, int most_ticks) {
  CHECK(from < to && most_ticks >= 1);
  constexpr int day_min = 24 * 60;
  constexpr std::array<int, 13> steps_min{5,   10,  15,  30,      60,          120,        180,
                                          240, 360, 720, day_min, 2 * day_min, 7 * day_min};
  const auto step_min = *std::find_if(steps_min.begin(), std::prev(steps_min.end()), [&](int step) {
    return (to - from) / (step * minute_ms) <= most_ticks;
  });
  std::vector<TimeTick> ticks;
  const std::int64_t first_day = local_day(clock, from);
  const std::int64_t last_day = local_day(clock, to);
  for (std::int64_t day = first_day; day <= last_day; day += std::max(1, step_min / day_min)) {
    bool named = false;
    for (int minute = 0; minute < day_min; minute += step_min) {
      const UtcMs at = instant_of(clock, day, minute);
      if (at < from || to < at || local_minute(clock, at) != minute)
        continue;  // the last: the clock skips it
      TimeTick tick{at, step_min < day_min ? local_hour_minute(clock, at) : "", ""};
      if (!named) tick.day = local_date(clock, at);
      named = true;
      ticks.push_back(std::move(tick));
    }
  }
  return ticks;
}

std::string local_date(const ZoneRules& clock, UtcMs at) {
  const std::string both = local_day_hour_minute(clock, at);
  return both.substr(0, both.rfind(' '));
}

}  // namespace baskwell::report
