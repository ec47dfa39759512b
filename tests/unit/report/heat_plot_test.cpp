// The picture is read back by a real XML parser (Python's expat), as any viewer would.
#include "report/heat_plot.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <limits>
#include <string>

#include "core/alarm/message_text.h"
#include "core/moment.h"
#include "peers/peers.h"
#include "sample_plot.h"

namespace baskwell::report {
namespace {

using testing::HasSubstr;
using testing::Not;

// Every element with its class and text, one a line: "text.limit harm above 36 °C". Fails where it is no XML.
std::string parsed(const std::string& svg) {
  const peers::TempFolder folder;
  const std::string file = folder.write("plot.svg", svg);
  peers::Start start;
  start.argv = {
      "python3", "-c",
      "import sys, xml.etree.ElementTree as tree\n"
      "sys.stdout.reconfigure(encoding='utf-8')\n"
      "for e in tree.parse(sys.argv[1]).iter():\n"
      "  print(e.tag.removeprefix('{http://www.w3.org/2000/svg}') + '.' + e.get('class', ''), e.get('d', "
      "''), (e.text or '').strip())\n",
      file};
  auto process = peers::Process::start(start);
  EXPECT_TRUE(process.ok());
  if (!process) return {};
  const auto status = process.value().wait_for_end(std::chrono::seconds(60));
  EXPECT_TRUE(status.ok());
  process.value().stop();
  EXPECT_EQ(status.ok() ? status.value() : -1, 0) << process.value().output();
  return process.value().output();
}

std::size_t count_of(const std::string& text, const std::string& what) {
  std::size_t count = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

// The `d` of the n-th path of this class.
std::string path_of(const std::string& svg, const std::string& style, int n = 0) {
  const std::string begin = "<path class=\"" + style + "\" d=\"";
  auto at = svg.find(begin);
  for (; n > 0 && at != std::string::npos; --n) at = svg.find(begin, at + 1);
  if (at == std::string::npos) return {};
  at += begin.size();
  return svg.substr(at, svg.find('"', at) - at);
}

// A frame of an hour with a constant target, nothing learned.
HeatPlot small_plot(std::vector<PlotPoint> readings) {
  HeatPlot plot;
  plot.title = "Shelf 1: temperature and heating";
  plot.room = "Study";
  plot.from = UtcMs{1'795'521'600'000};
  plot.to = plot.from + hour_ms;
  PlotFrame frame{"cool end", "cool/value", std::move(readings), 0, {}, {}};
  frame.limits = {{plot.from, {24, 27, 20, 33}}, {plot.to, {24, 27, 20, 33}}};
  plot.frames = {std::move(frame)};
  return plot;
}

TEST(HeatPlot, SaysAllOfItInWordsToo) {
  const HeatPlot plot = test::sample_plot();
  const std::string seen = parsed(heat_plot_svg(plot));
  const std::vector<PlotPoint>& read = plot.frames[0].readings;
  const auto lowest = std::min_element(read.begin(), read.end(),
                                       [](const auto& a, const auto& b) { return a.value < b.value; });
  EXPECT_THAT(seen, HasSubstr("title.  Shelf 2: temperature and heating"));
  EXPECT_THAT(seen, HasSubstr("desc.  Odile Farrow's animal room, 24 Nov 13:00 to 25 Nov 13:00, 2026"));
  EXPECT_THAT(seen, HasSubstr("hot spot, surface, probe shelf-2-hot/temperature: lowest " +
                              quantity_text(lowest->value, Quantity::temperature) + " on " +
                              local_day_hour_minute(plot.clock, lowest->at) + ", highest "));
  EXPECT_THAT(seen, HasSubstr("text.frame-title  hot spot, surface, °C"));
  EXPECT_THAT(seen, HasSubstr("2 readings not good enough to show"));
  EXPECT_THAT(seen, HasSubstr("text.limit  harm above 36 °C\n"));
  EXPECT_THAT(seen, HasSubstr("text.limit  target 30 to 33 °C\n"));
  EXPECT_THAT(seen, HasSubstr("text.limit  target up to 28 °C\n"));
  EXPECT_THAT(seen, HasSubstr("text.limit  harm below 8 °C (not in view)\n"));
  EXPECT_THAT(seen, HasSubstr("text.limit  dark: lights off"));
  EXPECT_THAT(seen, HasSubstr("1: 25 Nov 02:22, A12 not-heating: raised, medium"));
  for (const char* kind : {"reading", "expected course", "harm limit", "usual range (98 %)", "target band"})
    EXPECT_THAT(seen, HasSubstr(std::string("text.key  ") + kind)) << kind;
  EXPECT_EQ(count_of(seen, "path.read "), 3U);
  EXPECT_EQ(count_of(seen, "path.expected "), 2U);
  EXPECT_EQ(count_of(seen, "path.usual "), 2U);
}

TEST(HeatPlot, LinesAreToldApartWithoutColour) {
  const std::string svg = heat_plot_svg(test::sample_plot());
  const auto dashes = [&](const std::string& style) {
    const auto at = svg.find("\n." + style + " {");
    EXPECT_NE(at, std::string::npos) << style;
    const std::string rule = svg.substr(at, svg.find('}', at) - at);
    const auto dash = rule.find("stroke-dasharray:");
    return dash == std::string::npos ? std::string() : rule.substr(dash);
  };
  const std::vector<std::string> each{dashes("read"), dashes("expected"), dashes("harm"), dashes("band-edge"),
                                      dashes("mark")};
  for (std::size_t i = 0; i < each.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) EXPECT_NE(each[i], each[j]);
  }
}

TEST(HeatPlot, NamesFromOutsideCannotBreakIt) {
  HeatPlot plot = test::sample_plot();
  const std::string bad = "</text><script>alert(1)</script>\"'&\x01\xFF\xEF\xBF\xBF ]]>";
  plot.title = plot.room = plot.frames[0].title = plot.frames[0].probe = bad;
  plot.marks[0].words = bad;
  plot.notes = {bad};
  const std::string svg = heat_plot_svg(plot);
  const std::string seen = parsed(svg);
  EXPECT_THAT(seen, Not(HasSubstr("script.")));
  EXPECT_THAT(seen, HasSubstr("text.title  </text><script>alert(1)</script>"));
}

TEST(HeatPlot, OneReadingBeyondAllOthersIsStillSeen) {
  std::vector<PlotPoint> readings;
  const UtcMs from{1'795'521'600'000};
  readings.reserve(36'000);
  for (std::int64_t i = 0; i < 36'000; ++i) readings.push_back({from + i * 100, 25.0});
  readings[20'001].value = 29.5;
  const std::string svg = heat_plot_svg(small_plot(readings));
  EXPECT_THAT(parsed(svg), HasSubstr("highest 29.5 °C on 24 Nov 12:33"));
  // In the drawing: one point higher than the line of all others.
  const std::string path = path_of(svg, "read");
  EXPECT_GT(count_of(path, "L"), 300U);
  EXPECT_LT(path.size(), 30'000U);
  std::vector<double> heights;
  for (auto at = path.find(' '); at != std::string::npos; at = path.find(' ', at + 1))
    heights.push_back(std::stod(path.substr(at + 1)));
  const double usual = heights.front();
  EXPECT_EQ(std::count_if(heights.begin(), heights.end(), [&](double y) { return y != usual; }), 1);
  EXPECT_LT(*std::min_element(heights.begin(), heights.end()), usual - 50);
}

TEST(HeatPlot, ALineIsBrokenWhereNothingWasReadAndOneReadingIsADot) {
  const UtcMs from{1'795'521'600'000};
  HeatPlot plot = small_plot({});
  for (std::int64_t i = 0; i < 10; ++i) plot.frames[0].readings.push_back({from + i * minute_ms, 25});
  plot.frames[0].readings.push_back({from + 30 * minute_ms, 25.5});
  for (std::int64_t i = 50; i < 60; ++i) plot.frames[0].readings.push_back({from + i * minute_ms, 25});
  // Order of arrival is not order of time.
  std::reverse(plot.frames[0].readings.begin(), plot.frames[0].readings.end());
  const std::string path = path_of(heat_plot_svg(plot), "read");
  EXPECT_EQ(count_of(path, "M"), 3U);
  EXPECT_EQ(count_of(path, "L"), 9U + 1U + 9U);
}

TEST(HeatPlot, WithoutReadingsItSaysSo) {
  const std::string seen = parsed(heat_plot_svg(small_plot({})));
  EXPECT_THAT(seen, HasSubstr("text.empty  no readings in this time"));
  EXPECT_THAT(seen, HasSubstr("text.limit  target 24 to 27 °C"));
  EXPECT_THAT(seen, HasSubstr("cool end, probe cool/value: no readings."));
  HeatPlot nothing = small_plot({});
  nothing.frames.clear();
  static_cast<void>(parsed(heat_plot_svg(nothing)));
}

TEST(HeatPlot, WhatIsNotLearnedIsNotDrawn) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  HeatPlot plot = small_plot({});
  for (std::int64_t i = 0; i <= 12; ++i) {
    const bool learned = i < 4 || i > 8;
    plot.frames[0].expected.push_back(
        {plot.from + i * 5 * minute_ms, learned ? 25 : nan, learned ? 24.5 : nan, learned ? 25.5 : nan});
  }
  const std::string svg = heat_plot_svg(plot);
  EXPECT_EQ(count_of(path_of(svg, "expected"), "M"), 2U);
  EXPECT_EQ(count_of(parsed(svg), "path.usual "), 2U);
}

TEST(HeatPlot, StaysSmallWhateverItIsHanded) {
  HeatPlot plot = small_plot({});
  plot.to = plot.from + 14 * day_ms;
  PlotFrame& frame = plot.frames[0];
  for (std::int64_t i = 0; i < 120'960; ++i)
    frame.readings.push_back({plot.from + i * 10 * second_ms, 25 + static_cast<double>(i % 7) * 0.1});
  for (std::int64_t i = 0; i < 20'000; ++i) frame.expected.push_back({plot.from + i * minute_ms, 25, 24, 26});
  for (std::int64_t i = 0; i < 5'000; ++i)
    frame.limits.push_back({plot.from + i * 4 * minute_ms, {24, 27, 20, 33}});
  frame.title = std::string(5'000, 'x');
  plot.frames.resize(20, frame);
  for (std::int64_t i = 0; i < 500; ++i)
    plot.marks.push_back({plot.from + i * hour_ms / 2, std::string(1'000, 'y')});
  plot.notes.assign(100, std::string(1'000, 'z'));
  const std::string svg = heat_plot_svg(plot);
  EXPECT_LT(svg.size(), most_frames * 130'000);
  const std::string seen = parsed(svg);
  EXPECT_EQ(count_of(seen, "text.frame-title "), most_frames);
  EXPECT_THAT(seen, HasSubstr("14 more probes are not shown"));
  EXPECT_THAT(seen, HasSubstr("and 490 later alarm changes, not marked"));
}

TEST(HeatPlot, TellsThatTheClockWasSet) {
  HeatPlot plot = small_plot({});
  plot.clock.changes = {{UtcMs{0}, 7200}, {plot.from + minute_ms, 3600}};
  EXPECT_THAT(parsed(heat_plot_svg(plot)), HasSubstr("clock was set back by 60 min"));
}

}  // namespace
}  // namespace baskwell::report
