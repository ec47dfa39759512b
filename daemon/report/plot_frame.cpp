#include "report/plot_frame.h"

#include <cmath>
#include <limits>
#include <utility>

#include "core/alarm/message_text.h"
#include "report/svg.h"

namespace baskwell::report {
namespace {

constexpr double words_apart = 15;            // px, between two lines of small text
constexpr std::size_t columns = 377;          // two px each: finer than a line is wide
constexpr std::size_t most_expected = 1'500;  // two weeks of quarters of an hour
constexpr std::size_t most_limits = 600;
constexpr int value_ticks = 7;
// A harm limit is within the frame where it is no further than this share of all else beyond it; else it is
// named at the edge, or the swing of a thermostat would be a flat line.
constexpr double harm_within = 0.5;

std::string limit_text(double degc) {
  const double tenths = std::round(degc * 10) / 10;
  return fixed(tenths, tenths == std::floor(tenths) ? 0 : 1);
}

struct Extent {
  double low = std::numeric_limits<double>::infinity();
  double high = -std::numeric_limits<double>::infinity();
  void add(double value) {
    if (!std::isfinite(value)) return;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  [[nodiscard]] bool any() const { return low <= high; }
};

ValueAxis axis_of(const ReadyFrame& ready) {
  Extent shown;
  for (const PlotPoint& point : ready.read) shown.add(point.value);
  for (const ExpectedPoint& point : ready.expected) {
    shown.add(point.low_degc);
    shown.add(point.high_degc);
  }
  for (const LimitPoint& point : ready.limits) {
    shown.add(point.wanted.low);
    shown.add(point.wanted.high);
  }
  Extent with_harm = shown;
  const double reach = shown.any() ? harm_within * (shown.high - shown.low) : 0;
  for (const LimitPoint& point : ready.limits) {
    for (const double harm : {point.wanted.harm_low, point.wanted.harm_high}) {
      if (!shown.any() || (harm > shown.low - reach && harm < shown.high + reach)) with_harm.add(harm);
    }
  }
  if (!with_harm.any()) return value_axis(15, 35, value_ticks);
  return value_axis(with_harm.low, with_harm.high, value_ticks);
}

// Every n-th, so that no more than `most` are left.
template <class T>
std::vector<T> every_nth(const std::vector<T>& all, std::size_t most) {
  const std::size_t n = (all.size() + most - 1) / most;
  if (n <= 1) return all;
  std::vector<T> left_over;
  for (std::size_t i = 0; i < all.size(); i += n) left_over.push_back(all[i]);
  return left_over;
}

class FrameDrawing {
 public:
  FrameDrawing(std::string& svg, const ReadyFrame& frame, const TimeAxis& time)
      : svg_(svg), frame_(frame), time_(time) {}
  void draw();

 private:
  void draw_grid();
  void draw_band();
  void draw_harm();
  void draw_usual();
  void draw_read();
  void name_limits();

  std::string& svg_;
  const ReadyFrame& frame_;
  const TimeAxis& time_;
};

void FrameDrawing::draw_grid() {
  const double lowest = std::ceil(frame_.axis.low / frame_.axis.step);
  const auto steps = static_cast<int>(std::floor(frame_.axis.high / frame_.axis.step) - lowest);
  for (int i = 0; i <= steps; ++i) {
    const double degc = (lowest + i) * frame_.axis.step;
    add_line(svg_, "grid", TimeAxis::left, frame_.y(degc), TimeAxis::right, frame_.y(degc));
    add_text(svg_, "value", TimeAxis::left - 6, frame_.y(degc) + 4, fixed(degc, frame_.axis.decimals));
  }
  for (const TimeTick& tick : time_.ticks)
    add_line(svg_, "grid", time_.x(tick.at), frame_.top, time_.x(tick.at), frame_.top + frame_height);
}

// Runs of limits that have a target: filled between them, open sides up to the frame's edge.
void FrameDrawing::draw_band() {
  std::vector<const LimitPoint*> run;
  const auto finish = [&] {
    if (run.size() > 1) {
      Path area;
      Path low;
      Path high;
      const auto go = [&](Path& path, const LimitPoint* point, double degc) {
        path.empty() ? path.move(time_.x(point->at), frame_.y(degc))
                     : path.line(time_.x(point->at), frame_.y(degc));
      };
      for (const LimitPoint* point : run) {
        go(area, point, std::min(point->wanted.high, frame_.axis.high));
        if (std::isfinite(point->wanted.high)) go(high, point, point->wanted.high);
        if (std::isfinite(point->wanted.low)) go(low, point, point->wanted.low);
      }
      for (auto point = run.rbegin(); point != run.rend(); ++point)
        go(area, *point, std::max((*point)->wanted.low, frame_.axis.low));
      area.close();
      add_path(svg_, "band", area);
      add_path(svg_, "band-edge", high);
      add_path(svg_, "band-edge", low);
    }
    run.clear();
  };
  for (const LimitPoint& point : frame_.limits) {
    if (std::isfinite(point.wanted.low) || std::isfinite(point.wanted.high)) {
      run.push_back(&point);
    } else {
      finish();
    }
  }
  finish();
}

void FrameDrawing::draw_harm() {
  for (const auto side : {&Wanted::harm_low, &Wanted::harm_high}) {
    Path line;
    bool open = false;
    for (const LimitPoint& point : frame_.limits) {
      const double harm = point.wanted.*side;
      const bool within = std::isfinite(harm) && harm >= frame_.axis.low && harm <= frame_.axis.high;
      if (within && open) line.line(time_.x(point.at), frame_.y(harm));
      if (within && !open) line.move(time_.x(point.at), frame_.y(harm));
      open = within;
    }
    add_path(svg_, "harm", line);
  }
}

void FrameDrawing::draw_usual() {
  Path course;
  std::string areas;
  for (std::size_t i = 0; i < frame_.expected.size();) {
    std::size_t end = i;
    while (end < frame_.expected.size() && std::isfinite(frame_.expected[end].degc)) ++end;
    if (end - i > 1) {
      Path area;
      for (std::size_t at = i; at < end; ++at) {
        const ExpectedPoint& point = frame_.expected[at];
        at == i ? course.move(time_.x(point.at), frame_.y(point.degc))
                : course.line(time_.x(point.at), frame_.y(point.degc));
        if (!std::isfinite(point.high_degc) || !std::isfinite(point.low_degc)) continue;
        area.empty() ? area.move(time_.x(point.at), frame_.y(point.high_degc))
                     : area.line(time_.x(point.at), frame_.y(point.high_degc));
      }
      for (std::size_t at = end; at-- > i;) {
        const ExpectedPoint& point = frame_.expected[at];
        if (std::isfinite(point.high_degc) && std::isfinite(point.low_degc))
          area.line(time_.x(point.at), frame_.y(point.low_degc));
      }
      if (!area.empty()) area.close();
      add_path(areas, "usual", area);
    }
    i = std::max(end, i + 1);
  }
  svg_ += areas;
  add_path(svg_, "expected", course);
}

void FrameDrawing::draw_read() {
  Path line;
  for (std::size_t i = 0; i < frame_.read.size(); ++i) {
    const PlotPoint& point = frame_.read[i];
    const bool after_gap = i == 0 || point.at - frame_.read[i - 1].at > frame_.gap_ms;
    const bool before_gap = i + 1 == frame_.read.size() || frame_.read[i + 1].at - point.at > frame_.gap_ms;
    after_gap ? line.move(time_.x(point.at), frame_.y(point.value))
              : line.line(time_.x(point.at), frame_.y(point.value));
    // One reading alone is a dot: a line of no length with round ends.
    if (after_gap && before_gap) line.line(time_.x(point.at), frame_.y(point.value));
  }
  add_path(svg_, "read", line);
  if (frame_.read.empty())
    add_text(svg_, "empty", (TimeAxis::left + TimeAxis::right) / 2, frame_.top + frame_height / 2,
             "no readings in this time");
}

// To the right of the frame, at the height of what they name; pushed apart where they would overlap.
void FrameDrawing::name_limits() {
  std::vector<std::pair<double, std::string>> names;
  if (!frame_.read.empty())
    names.emplace_back(frame_.y(frame_.read.back().value), "read last " + degrees(frame_.read.back().value));
  if (!frame_.limits.empty()) {
    const Wanted& wanted = frame_.limits.back().wanted;
    if (std::isfinite(wanted.low) || std::isfinite(wanted.high)) {
      const double middle =
          (std::max(wanted.low, frame_.axis.low) + std::min(wanted.high, frame_.axis.high)) / 2;
      names.emplace_back(frame_.y(middle), band_words(wanted));
    }
    const auto name_harm = [&](double harm, const char* words) {
      if (!std::isfinite(harm)) return;
      const bool beyond = harm < frame_.axis.low || harm > frame_.axis.high;
      names.emplace_back(frame_.y(harm), words + limit_text(harm) + " °C" + (beyond ? " (not in view)" : ""));
    };
    name_harm(wanted.harm_high, "harm above ");
    name_harm(wanted.harm_low, "harm below ");
  }
  std::stable_sort(names.begin(), names.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  double least = frame_.top + 4;
  for (auto& [at, words] : names) {
    at = std::max(at, least);
    least = at + words_apart;
  }
  double most = frame_.top + frame_height - 5;
  for (auto name = names.rbegin(); name != names.rend(); ++name) {
    name->first = std::min(name->first, most);
    most = name->first - words_apart;
  }
  for (const auto& [at, words] : names) add_text(svg_, "limit", TimeAxis::right + 8, at + 4, words);
}

void FrameDrawing::draw() {
  const std::string title = cut_to(frame_.frame->title, title_characters);
  svg_ += "<g role=\"group\" aria-label=\"" + xml_text(title) + "\">\n";
  add_text(svg_, "frame-title", TimeAxis::left, frame_.title_y, title + ", °C");
  std::string about = "probe " + cut_to(frame_.frame->probe, title_characters);
  if (frame_.frame->left_out > 0)
    about += "; " + std::to_string(frame_.frame->left_out) + " readings not good enough to show";
  svg_ += "<text class=\"value\" x=\"" + px(TimeAxis::right) + "\" y=\"" + px(frame_.title_y) + "\">" +
          xml_text(about) + "</text>\n";
  draw_band();
  draw_grid();
  draw_usual();
  draw_harm();
  draw_read();
  add_box(svg_, "edge", TimeAxis::left, frame_.top, TimeAxis::right - TimeAxis::left, frame_height);
  name_limits();
  svg_ += "</g>\n";
}

}  // namespace

std::string degrees(double degc) {
  return fixed(degc, 1) + " °C";
}

std::string band_words(const Wanted& wanted) {
  const bool low = std::isfinite(wanted.low);
  const bool high = std::isfinite(wanted.high);
  if (low && high) return "target " + limit_text(wanted.low) + " to " + limit_text(wanted.high) + " °C";
  if (low) return "target from " + limit_text(wanted.low) + " °C";
  return "target up to " + limit_text(wanted.high) + " °C";
}

ReadyFrame readied(const PlotFrame& frame, UtcMs from, UtcMs to, double top) {
  ReadyFrame ready;
  ready.top = top;
  ready.frame = &frame;
  std::vector<PlotPoint> read = frame.readings;
  std::erase_if(read, [&](const PlotPoint& point) {
    return !std::isfinite(point.value) || point.at < from || to < point.at;
  });
  std::stable_sort(read.begin(), read.end(),
                   [](const PlotPoint& a, const PlotPoint& b) { return a.at < b.at; });
  const auto less = [](const PlotPoint& a, const PlotPoint& b) { return a.value < b.value; };
  if (!read.empty()) {
    ready.lowest = *std::min_element(read.begin(), read.end(), less);
    ready.highest = *std::max_element(read.begin(), read.end(), less);
  }
  ready.gap_ms = gap_ms_of(read);
  ready.read = thinned(read, from, to, columns);
  // A thinned line has its points up to three columns apart, which is no gap.
  ready.gap_ms = std::max(ready.gap_ms, 3 * (to - from) / static_cast<std::int64_t>(columns));
  ready.expected = every_nth(frame.expected, most_expected);
  ready.limits = every_nth(frame.limits, most_limits);
  ready.axis = axis_of(ready);
  return ready;
}

void draw_frame(std::string& svg, const ReadyFrame& frame, const TimeAxis& time) {
  FrameDrawing(svg, frame, time).draw();
}

}  // namespace baskwell::report
