// What survives a restart: the outages that are not closed, what lights look like, what is usual. One record
// a line; names and texts last. The first word says what it is; a kind of line that is not known is no error
// of the file but of its version, so it is refused.

#include <algorithm>
#include <cmath>

#include "core/heat/outage_inside.h"
#include "core/state_lines.h"

namespace baskwell::heat {
namespace {

// NaN is written as "-".
void write_or_dash(LineWriter& line, double value) {
  if (std::isfinite(value)) {
    line.number(value);
  } else {
    line.word("-");
  }
}

double read_or_dash(LineReader& line) {
  LineReader again = line;
  if (again.word() != "-") return line.finite();
  line = again;
  return OutageLine::unknown;
}

void write_moment(LineWriter& line, const std::optional<UtcMs>& at) {
  line.number(at ? at->ms : INT64_MIN);
}

std::optional<UtcMs> read_moment(LineReader& line) {
  const std::int64_t ms = line.ms_or(INT64_MIN);
  if (ms == INT64_MIN) return std::nullopt;
  return UtcMs{ms};
}

void write(LineWriter& out, const LineWatch& watch, std::uint64_t number) {
  const OutageLine& line = watch.line;
  out.word("outage").word("line").number(number).flag(line.judged).flag(line.fell);
  for (const double value : {line.lowest_degc, line.fell_k, line.took_min, line.usual_min, line.shift_k,
                             line.lights_late_min, line.drop_late_min, watch.kept_before_k, watch.kept_sum_k})
    write_or_dash(out, value);
  out.number(watch.kept_n).flag(watch.back_this_boot);
  write_moment(out, line.back_at);
  out.word(line.enclosure).end();
}

void write(LineWriter& out, const Episode& one) {
  const OutageRecord& record = one.record;
  out.word("outage").word("episode").number(one.number);
  out.number(static_cast<int>(record.kind)).number(static_cast<int>(record.stage));
  out.number(record.other ? static_cast<int>(*record.other) : outage_kind_count);
  out.number(one.gap ? static_cast<int>(*one.gap) : outage_kind_count);
  out.number(record.from.ms);
  write_moment(out, record.to);
  out.number(record.from_within_ms).number(record.to_within_ms).number(record.confidence);
  for (const bool flag : {one.held, one.from_this_boot, one.to_this_boot, one.new_boot, one.heat,
                          one.from_known_well, one.to_known_well, one.told, one.told_again})
    out.flag(flag);
  out.number(one.looks_told).word(record.circuit.empty() ? "-" : record.circuit);
  out.word(one.gap_words + '\t' + record.evidence).end();
}

std::optional<OutageKind> read_kind(LineReader& line) {
  const int value = line.enumeration<int>(outage_kind_count + 1);
  if (value == outage_kind_count) return std::nullopt;
  return static_cast<OutageKind>(value);
}

bool read(LineReader& line, Episode& one, bool same_boot) {
  OutageRecord& record = one.record;
  one.number = line.number<std::uint64_t>();
  record.id = "O" + std::to_string(one.number);
  record.kind = line.enumeration<OutageKind>(outage_kind_count);
  record.stage = line.enumeration<OutageStage>(outage_stage_count);
  record.other = read_kind(line);
  one.gap = read_kind(line);
  record.from.ms = line.ms();
  record.to = read_moment(line);
  line.require(record.to.has_value() || record.stage == OutageStage::open ||
               record.stage == OutageStage::closed);
  record.from_within_ms = line.ms();
  record.to_within_ms = line.ms();
  record.confidence = line.finite();
  for (bool* flag : {&one.held, &one.from_this_boot, &one.to_this_boot, &one.new_boot, &one.heat,
                     &one.from_known_well, &one.to_known_well, &one.told, &one.told_again})
    *flag = line.flag();
  line.require(!one.held || record.to.has_value());
  one.looks_told = line.number<int>();
  record.circuit = line.word();
  if (record.circuit == "-") record.circuit.clear();
  const std::string_view rest = line.rest();
  const std::size_t tab = rest.find('\t');
  if (!line.good() || tab == std::string_view::npos) return false;
  one.gap_words = rest.substr(0, tab);
  record.evidence = rest.substr(tab + 1);
  one.from_this_boot = one.from_this_boot && same_boot;
  one.to_this_boot = (one.to_this_boot && same_boot) || !record.to;
  one.changed = false;
  return true;
}

bool read(LineReader& line, LineWatch& watch, std::uint64_t& number, bool same_boot) {
  OutageLine& one = watch.line;
  number = line.number<std::uint64_t>();
  one.judged = line.flag();
  one.fell = line.flag();
  for (double* value : {&one.lowest_degc, &one.fell_k, &one.took_min, &one.usual_min, &one.shift_k,
                        &one.lights_late_min, &one.drop_late_min, &watch.kept_before_k, &watch.kept_sum_k})
    *value = read_or_dash(line);
  watch.kept_n = line.number<int>();
  watch.back_this_boot = line.flag() && same_boot;
  one.back_at = read_moment(line);
  one.enclosure = line.rest();
  line.require(watch.kept_n >= 0 && !one.enclosure.empty());
  return line.good();
}

}  // namespace

void OutageWatch::save(std::string& out) const {
  const Inside& in = *inside_;
  LineWriter line(out);
  line.word("outage").word("count").number(in.last_number).end();
  for (const LightWatch& light : in.lights) {
    if (!light.course.known()) continue;
    line.word("outage").word("light").number(light.out).flag(light.dark);
    light.course.save(line);
    line.word(in.room.channels[light.channel].id).end();
  }
  for (std::size_t i = 0; i < in.units.size(); ++i) {
    const UnitWatch& unit = in.unit_watches[i];
    if (unit.out == 0 && std::isnan(unit.usual_k_per_h)) continue;
    line.word("outage").word("unit").number(unit.out);
    write_or_dash(line, unit.usual_k_per_h);
    write_or_dash(line, unit.lowest_degc);
    line.word(in.units[i].id).end();
  }
  if (in.room_air.channel != none) {
    line.word("outage").word("room").number(in.room_air.out);
    for (std::size_t hour = 0; hour < in.room_air.hour_degc.size(); ++hour)
      line.number(in.room_air.hour_degc[hour]).number(in.room_air.days[hour]);
    line.word(in.room.channels[in.room_air.channel].id).end();
  }
  for (const Episode& one : in.episodes) {
    write(line, one);
    for (const LineWatch& watch : one.lines) write(line, watch, one.number);
  }
}

bool OutageWatch::Inside::load_light(LineReader& line) {
  const auto out = line.number<std::uint64_t>();
  const bool dark = line.flag();
  LightCourse course;
  course.load(line);
  if (!line.good()) return false;
  for (LightWatch& light : lights) {
    if (room.channels[light.channel].id != line.rest()) continue;
    light.course = course;
    light.out = out;
    light.dark = dark;
  }
  return true;
}

bool OutageWatch::Inside::load_unit(LineReader& line) {
  const auto out = line.number<std::uint64_t>();
  const double usual = read_or_dash(line), lowest = read_or_dash(line);
  if (!line.good()) return false;
  for (std::size_t i = 0; i < units.size(); ++i) {
    if (units[i].id != line.rest()) continue;
    unit_watches[i].out = out;
    unit_watches[i].usual_k_per_h = usual;
    unit_watches[i].lowest_degc = lowest;
  }
  return true;
}

bool OutageWatch::Inside::load_room(LineReader& line) {
  RoomWatch air;
  air.out = line.number<std::uint64_t>();
  for (std::size_t hour = 0; hour < air.hour_degc.size(); ++hour) {
    air.hour_degc[hour] = static_cast<float>(line.finite());
    air.days[hour] = line.number<std::uint16_t>();
  }
  if (!line.good()) return false;
  if (room_air.channel == none || room.channels[room_air.channel].id != line.rest()) return true;
  air.channel = room_air.channel;
  room_air = air;
  return true;
}

bool OutageWatch::load(std::string_view text, bool same_boot) {
  Inside& in = *inside_;
  LineReader line(text);
  const std::string_view what = line.word();
  if (what == "count") {
    const auto number = line.number<std::uint64_t>();
    if (line.good()) in.last_number = std::max(in.last_number, number);
    return line.good();
  }
  if (what == "light") return in.load_light(line);
  if (what == "unit") return in.load_unit(line);
  if (what == "room") return in.load_room(line);
  if (what == "episode") {
    Episode one;
    if (!read(line, one, same_boot)) return false;
    if (in.episodes.size() < most_episodes) in.episodes.push_back(std::move(one));
    return true;
  }
  if (what != "line") return false;
  LineWatch watch;
  std::uint64_t number = 0;
  if (!read(line, watch, number, same_boot)) return false;
  Episode* const own = in.episode(number);
  for (Index i = 0; i < in.room.enclosures.size() && own != nullptr; ++i) {
    if (in.room.enclosures[i].id != watch.line.enclosure || in.enclosures[i].lead == none) continue;
    watch.enclosure = i;
    own->lines.push_back(std::move(watch));
    break;
  }
  return true;
}

}  // namespace baskwell::heat
