// What was learned, as text and back. Format (version 1), one record a line, fields separated by one blank:
//   baskwell-heat 1
//   probe ZONE MEDIUM <fields of Track, course and histograms> ENCLOSURE<tab>CHANNEL
//   unit HOUR DIPS BUMPS <240 hour levels in hundredths of a K, oldest first, `-` where none> ID
// Hundredths are finer than any probe of the trade (0.0625 degC). A line that does not read makes all of it
// wrong. Left out is what minutes and hours teach again: the samples of the last hours, the fall that goes
// on, the quarter and the hour that gather, sums of evidence; and the list of latest changes.

#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "core/check.h"
#include "core/heat/inside.h"
#include "core/state_lines.h"

namespace baskwell::heat {
namespace {

constexpr std::string_view header = "baskwell-heat 1";
constexpr int most = 1'000'000'000;

int hundredths(double value) {
  return static_cast<int>(std::lround(std::clamp(value, -1e6, 1e6) * 100.0));
}

double of_hundredths(LineReader& line) {
  const int value = line.number<int>();
  line.require(value > -most && value < most);
  return value / 100.0;
}

double sum_of(LineReader& line) {
  const double value = line.finite();
  line.require(std::fabs(value) < most);
  return value;
}

int count_of(LineReader& line) {
  const int value = line.number<int>();
  line.require(value >= 0 && value < most);
  return value;
}

}  // namespace

void DayCourse::save(LineWriter& line) const {
  line.number(quarters_);
  for (std::size_t i = 0; i < mean_.size(); ++i)
    line.number(hundredths(static_cast<double>(mean_[i]))).number(static_cast<int>(days_[i]));
}

void DayCourse::load(LineReader& line) {
  quarters_ = count_of(line);
  for (std::size_t i = 0; i < mean_.size(); ++i) {
    mean_[i] = static_cast<float>(of_hundredths(line));
    days_[i] = static_cast<std::uint8_t>(std::min(count_of(line), 255));
    first_[i].fill(static_cast<std::int16_t>(
        std::lround(std::clamp(static_cast<double>(mean_[i]), -300.0, 300.0) *
                    100.0)));  // the first days as they came are not kept: their median stands for each
  }
  used_ = mean_;
  smooth(1.0);
}

void Spread::save(LineWriter& line) const {
  int filled = 0;
  for (const std::uint16_t cell : cell_) filled += cell > 0 ? 1 : 0;
  line.number(filled);
  for (std::size_t i = 0; i < cell_.size(); ++i) {
    if (cell_[i] > 0) line.number(static_cast<int>(i)).number(static_cast<int>(cell_[i]));
  }
}

void Spread::load(LineReader& line) {
  *this = Spread();
  const int filled = count_of(line);
  line.require(filled <= cells);
  for (int n = 0; n < filled && line.good(); ++n) {
    const int i = count_of(line);
    const int value = count_of(line);
    line.require(i >= 0 && i < cells && value <= 0xffff);
    if (!line.good()) return;
    line.require(cell_[static_cast<std::size_t>(i)] == 0);
    cell_[static_cast<std::size_t>(i)] = static_cast<std::uint16_t>(value);
    count_ += static_cast<std::uint32_t>(value);
  }
}

void Track::save(LineWriter& line) const {
  line.number(falls_seen_).number(levels_seen_);
  for (const double value : {room_xx_, room_xy_, level_var_}) line.number(value);
  // A note's changed setting that is still being followed.
  line.number(relevel_since_.ms).number(relevelled_.ms).number(relevel_sum_).number(relevel_count_);
  for (std::size_t p = 0; p < swing_k_.size(); ++p)
    line.number(hundredths(static_cast<double>(swing_k_[p]))).number(swings_seen_[p]);
  for (const float share : fall_share_)
    line.number(static_cast<int>(std::lround(static_cast<double>(share) * 1e4)));
  course.save(line);
  for (const Spread& spread : spread_) spread.save(line);
  jumps_.save(line);
}

void Track::load(LineReader& line) {
  *this = Track();
  falls_seen_ = count_of(line);
  levels_seen_ = count_of(line);
  room_xx_ = sum_of(line);
  room_xy_ = sum_of(line);
  level_var_ = sum_of(line);
  line.require(room_xx_ >= 0 && level_var_ >= 0);
  relevel_since_.ms = line.ms_or(INT64_MIN);
  relevelled_.ms = line.ms_or(INT64_MIN);
  relevel_sum_ = sum_of(line);
  relevel_count_ = count_of(line);
  for (std::size_t p = 0; p < swing_k_.size(); ++p) {
    swing_k_[p] = static_cast<float>(of_hundredths(line));
    swings_seen_[p] = count_of(line);
  }
  for (float& share : fall_share_) share = static_cast<float>(std::min(count_of(line), 10'000)) / 1e4F;
  course.load(line);
  for (Spread& spread : spread_) spread.load(line);
  jumps_.load(line);
  refresh_limits();
}

std::string HeatWatch::learned() const {
  std::string text(header);
  text += '\n';
  LineWriter line(text);
  const Room& room = inside_->room;
  for (const Probe& probe : inside_->probes) {
    line.word("probe").word(name_of(probe.spot.zone)).word(name_of(probe.spot.medium));
    probe.track.save(line);
    const Index home = probe.spot.enclosure;
    line.word((home == none ? std::string("room") : room.enclosures[home].id) + '\t' +
              room.channels[probe.channel].id);
    line.end();
  }
  for (const UnitState& unit : inside_->units) {
    line.word("unit").number(unit.levels.hour).number(unit.dips).number(unit.bumps);
    for (std::size_t i = HourLevels::size; i-- > 0;) {
      const double level = unit.levels.at(i);
      if (std::isnan(level))
        line.word("-");
      else
        line.number(hundredths(level));
    }
    line.word(unit.unit.id).end();
  }
  return text;
}

namespace {

struct LoadedProbe {
  Track track;
  std::string_view zone, medium, home, channel;
};

bool read_probe(LineReader& line, LoadedProbe& loaded) {
  loaded.zone = line.word();
  loaded.medium = line.word();
  loaded.track.load(line);
  const std::string_view rest = line.rest();
  const std::size_t tab = rest.find('\t');
  if (tab == std::string_view::npos) return false;
  loaded.home = rest.substr(0, tab);
  loaded.channel = rest.substr(tab + 1);
  line.require(!loaded.home.empty() && !loaded.channel.empty());
  return line.good();
}

struct LoadedUnit {
  HourLevels levels;
  double dips = 0, bumps = 0;
  std::string_view id;
};

bool read_unit(LineReader& line, LoadedUnit& loaded) {
  loaded.levels.hour = line.ms_or(INT64_MIN);
  loaded.dips = sum_of(line);
  loaded.bumps = sum_of(line);
  line.require(loaded.dips >= 0 && loaded.bumps >= 0);
  for (std::size_t i = 0; i < HourLevels::size; ++i) {
    LineReader ahead = line;
    if (ahead.word() == "-") {
      line = ahead;
      loaded.levels.level_k[i] = std::numeric_limits<float>::quiet_NaN();
    } else {
      loaded.levels.level_k[i] = static_cast<float>(of_hundredths(line));
    }
  }
  loaded.levels.count = HourLevels::size;
  loaded.id = line.rest();
  line.require(!loaded.id.empty());
  return line.good();
}

}  // namespace

Outcome HeatWatch::take_learned(std::string_view text) {
  if (text.substr(0, text.find('\n')) != header)
    return Error{"what was learned of the heating is not of a kind this program reads"};
  std::string_view rest = text.substr(std::min(text.size(), header.size() + 1));
  std::vector<LoadedProbe> loaded_probes;
  std::vector<LoadedUnit> loaded_units;
  for (int number = 2; !rest.empty(); ++number) {
    const std::size_t end = rest.find('\n');
    LineReader line(rest.substr(0, end));
    rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    const std::string_view word = line.word();
    const bool good = word == "probe"  ? read_probe(line, loaded_probes.emplace_back())
                      : word == "unit" ? read_unit(line, loaded_units.emplace_back())
                                       : false;
    if (!good)
      return Error{"line " + std::to_string(number) + " of what was learned of the heating cannot be read"};
  }
  const Room& room = inside_->room;
  std::unordered_map<std::string_view, Probe*> probe_of;
  for (Probe& probe : inside_->probes) probe_of.emplace(room.channels[probe.channel].id, &probe);
  for (LoadedProbe& loaded : loaded_probes) {
    const auto found = probe_of.find(loaded.channel);
    if (found == probe_of.end()) continue;
    Probe& probe = *found->second;
    const Index home = probe.spot.enclosure;
    const std::string_view home_id = home == none ? std::string_view("room") : room.enclosures[home].id;
    if (home_id != loaded.home || name_of(probe.spot.zone) != loaded.zone ||
        name_of(probe.spot.medium) != loaded.medium)
      continue;
    probe.track = loaded.track;
  }
  for (LoadedUnit& loaded : loaded_units) {
    for (UnitState& unit : inside_->units) {
      if (unit.unit.id != loaded.id) continue;
      unit.levels = loaded.levels;
      unit.dips = loaded.dips;
      unit.bumps = loaded.bumps;
    }
  }
  return Done{};
}

void HeatWatch::hold(const Fact& found, UtcMs since) {
  CHECK(found.present && found.point < inside_->held.size());
  inside_->held[found.point] = {true, found.harm_near, found.other, since, found.detail};
}

}  // namespace baskwell::heat
