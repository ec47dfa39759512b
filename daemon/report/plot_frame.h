#pragma once
// The inside of heat_plot: one probe's frame, readied and drawn. Lengths in px. Pure.

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "report/heat_plot.h"

namespace baskwell::report {

// Where moments stand on the paper; the same for every frame.
struct TimeAxis {
  static constexpr double left = 58;
  static constexpr double right = 812;  // the words of the limits stand to the right of it
  UtcMs from;
  UtcMs to;
  std::vector<TimeTick> ticks;

  [[nodiscard]] double x(UtcMs at) const {
    const double part = static_cast<double>(at - from) / static_cast<double>(to - from);
    return left + std::clamp(part, 0.0, 1.0) * (right - left);
  }
};

inline constexpr double frame_height = 190;
inline constexpr std::size_t title_characters = 90;

// In order, thinned, with its scale.
struct ReadyFrame {
  const PlotFrame* frame = nullptr;
  std::vector<PlotPoint> read;
  std::int64_t gap_ms = 0;
  std::vector<ExpectedPoint> expected;
  std::vector<LimitPoint> limits;
  std::optional<PlotPoint> lowest, highest;
  ValueAxis axis;
  double top = 0;
  double title_y = 0;

  [[nodiscard]] double y(double degc) const {
    const double part = (degc - axis.low) / (axis.high - axis.low);
    return top + (1 - std::clamp(part, 0.0, 1.0)) * frame_height;
  }
};

[[nodiscard]] ReadyFrame readied(const PlotFrame& frame, UtcMs from, UtcMs to, double top);
void draw_frame(std::string& svg, const ReadyFrame& frame, const TimeAxis& time);

// "31.4 °C"
[[nodiscard]] std::string degrees(double degc);
// "target 30 to 33 °C"; of at least one side.
[[nodiscard]] std::string band_words(const Wanted& wanted);

}  // namespace baskwell::report
