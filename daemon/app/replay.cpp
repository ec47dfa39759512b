#include "app/replay.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <memory>
#include <string_view>
#include <system_error>
#include <unordered_map>
#include <utility>

#include "app/readings_csv.h"
#include "core/engine.h"
#include "core/moment.h"

namespace baskwell {
namespace {

constexpr std::size_t most_bad_shown = 20;
constexpr std::size_t most_series =
    100'000;  // distinct (enclosure, zone, quantity, medium, channel) of one file
constexpr std::string_view replay_instrument = "replay";

struct CloseFile {
  void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;

std::optional<Quantity> replay_quantity(std::string_view name) {
  const auto quantity = quantity_from(name);
  return quantity == Quantity::battery ? std::nullopt : quantity;
}

// The text between a line's time and its value names a series; lines of one series mostly spell it the same.
std::string series_text(const ReadingLine& line) {
  std::string text;
  for (const std::string_view part : {line.enclosure, line.zone, line.quantity, line.medium, line.channel}) {
    text += part;
    text += ',';
  }
  return text;
}

struct TextHash {
  using is_transparent = void;
  std::size_t operator()(std::string_view text) const { return std::hash<std::string_view>{}(text); }
};

// Which channel of the room a line is a reading of. Channels that the settings do not know are added before
// the engine is made, so that a file can be judged by settings that hold no probes at all.
class SeriesTable {
 public:
  explicit SeriesTable(Room& room) : room_(room) {
    for (Index i = 0; i < room_.enclosures.size(); ++i) enclosures_.emplace(room_.enclosures[i].id, i);
    for (Index i = 0; i < room_.channels.size(); ++i) channels_.emplace(room_.channels[i].id, i);
  }

  // First pass: `none` and words where the line names something that is not there.
  Index add(const ReadingLine& line, UtcMs at, std::string& problem) {
    std::string text = series_text(line);
    if (const auto known = series_.find(text); known != series_.end()) return known->second;
    if (series_.size() >= most_series) {
      problem = "more than " + std::to_string(most_series) + " different series in one file";
      return none;
    }
    const Index channel = resolve(line, at, problem);
    if (channel != none) series_.emplace(std::move(text), channel);
    return channel;
  }

  [[nodiscard]] bool mentions(Index channel) const {
    return std::any_of(series_.begin(), series_.end(),
                       [&](const auto& one) { return one.second == channel; });
  }

  // Second pass: the line before mostly tells; else look it up.
  Index find(const ReadingLine& line) {
    Recent& recent = recent_[slot(line)];
    if (recent.channel != none && recent.matches(line)) return recent.channel;
    const auto known = series_.find(series_text(line));
    if (known == series_.end()) return none;
    recent.remember(line, known->second);
    return known->second;
  }

 private:
  struct Recent {
    std::string enclosure, zone, quantity, medium, channel_text;
    Index channel = none;
    [[nodiscard]] bool matches(const ReadingLine& line) const {
      return enclosure == line.enclosure && zone == line.zone && quantity == line.quantity &&
             medium == line.medium && channel_text == line.channel;
    }
    void remember(const ReadingLine& line, Index index) {
      enclosure = line.enclosure;
      zone = line.zone;
      quantity = line.quantity;
      medium = line.medium;
      channel_text = line.channel;
      channel = index;
    }
  };

  // A cheap spread over the cache; a collision only costs a look-up.
  static std::size_t slot(const ReadingLine& line) {
    const auto spread = [](std::string_view text) {
      std::size_t hash = text.size();
      for (const char c : text) hash = hash * 31 + static_cast<unsigned char>(c);
      return hash;
    };
    return (spread(line.enclosure) * 8191 + spread(line.zone) * 127 + spread(line.quantity) * 31 +
            spread(line.channel)) %
           cache_size;
  }

  Index resolve(const ReadingLine& line, UtcMs at, std::string& problem) {
    const auto quantity = replay_quantity(line.quantity);
    if (!quantity) {
      problem = "quantity: '" + std::string(line.quantity) +
                "' is none, allowed: temperature, humidity, light, power";
      return none;
    }
    const auto zone = zone_from(line.zone);
    const bool room_air = line.enclosure == "room";
    if (!zone && !(room_air && line.zone.empty())) {
      problem = "zone: '" + std::string(line.zone) +
                "' is none, allowed: hot, middle, cool, hide, water, eggs, room";
      return none;
    }
    const auto medium = medium_from(line.medium);
    if (!line.medium.empty() && !medium) {
      problem =
          "medium: '" + std::string(line.medium) + "' is none, allowed: air, surface, substrate, water, eggs";
      return none;
    }
    Placement where;
    where.zone = room_air ? Zone::room : *zone;
    if (!room_air) {
      const auto enclosure = enclosures_.find(line.enclosure);
      if (enclosure == enclosures_.end()) {
        problem = "enclosure: the settings have no '" + std::string(line.enclosure) + "'";
        return none;
      }
      where.enclosure = enclosure->second;
    }
    if (!line.channel.empty()) {
      const auto channel = channels_.find(line.channel);
      if (channel != channels_.end() && room_.channels[channel->second].quantity == *quantity)
        return channel->second;
    } else if (const Index placed = placed_channel(where, medium, *quantity, at); placed != none) {
      return placed;
    }
    where.medium = medium.value_or(likely_medium(where, *quantity));
    return add_channel(line, where, *quantity);
  }

  // A channel of the settings that lies there; of several the first.
  [[nodiscard]] Index placed_channel(const Placement& where, std::optional<Medium> medium, Quantity quantity,
                                     UtcMs at) const {
    for (Index i = 0; i < room_.channels.size(); ++i) {
      if (room_.channels[i].quantity != quantity) continue;
      for (const Placement& placement : room_.channels[i].placements) {
        if (placement.enclosure == where.enclosure && placement.zone == where.zone &&
            placement.span.holds(at) && (!medium || placement.medium == *medium)) {
          return i;
        }
      }
    }
    return none;
  }

  // Where the file does not tell: the medium the animals' figures are for, so that a hot spot is judged at
  // all.
  [[nodiscard]] Medium likely_medium(const Placement& where, Quantity quantity) const {
    if (where.enclosure == none) return Medium::air;
    std::optional<Medium> special;
    const auto look = [&](const std::vector<Band>& bands) {
      for (const Band& band : bands) {
        if (band.zone != where.zone || band.quantity != quantity) continue;
        if (!band.medium || *band.medium == Medium::air) return true;
        if (!special) special = band.medium;
      }
      return false;
    };
    if (look(room_.enclosures[where.enclosure].overrides)) return Medium::air;
    for (const Occupancy& stay : room_.occupancies) {
      if (stay.enclosure == where.enclosure && look(room_.animals[stay.animal].bands)) return Medium::air;
    }
    return special.value_or(Medium::air);
  }

  Index add_channel(const ReadingLine& line, const Placement& where, Quantity quantity) {
    Instrument instrument;
    instrument.id = std::string(replay_instrument) + "-" + std::to_string(room_.instruments.size());
    room_.instruments.push_back(instrument);
    Channel channel;
    channel.id = line.channel.empty()
                     ? std::string(line.enclosure) + "/" + std::string(name_of(where.zone)) + "/" +
                           std::string(name_of(where.medium)) + "/" + std::string(line.quantity)
                     : std::string(line.channel);
    channel.instrument = static_cast<Index>(room_.instruments.size() - 1);
    channel.quantity = quantity;
    channel.unit = judged_unit(quantity);
    channel.placements = {where};
    room_.channels.push_back(channel);
    channels_.emplace(channel.id, static_cast<Index>(room_.channels.size() - 1));
    return static_cast<Index>(room_.channels.size() - 1);
  }

  static constexpr std::size_t cache_size = 4096;
  Room& room_;
  std::unordered_map<std::string, Index, TextHash, std::equal_to<>> enclosures_;
  std::unordered_map<std::string, Index, TextHash, std::equal_to<>> channels_;
  std::unordered_map<std::string, Index, TextHash, std::equal_to<>> series_;
  std::vector<Recent> recent_ = std::vector<Recent>(cache_size);
};

void report_bad(ReplayReport& report, const std::string& path, std::uint64_t line, std::string_view problem) {
  ++report.bad_lines;
  if (report.bad.size() < most_bad_shown) {
    report.bad.push_back(path + ":" + std::to_string(line) + ": " + std::string(problem));
  }
}

std::string two_decimals(double value) {
  if (!std::isfinite(value)) return {};
  std::array<char, 40> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, 2).ptr;
  return {text.data(), end};
}

// A CSV field: in quotes where it needs them.
std::string field(const std::string& text) {
  if (text.find_first_of(",\"\n") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) {
    if (c == '"') quoted += '"';
    quoted += c;
  }
  return quoted + '"';
}

// "enclosure/zone/medium/quantity" or "instrument/channel": where it is, for two columns of the alarm file.
std::pair<std::string, std::string> place_of(const Room& room, const TransitionRecord& record) {
  const std::string& subject = record.subject;
  if (row_of(record.kind).has_value) {
    const std::size_t slash = subject.find('/');
    const std::size_t next = subject.find('/', slash + 1);
    return {subject.substr(0, slash), subject.substr(slash + 1, next - slash - 1)};
  }
  for (const Channel& channel : room.channels) {
    if (channel.id != subject || channel.placements.empty()) continue;
    const Placement& placement = channel.placements.back();
    return {placement.enclosure == none ? "room" : room.enclosures[placement.enclosure].id,
            std::string(name_of(placement.zone))};
  }
  return {};
}

void write_row(std::FILE* out, const Room& room, const TransitionRecord& record) {
  const auto [enclosure, zone] = place_of(room, record);
  std::string row = rfc3339(record.at) + "," + record.occurrence + "," + field(enclosure) + "," + zone + ",";
  row += row_of(record.kind).name;
  row += ',';
  row += name_of(record.to);
  row += ',';
  row += name_of(record.priority);
  row += "," + two_decimals(record.value) + "," + two_decimals(record.limit) + ",";
  row += field(record.subject + ": " + record.why) + "\n";
  std::fwrite(row.data(), 1, row.size(), out);
}

// One pass over the file to learn its series, so that the room is whole before the engine is made.
void learn_series(ReadingsCsv& csv, SeriesTable& series, const std::string& path, ReplayReport& report,
                  UtcMs& first) {
  ReadingLine line;
  std::string_view problem;
  std::string text;
  std::string before;
  bool any = false;
  TimeReader times;
  while (csv.next(line, problem)) {
    if (!problem.empty()) continue;  // told in the second pass
    // From the end of the time to the value, the text that names the series: the same as before, nothing to
    // learn.
    if (series.find(line) != none) continue;
    UtcMs at;
    if (!times.read(line.time, at)) continue;
    if (!any) first = at;
    any = true;
    std::string why;
    if (series.add(line, at, why) == none) report_bad(report, path, line.number, why);
  }
}

void add_to(SeriesSummary& series, const StoredReading& reading) {
  const double value = judged_value(reading.value, reading.unit);
  series.min = series.good == 0 ? value : std::min(series.min, value);
  series.max = series.good == 0 ? value : std::max(series.max, value);
  series.sum += value;
  ++series.good;
}

struct Replaying {
  Engine& engine;
  Effects& effects;
  ReplayReport& report;
  TimeReader times;
  TimeReader received_times;
  UtcMs last{INT64_MIN};
};

// Empty: taken in; else what is wrong with the line.
std::string take_in(Replaying& now, const ReadingLine& line, Index channel, Unit unit, bool has_received) {
  UtcMs measured;
  if (!now.times.read(line.time, measured)) {
    return "time: '" + std::string(line.time) + "' is not RFC 3339, such as 2026-01-31T06:00:00Z";
  }
  ReadingEvent event;
  event.channel = channel;
  event.unit = unit;
  event.measured = measured;
  event.has_own_time = true;  // the file's time is the instrument's, whenever the line comes
  UtcMs at = measured;
  if (has_received && !line.received.empty()) {
    if (!now.received_times.read(line.received, at))
      return "received: '" + std::string(line.received) + "' is not RFC 3339";
  }
  if (at < now.last) {
    at = now.last;  // a line out of order arrives now, with the time it was measured
  }
  now.last = at;
  event.at = {at, ElapsedMs{at.ms}};
  if (const auto value = decimal_from(line.value)) {
    event.value = *value;
  } else if (line.value == "nan" || line.value == "NaN" || line.value == "inf" || line.value == "-inf" ||
             line.value.empty()) {
    event.not_a_number = true;
  } else {
    return "value: '" + std::string(line.value) + "' is not a decimal number such as 31.4";
  }
  now.engine.step_reading(event, now.effects);
  return {};
}

}  // namespace

Result<ReplayReport> replay(const Room& settings_room, const std::string& readings_path,
                            const std::string& alarms_path) {
  auto csv = ReadingsCsv::open(readings_path);
  if (!csv) return csv.error();
  auto room = std::make_shared<Room>(settings_room);
  room->people.clear();
  ReplayReport report;
  report.by_quality.assign(quality_count, 0);
  SeriesTable series(*room);
  UtcMs first{0};
  learn_series(csv.value(), series, readings_path, report, first);
  for (Index i = 0; i < room->channels.size(); ++i) room->channels[i].expected = series.mentions(i);
  if (!csv.value().rewind()) return Error{readings_path + ": cannot be read twice; give a file, not a pipe"};

  const File out(std::fopen(alarms_path.c_str(), "wb"));
  if (!out) return Error{alarms_path + ": cannot be written: " + std::generic_category().message(errno)};
  std::fputs("time,alarm,enclosure,zone,kind,state,priority,value,limit,detail\n", out.get());

  const Stamp start{first, ElapsedMs{first.ms}};
  Engine engine(room, start);
  Effects effects;
  BrokerEvent connected;
  connected.at = start;
  connected.connected = true;
  engine.step(connected, effects);

  std::vector<SeriesSummary> summaries(room->channels.size());
  Replaying now{engine, effects, report, {}, {}, UtcMs{INT64_MIN}};
  ReadingLine line;
  std::string_view problem;
  const bool has_received = csv.value().has_received();
  while (csv.value().next(line, problem)) {
    if (!problem.empty()) {
      report_bad(report, readings_path, line.number, problem);
      continue;
    }
    const Index channel = series.find(line);
    if (channel == none) {
      UtcMs at;
      if (!now.times.read(line.time, at))
        report_bad(report, readings_path, line.number, "time: not RFC 3339");
      continue;  // else told in the first pass
    }
    const Unit unit = judged_unit(room->channels[channel].quantity);
    if (const std::string wrong = take_in(now, line, channel, unit, has_received); !wrong.empty()) {
      report_bad(report, readings_path, line.number, wrong);
      continue;
    }
    ++report.readings;
    for (const StoredReading& reading : effects.readings) {
      ++report.by_quality[static_cast<std::size_t>(reading.quality)];
      if (reading.quality == Quality::good) add_to(summaries[reading.channel], reading);
    }
    for (const TransitionRecord& record : effects.transitions) write_row(out.get(), *room, record);
    report.transitions += effects.transitions.size();
    effects.clear();
  }
  for (Index i = 0; i < summaries.size(); ++i) {
    if (summaries[i].good == 0) continue;
    summaries[i].channel = room->channels[i].id;
    report.series.push_back(std::move(summaries[i]));
  }
  if (csv.value().read_failed())
    return Error{readings_path + ": reading stopped: " + std::generic_category().message(errno)};
  if (std::fflush(out.get()) != 0 || std::ferror(out.get()) != 0) {
    return Error{alarms_path + ": writing failed: " + std::generic_category().message(errno)};
  }
  return report;
}

}  // namespace baskwell
