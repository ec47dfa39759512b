#include "app/heat_answer.h"

#include <algorithm>
#include <boost/json.hpp>
#include <cmath>
#include <limits>
#include <set>
#include <vector>

#include "app/heat_text.h"
#include "core/care/bands.h"
#include "core/heat/belief.h"
#include "core/moment.h"

namespace baskwell {
namespace {

namespace json = boost::json;

constexpr double not_known = std::numeric_limits<double>::quiet_NaN();
// Edges of lights and of stays within two weeks are far fewer.
constexpr std::size_t most_limit_points = 500;

json::value figure(double value) {
  return std::isfinite(value) ? json::value(value) : json::value(nullptr);
}

json::array texts(const std::vector<std::string>& list) {
  return json::array(list.begin(), list.end());
}

json::object to_json(const heat::PhaseBelief& phase) {
  return {{"level_degc", figure(phase.level_degc)},
          {"swing_k", figure(phase.swing_k)},
          {"low_k", figure(phase.low_k)},
          {"high_k", figure(phase.high_k)}};
}

json::object to_json(const heat::Belief& belief) {
  json::array probes;
  for (const heat::ProbeBelief& probe : belief.probes) {
    json::array course;
    for (const double degc : probe.course_degc) course.push_back(figure(degc));
    probes.push_back(json::object{{"channel", probe.channel},
                                  {"zone", probe.zone},
                                  {"now_degc", figure(probe.now_degc)},
                                  {"expected_degc", figure(probe.expected_degc)},
                                  {"room_share_k_per_k", figure(probe.room_share)},
                                  {"days_learned", figure(probe.days_learned)},
                                  {"course_degc", std::move(course)}});
  }
  json::array changes;
  for (const heat::Belief::Change& change : belief.changes)
    changes.push_back(json::object{{"at", rfc3339(change.at)}, {"what", change.what}});
  return {{"unit", belief.unit},
          {"thermostat", belief.thermostat.empty() ? json::value(nullptr) : json::value(belief.thermostat)},
          {"heaters", texts(belief.heaters)},
          {"feeds", texts(belief.feeds)},
          {"unprobed", texts(belief.unprobed)},
          {"judged", belief.judged},
          {"judged_from", belief.judged ? json::value(nullptr) : json::value(rfc3339(belief.judged_from))},
          {"day", to_json(belief.day)},
          {"night", to_json(belief.night)},
          {"fast_minutes", figure(belief.fast_minutes)},
          {"slow_minutes", figure(belief.slow_minutes)},
          {"falls_seen", belief.falls_seen},
          {"cycle_minutes", figure(belief.cycle_minutes)},
          {"duty", figure(belief.duty)},
          {"probes", std::move(probes)},
          {"changes", std::move(changes)},
          {"evidence", texts(belief.evidence)}};
}

// ---- the picture

// Value of a day's course at that moment: a line between the middles of its quarters, as the model has it.
double course_at(const std::vector<double>& course, int local_minute_of_day) {
  if (course.empty()) return not_known;
  const auto size = static_cast<double>(course.size());
  const double place = local_minute_of_day / (24.0 * 60) * size - 0.5;
  const double left = std::floor(place);
  const auto a = static_cast<std::size_t>(left < 0 ? left + size : left) % course.size();
  return course[a] + (place - left) * (course[(a + 1) % course.size()] - course[a]);
}

// How far it strays at that hour: by the hour where the probe's own is known, else by day and night.
std::pair<double, double> usual_k(const heat::Belief& belief, const heat::ProbeBelief& probe, int minute,
                                  bool day) {
  double low = day ? belief.day.low_k : belief.night.low_k;
  double high = day ? belief.day.high_k : belief.night.high_k;
  const std::size_t bin = static_cast<std::size_t>(minute) * probe.low_k.size() / 1'440U;
  if (bin < probe.low_k.size() && bin < probe.high_k.size()) {
    low = probe.low_k[bin];
    high = probe.high_k[bin];
  }
  if (!(low < high)) low = high = not_known;  // too little seen
  return {low, high};
}

json::array expected_of(const Room& room, const heat::Belief& belief, const heat::ProbeBelief& probe,
                        Index enclosure, const Span& window) {
  json::array points;
  const std::int64_t step_ms = 15 * minute_ms;
  // On the middles of the quarters, so that the course is drawn as it was learned.
  UtcMs at = window.from - ((window.from.ms % step_ms + step_ms) % step_ms) + step_ms / 2;
  const auto add = [&](UtcMs moment) {
    const int minute = local_minute(room.clock, moment);
    const double degc = course_at(probe.course_degc, minute);
    const bool day = light_phase(room.enclosures[enclosure].lights, room.clock, moment).day;
    const auto [low, high] = usual_k(belief, probe, minute, day);
    points.push_back(json::array{moment.ms, figure(degc), figure(degc + low), figure(degc + high)});
  };
  add(window.from);
  for (; at < window.to; at = at + step_ms) {
    if (at > window.from) add(at);
  }
  add(window.to);
  return points;
}

json::array limits_of(const Room& room, const Placement& placement, const Span& window) {
  json::array points;
  const SpotKey spot{placement.enclosure, placement.zone, placement.medium, Quantity::temperature};
  const auto add = [&](UtcMs at, const Wanted& wanted) {
    points.push_back(json::array{at.ms, figure(wanted.low), figure(wanted.high), figure(wanted.harm_low),
                                 figure(wanted.harm_high)});
  };
  UtcMs at = window.from;
  while (at < window.to && points.size() < most_limit_points) {
    const BandSegment segment = segment_at(room, spot, at);
    const UtcMs last = std::min(segment.until - 1, window.to);
    add(at, segment.at(at));
    if (last > at) add(last, segment.at(last));
    at = segment.until;
  }
  return points;
}

json::array lights_off_of(const Room& room, const LightPlan& lights, const Span& window) {
  json::array spans;
  if (lights.on_minute == lights.off_minute) return spans;  // it has none
  for (UtcMs at = window.from; at < window.to;) {
    const LightPhase phase = light_phase(lights, room.clock, at);
    if (!phase.day) spans.push_back(json::array{at.ms, std::min(phase.until, window.to).ms});
    at = std::max(phase.until, at + 1);
  }
  return spans;
}

struct Picture {
  const Room& room;
  Index enclosure;
  const std::optional<heat::Belief>& belief;
  Span window;
  json::array frames;
  std::set<std::string> channels;

  // A frame for each place where this channel lay in that time; only in `within` or in the room where asked.
  void add(const Channel& channel, bool anywhere, bool room_air) {
    if (channel.quantity != Quantity::temperature || channels.contains(channel.id)) return;
    for (const Placement& placement : channel.placements) {
      const Span shown{std::max(placement.span.from, window.from), std::min(placement.span.to, window.to)};
      if (shown.to <= shown.from) continue;
      if (!anywhere && placement.enclosure != (room_air ? none : enclosure)) continue;
      channels.insert(channel.id);
      json::object frame{{"channel", channel.id},
                         {"title", spot_words(room, placement, enclosure)},
                         {"from_ms", shown.from.ms},
                         {"to_ms", shown.to.ms},
                         {"limits", limits_of(room, placement, shown)}};
      json::array offsets;
      for (const Calibration& calibration : channel.calibrations)
        offsets.push_back(json::array{calibration.version, calibration.offset});
      frame["calibration_k"] = std::move(offsets);
      json::array expected;
      if (belief && placement.enclosure != none) {
        for (const heat::ProbeBelief& probe : belief->probes) {
          if (probe.channel == channel.id)
            expected = expected_of(room, *belief, probe, placement.enclosure, shown);
        }
      }
      frame["expected"] = std::move(expected);
      frames.push_back(std::move(frame));
    }
  }
};

json::object picture_of(const HeatView& view, const Span& window) {
  Picture picture{view.room, view.enclosure, view.belief, window, {}, {}};
  const auto own = [&](const std::string& id, bool anywhere) {
    for (const Channel& channel : view.room.channels) {
      if (channel.id == id) picture.add(channel, anywhere, false);
    }
  };
  if (view.belief) {
    for (const heat::ProbeBelief& probe : view.belief->probes) own(probe.channel, false);
  }
  for (const Channel& channel : view.room.channels) picture.add(channel, false, false);
  // What is judged by may lie in another tub of the rack.
  if (view.belief && !view.belief->probes.empty()) own(view.belief->probes.front().channel, true);
  for (const Channel& channel : view.room.channels) picture.add(channel, false, true);
  json::array clock;
  for (const ZoneRules::Change& change : view.room.clock.changes) {
    // The newest before the window holds at its begin.
    if (change.from >= window.to) continue;
    if (change.from <= window.from) clock.clear();
    clock.push_back(json::array{change.from.ms, change.offset_s});
  }
  return {{"from_ms", window.from.ms},
          {"to_ms", window.to.ms},
          {"clock_offset_s", std::move(clock)},
          {"lights_off_ms", lights_off_of(view.room, view.room.enclosures[view.enclosure].lights, window)},
          {"frames", std::move(picture.frames)}};
}

// Subjects of the alarm record that are about this enclosure: these, and all that begin with its id and "/".
std::set<std::string> subjects_of(const HeatView& view) {
  std::set<std::string> subjects{"room"};
  if (view.belief) subjects.insert(view.belief->unit + "/heating");
  for (const Channel& channel : view.room.channels) {
    for (const Placement& placement : channel.placements) {
      if (placement.enclosure == view.enclosure) subjects.insert(channel.id);
    }
  }
  return subjects;
}

Index enclosure_of(const Room& room, std::string_view words) {
  const auto& all = room.enclosures;
  auto found = std::find_if(all.begin(), all.end(), [&](const Enclosure& each) { return each.id == words; });
  if (found == all.end())
    found = std::find_if(all.begin(), all.end(), [&](const Enclosure& each) { return each.name == words; });
  return found == all.end() ? none : static_cast<Index>(found - all.begin());
}

}  // namespace

Result<HeatAnswer> heat_answer(const Engine& engine, Stamp now, std::string_view enclosure,
                               std::optional<Span> window) {
  const Room& room = engine.room();
  const Index index = enclosure_of(room, enclosure);
  if (index == none) return Error{"no enclosure is called '" + std::string(enclosure) + "'"};
  if (window && (window->to - window->from < minute_ms || window->to - window->from > longest_window_ms))
    return Error{"the time shown may be a minute to 14 days long"};
  HeatView view{room, index, now.utc, engine.heat_belief(index, now), {}};
  const std::set<std::string> subjects = subjects_of(view);
  const std::string prefix = room.enclosures[index].id + "/";
  for (AlarmView& alarm : engine.view(now).alarms) {
    if (alarm.state == AlarmState::normal) continue;
    if (alarm.subject.starts_with(prefix) || subjects.contains(alarm.subject))
      view.alarms.push_back(std::move(alarm));
  }
  json::object data{{"at", rfc3339(now.utc)},
                    {"at_ms", now.utc.ms},
                    {"room", room.name},
                    {"enclosure", room.enclosures[index].id},
                    {"name", enclosure_name(room, index)},
                    {"alarm_subjects", json::array(subjects.begin(), subjects.end())},
                    {"heating", view.belief ? json::value(to_json(*view.belief)) : json::value(nullptr)}};
  if (window) data["picture"] = picture_of(view, *window);
  return HeatAnswer{heat_text(view), json::serialize(data)};
}

}  // namespace baskwell
