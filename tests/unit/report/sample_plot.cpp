#include "sample_plot.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

namespace baskwell::test {
namespace {

constexpr double no_limit = std::numeric_limits<double>::infinity();
// 2026-11-24T12:00:00Z; the room is an hour ahead.
constexpr UtcMs from{1'795'521'600'000};
constexpr UtcMs fault = from + 13 * hour_ms;

// Smooth between the night's and the day's level over an hour.
double held_degc(UtcMs at, double day_degc, double night_degc) {
  const double hour = static_cast<double>(at - from) / static_cast<double>(hour_ms);
  const double dark = std::clamp(hour - 7, 0.0, 1.0) - std::clamp(hour - 19, 0.0, 1.0);
  return day_degc + dark * (night_degc - day_degc);
}

void add_course(report::PlotFrame& frame, double day_degc, double night_degc, double low_k, double high_k) {
  for (UtcMs at = from; at <= from + day_ms; at = at + 15 * minute_ms) {
    const double degc = held_degc(at, day_degc, night_degc);
    frame.expected.push_back({at, degc, degc - low_k, degc + high_k});
  }
}

void add_limits(report::PlotFrame& frame, const Wanted& day, const Wanted& night) {
  const auto hours = [](int n) { return from + n * hour_ms; };
  frame.limits = {{from, day},        {hours(7), day},  {hours(8), night},
                  {hours(19), night}, {hours(20), day}, {from + day_ms, day}};
}

}  // namespace

report::HeatPlot sample_plot() {
  std::mt19937 chance(7);
  std::normal_distribution<double> noise(0.0, 0.06);
  report::HeatPlot plot;
  plot.title = "Shelf 2: temperature and heating";
  plot.room = "Odile Farrow's animal room";
  plot.clock.changes = {{UtcMs{0}, 3600}};
  plot.from = from;
  plot.to = from + day_ms;
  plot.lights_off = {{from + 7 * hour_ms, from + 19 * hour_ms}};
  report::PlotFrame hot{"hot spot, surface", "shelf-2-hot/temperature", {}, 2, {}, {}};
  report::PlotFrame cool{"cool end", "shelf-2-cool/temperature", {}, 0, {}, {}};
  report::PlotFrame room{"room air", "room/temperature", {}, 0, {}, {}};
  for (UtcMs at = from; at < from + day_ms; at = at + 30 * second_ms) {
    const double minutes = static_cast<double>(at - from) / static_cast<double>(minute_ms);
    const double room_degc = 18.5 - 1.5 * std::sin((minutes - 500) / 1440 * 2 * std::numbers::pi);
    const double off_min =
        std::clamp(static_cast<double>(at - fault) / static_cast<double>(minute_ms), 0.0, 200.0);
    const double kept = std::exp(-off_min / 90);
    const double swing = 0.7 * std::sin(minutes / 14 * 2 * std::numbers::pi);
    hot.readings.push_back(
        {at, room_degc + kept * (held_degc(at, 31.5, 28) + swing - room_degc) + noise(chance)});
    const bool silent = minutes > 480 && minutes < 660;
    if (!silent)
      cool.readings.push_back(
          {at, room_degc + kept * (held_degc(at, 25.5, 24.5) - room_degc) + noise(chance)});
    room.readings.push_back({at, room_degc + noise(chance)});
  }
  add_course(hot, 31.5, 28, 0.9, 0.8);
  add_course(cool, 25.5, 24.5, 0.4, 0.5);
  add_limits(hot, {30, 33, 20, 36}, {22, 33, 20, 36});
  add_limits(cool, {24, 27, 20, 33}, {22, 27, 20, 33});
  add_limits(room, {-no_limit, 28, 8, 33}, {-no_limit, 28, 8, 33});
  plot.frames = {hot, cool, room};
  plot.marks = {{fault + 22 * minute_ms, "A12 not-heating: raised, medium"},
                {fault + 30 * minute_ms, "A12 not-heating: acknowledged by Odile"},
                {fault + 190 * minute_ms, "A13 too-cold: raised, medium"}};
  plot.notes = {
      "Expected course and usual range as learned by 25 Nov 13:00 (14.2 days); the room's part is left out."};
  return plot;
}

}  // namespace baskwell::test
