#include "report/heat_plot.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <string_view>
#include <utility>

#include "core/alarm/message_text.h"
#include "core/check.h"
#include "core/moment.h"
#include "report/plot_frame.h"
#include "report/svg.h"

namespace baskwell::report {
namespace {

// px
constexpr double width = 1020;
constexpr double left = TimeAxis::left;
constexpr double right = TimeAxis::right;
constexpr double frame_apart = 46;  // with the next frame's title
constexpr double first_frame = 126;
constexpr double flag_width = 18;
constexpr double flag_height = 15;

constexpr std::size_t most_notes = 8;
constexpr std::size_t words_characters = 140;
constexpr int most_ticks = 12;

// Dark on light, told apart by dashes and hatching too; line widths for a printer of 300 dpi and more.
constexpr std::string_view styles = R"svg(<style>
text { font: 12px sans-serif; fill: #26221d }
.title { font-size: 19px; font-weight: bold }
.frame-title { font-size: 14px; font-weight: bold }
.value { text-anchor: end }
.hour, .number, .empty { text-anchor: middle }
.number { font-weight: bold }
.paper { fill: #ffffff }
.edge { fill: none; stroke: #8a8378 }
.grid { stroke: #e4dfd6 }
.band { fill: url(#hatch) }
.band-edge { fill: none; stroke: #8c6d1f; stroke-dasharray: 2 3 }
.usual { fill: #bcd3e6; fill-opacity: 0.75 }
.expected { fill: none; stroke: #1d5488; stroke-width: 1.6; stroke-dasharray: 7 4 }
.read { fill: none; stroke: #17130e; stroke-width: 1.7; stroke-linejoin: round; stroke-linecap: round }
.harm { fill: none; stroke: #9c2b1c; stroke-width: 2.2; stroke-dasharray: 16 4 3 4 }
.mark { stroke: #4b2d6b; stroke-width: 1.4; stroke-dasharray: 4 3 }
.flag { fill: #ffffff; stroke: #4b2d6b; stroke-width: 1.4 }
.dark { fill: #6d6a75 }
.dark-row { fill: #f3f1ec; stroke: #8a8378; stroke-width: 0.6 }
</style>
<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
<rect width="7" height="7" fill="#fbf3dc"/><line x1="0" y1="0" x2="0" y2="7" stroke="#dfc888" stroke-width="1.6"/>
</pattern></defs>
)svg";

class Drawing {
 public:
  explicit Drawing(const HeatPlot& plot)
      : plot_(plot), time_{plot.from, plot.to, time_ticks(plot.clock, plot.from, plot.to, most_ticks)} {
    for (std::size_t i = 0; i < std::min(plot.frames.size(), most_frames); ++i) {
      const double top = first_frame + static_cast<double>(i) * (frame_height + frame_apart);
      frames_.push_back(readied(plot.frames[i], plot.from, plot.to, top));
      // The marks' flags stand between the first frame and its title.
      frames_.back().title_y = top - 9 - (i == 0 && !plot.marks.empty() ? 2 * flag_height + 6 : 0);
    }
  }
  std::string draw();

 private:
  [[nodiscard]] double bottom() const {
    return frames_.empty() ? first_frame : frames_.back().top + frame_height;
  }
  [[nodiscard]] std::string period() const;
  [[nodiscard]] std::string description() const;
  void draw_dark();
  void draw_hours();
  void draw_marks();
  void draw_key();
  void draw_words();

  const HeatPlot& plot_;
  TimeAxis time_;
  std::vector<ReadyFrame> frames_;
  std::string svg_;
  double foot_ = 0;  // where the next thing below the frames goes
};

std::string Drawing::period() const {
  const CivilDate date = civil_from_days(local_day(plot_.clock, plot_.from));
  return local_day_hour_minute(plot_.clock, plot_.from) + " to " +
         local_day_hour_minute(plot_.clock, plot_.to) + ", " + std::to_string(date.year) +
         ", by the room's clock";
}

// For who hears the picture instead of seeing it.
std::string Drawing::description() const {
  std::string words = plot_.room + ", " + period() + ".";
  for (const ReadyFrame& ready : frames_) {
    words += " " + ready.frame->title + ", probe " + ready.frame->probe + ": ";
    if (!ready.lowest) {
      words += "no readings.";
      continue;
    }
    words += "lowest " + degrees(ready.lowest->value) + " on " +
             local_day_hour_minute(plot_.clock, ready.lowest->at) + ", highest " +
             degrees(ready.highest->value) + " on " + local_day_hour_minute(plot_.clock, ready.highest->at) +
             ", last " + degrees(ready.read.back().value) + ".";
    if (!ready.limits.empty()) {
      const Wanted& wanted = ready.limits.back().wanted;
      if (std::isfinite(wanted.low) || std::isfinite(wanted.high))
        words += " At the end: " + band_words(wanted) + ".";
    }
  }
  for (std::size_t i = 0; i < std::min(plot_.marks.size(), most_marks); ++i)
    words += " " + local_day_hour_minute(plot_.clock, plot_.marks[i].at) + ": " + plot_.marks[i].words + ".";
  return words;
}

void Drawing::draw_dark() {
  if (plot_.lights_off.empty()) return;
  constexpr double height = 9;
  add_box(svg_, "dark-row", left, foot_, right - left, height);
  for (const Span& dark : plot_.lights_off) {
    const double begin = time_.x(dark.from);
    const double end = time_.x(dark.to);
    if (end > begin) add_box(svg_, "dark", begin, foot_, end - begin, height);
  }
  add_text(svg_, "limit", right + 8, foot_ + height + 3, "dark: lights off");
  foot_ += height;
}

void Drawing::draw_hours() {
  for (const TimeTick& tick : time_.ticks) {
    add_text(svg_, "hour", time_.x(tick.at), foot_ + 16, tick.hour.empty() ? tick.day : tick.hour);
    if (!tick.hour.empty() && !tick.day.empty())
      add_text(svg_, "hour", time_.x(tick.at), foot_ + 31, tick.day);
  }
  foot_ += 36;
}

// Lines in the frames only, so that no title is crossed out; their numbers above the first frame.
void Drawing::draw_marks() {
  const std::size_t count = std::min(plot_.marks.size(), most_marks);
  for (std::size_t i = 0; i < count; ++i) {
    const double at = time_.x(plot_.marks[i].at);
    for (const ReadyFrame& frame : frames_)
      add_line(svg_, "mark", at, frame.top, at, frame.top + frame_height);
  }
  // Flags that would touch stand by turns in two rows; all of them over the lines.
  std::string flags;
  double last = -flag_width;
  bool upper = false;
  for (std::size_t i = 0; i < count; ++i) {
    const double at = time_.x(plot_.marks[i].at);
    upper = at - last < flag_width + 2 && !upper;
    last = at;
    const double top = first_frame - flag_height - 4 - (upper ? flag_height + 2 : 0);
    add_line(svg_, "mark", at, top + flag_height, at, first_frame);
    add_box(flags, "flag", at - flag_width / 2, top, flag_width, flag_height);
    add_text(flags, "number", at, top + 12, std::to_string(i + 1));
  }
  svg_ += flags;
}

// What each kind of line and surface is.
void Drawing::draw_key() {
  constexpr std::string_view line_names[] = {"read", "expected", "harm", "mark"};
  constexpr std::string_view line_words[] = {"reading", "expected course", "harm limit", "alarm, see number"};
  constexpr double apart = 152;
  constexpr double sample = 30;
  foot_ += 16;
  double at = left;
  for (std::size_t i = 0; i < std::size(line_names); ++i, at += apart) {
    add_line(svg_, line_names[i], at, foot_ - 4, at + sample, foot_ - 4);
    add_text(svg_, "key", at + sample + 7, foot_, line_words[i]);
  }
  for (const auto& [style, words] : {std::pair{"usual", "usual range (98 %)"}, {"band", "target band"}}) {
    add_box(svg_, style, at, foot_ - 11, sample, 13);
    if (style == std::string_view("band")) add_box(svg_, "band-edge", at, foot_ - 11, sample, 13);
    add_text(svg_, "key", at + sample + 7, foot_, words);
    at += apart;
  }
  foot_ += 14;
}

void Drawing::draw_words() {
  std::vector<std::string> lines;
  for (std::size_t i = 0; i < std::min(plot_.marks.size(), most_marks); ++i) {
    lines.push_back(std::to_string(i + 1) + ": " + local_day_hour_minute(plot_.clock, plot_.marks[i].at) +
                    ", " + plot_.marks[i].words);
  }
  if (plot_.marks.size() > most_marks)
    lines.push_back("and " + std::to_string(plot_.marks.size() - most_marks) +
                    " later alarm changes, not marked");
  if (plot_.frames.size() > most_frames)
    lines.push_back(std::to_string(plot_.frames.size() - most_frames) + " more probes are not shown");
  const std::int32_t before_s = plot_.clock.offset_s(plot_.from);
  const std::int32_t after_s = plot_.clock.offset_s(plot_.to);
  if (before_s != after_s) {
    lines.push_back("The room's clock was set " + std::string(after_s > before_s ? "forward" : "back") +
                    " by " + std::to_string(std::abs(after_s - before_s) / 60) + " min in this time.");
  }
  const std::size_t notes = std::min(plot_.notes.size(), most_notes);
  lines.insert(lines.end(), plot_.notes.begin(), plot_.notes.begin() + static_cast<std::ptrdiff_t>(notes));
  for (const std::string& line : lines) {
    foot_ += 17;
    add_text(svg_, "note", left, foot_, cut_to(line, words_characters));
  }
  foot_ += 16;
}

std::string Drawing::draw() {
  const std::string title = cut_to(plot_.title, title_characters);
  for (const ReadyFrame& frame : frames_) draw_frame(svg_, frame, time_);
  foot_ = bottom();
  draw_dark();
  draw_hours();
  draw_marks();
  draw_key();
  draw_words();
  std::string head = R"(<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="title description" width=")" +
                     px(width) + "\" height=\"" + px(foot_) + "\" viewBox=\"0 0 " + px(width) + " " +
                     px(foot_) + "\">\n<title id=\"title\">" + xml_text(title) +
                     "</title>\n<desc id=\"description\">" + xml_text(description()) + "</desc>\n";
  head += styles;
  add_box(head, "paper", 0, 0, width, foot_);
  add_text(head, "title", left, 30, title);
  add_text(head, "subtitle", left, 49, cut_to(plot_.room, title_characters) + ", " + period());
  return head + svg_ + "</svg>\n";
}

}  // namespace

std::string heat_plot_svg(const HeatPlot& plot) {
  CHECK(plot.from < plot.to);
  return Drawing(plot).draw();
}

}  // namespace baskwell::report
