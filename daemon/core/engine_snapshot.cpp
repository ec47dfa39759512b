// The state as one block of text and back. By permanent ids, so that a restart and a change of settings use
// the same road. Format (version 1), one record a line, fields separated by one blank, texts last:
//   baskwell-state 1
//   clock UTC_MS ELAPSED_MS BOOT_ID
//   counters LAST_OCCURRENCE LAST_MESSAGE BROKER_CONNECTED CLOCK_TRUSTED
//   channel <fields of ProbeState and ChannelState> ID
//   point <fields of PointState> KIND SUBJECT<tab>DETAIL
// Doubles are written in the shortest form that reads back to the same bits.

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <unordered_map>

#include "core/engine_state.h"

namespace baskwell {
namespace {

constexpr std::string_view header = "baskwell-state 1";

class LineWriter {
 public:
  explicit LineWriter(std::string& out) : out_(out) {}
  LineWriter& word(std::string_view text) {
    if (!first_) out_ += ' ';
    first_ = false;
    out_ += text;
    return *this;
  }
  template <class Number>
  LineWriter& number(Number value) {
    std::array<char, 40> text{};
    const auto end = std::to_chars(text.data(), text.data() + text.size(), value).ptr;
    return word({text.data(), static_cast<std::size_t>(end - text.data())});
  }
  LineWriter& flag(bool value) { return word(value ? "1" : "0"); }
  void end() {
    out_ += '\n';
    first_ = true;
  }

 private:
  std::string& out_;
  bool first_ = true;
};

// Reads what LineWriter wrote; a wrong field makes the whole line wrong.
class LineReader {
 public:
  explicit LineReader(std::string_view line) : rest_(line) {}
  std::string_view word() {
    const std::size_t blank = rest_.find(' ');
    const std::string_view text = rest_.substr(0, blank);
    rest_ = blank == std::string_view::npos ? std::string_view() : rest_.substr(blank + 1);
    if (text.empty()) good_ = false;
    return text;
  }
  std::string_view rest() const { return rest_; }
  template <class Number>
  Number number() {
    const std::string_view text = word();
    Number value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) good_ = false;
    return value;
  }
  bool flag() { return number<int>() != 0; }
  template <class Enum>
  Enum enumeration(int count) {
    const int value = number<int>();
    if (value < 0 || value >= count) {
      good_ = false;
      return Enum{};
    }
    return static_cast<Enum>(value);
  }
  [[nodiscard]] bool good() const { return good_; }

 private:
  std::string_view rest_;
  bool good_ = true;
};

void write(LineWriter& line, const LimitTimer& timer) {
  line.flag(timer.beyond).flag(timer.active).number(timer.samples).number(timer.since.ms);
}

LimitTimer read_timer(LineReader& line) {
  LimitTimer timer;
  timer.beyond = line.flag();
  timer.active = line.flag();
  timer.samples = line.number<std::uint16_t>();
  timer.since.ms = line.number<std::int64_t>();
  return timer;
}

void write(LineWriter& line, const PointState& state) {
  write(line, state.target);
  write(line, state.harm);
  line.number(static_cast<int>(state.state)).number(static_cast<int>(state.level)).number(state.occurrence);
  line.number(state.value).number(state.limit).number(state.excess).number(state.worst_excess);
  line.number(state.worst_value).number(state.told_excess);
  line.number(state.began.ms)
      .number(state.raised.ms)
      .number(state.repeat_at.ms)
      .number(state.shelved_until.ms);
}

PointState read_point(LineReader& line) {
  PointState state;
  state.target = read_timer(line);
  state.harm = read_timer(line);
  state.state = line.enumeration<AlarmState>(alarm_state_count);
  state.level = line.enumeration<Level>(3);
  state.occurrence = line.number<std::uint64_t>();
  state.value = line.number<double>();
  state.limit = line.number<double>();
  state.excess = line.number<double>();
  state.worst_excess = line.number<double>();
  state.worst_value = line.number<double>();
  state.told_excess = line.number<double>();
  state.began.ms = line.number<std::int64_t>();
  state.raised.ms = line.number<std::int64_t>();
  state.repeat_at.ms = line.number<std::int64_t>();
  state.shelved_until.ms = line.number<std::int64_t>();
  return state;
}

void write(LineWriter& line, const ChannelState& channel) {
  const ProbeState& probe = channel.probe;
  line.flag(probe.heard).flag(probe.has_suspect).number(probe.last_good).number(probe.suspect);
  line.number(probe.last_measured.ms).number(probe.last_good_at.ms);
  line.number(probe.same_value.digits).number(static_cast<int>(probe.same_value.places));
  line.number(probe.same_since.ms).number(probe.same_count).number(probe.learned_interval_ms);
  line.number(channel.heard_floor.ms).flag(channel.gone);
}

void read_channel(LineReader& line, ProbeState& probe, ElapsedMs& heard_floor, bool& gone) {
  probe.heard = line.flag();
  probe.has_suspect = line.flag();
  probe.last_good = line.number<double>();
  probe.suspect = line.number<double>();
  probe.last_measured.ms = line.number<std::int64_t>();
  probe.last_good_at.ms = line.number<std::int64_t>();
  probe.same_value.digits = line.number<std::int64_t>();
  probe.same_value.places = line.number<std::int8_t>();
  probe.same_since.ms = line.number<std::int64_t>();
  probe.same_count = line.number<std::uint32_t>();
  probe.learned_interval_ms = line.number<std::int64_t>();
  heard_floor.ms = line.number<std::int64_t>();
  gone = line.flag();
}

// Another boot counts elapsed time from another zero: carry over by what the wall clock says has passed.
void shift(ElapsedMs& at, std::int64_t by_ms) {
  if (at.ms != INT64_MAX) at.ms += by_ms;
}

void shift(PointState& state, std::int64_t by_ms) {
  shift(state.target.since, by_ms);
  shift(state.harm.since, by_ms);
  shift(state.repeat_at, by_ms);
  shift(state.shelved_until, by_ms);
}

}  // namespace

std::string Engine::snapshot(Stamp now, std::string_view boot_id) const {
  std::string text;
  LineWriter line(text);
  line.word(header).end();
  line.word("clock").number(now.utc.ms).number(now.elapsed.ms).word(boot_id).end();
  line.word("counters").number(state_->last_occurrence).number(state_->last_message);
  line.flag(state_->broker_connected).flag(state_->clock_trusted).end();
  for (Index i = 0; i < state_->channels.size(); ++i) {
    line.word("channel");
    write(line, state_->channels[i]);
    line.word(state_->room->channels[i].id).end();
  }
  for (const Point& point : state_->points) {
    const PointState& state = point.state;
    const bool idle = state.state == AlarmState::normal && !state.target.beyond && !state.target.active &&
                      !state.harm.beyond && !state.harm.active;
    if (idle) continue;
    line.word("point");
    write(line, state);
    line.word(row_of(point.kind).name);
    std::string detail = point.detail;
    std::replace(detail.begin(), detail.end(), '\n', ' ');
    line.word(point.subject + '\t' + detail).end();
  }
  return text;
}

Outcome Engine::restore(std::string_view snapshot, Stamp now, std::string_view boot_id, Effects& effects) {
  std::unordered_map<std::string_view, Index> channel_of;
  for (Index i = 0; i < state_->channels.size(); ++i) channel_of.emplace(state_->room->channels[i].id, i);
  std::int64_t by_ms = 0;
  int line_number = 0;
  while (!snapshot.empty()) {
    const std::size_t end = snapshot.find('\n');
    const std::string_view text = snapshot.substr(0, end);
    snapshot = end == std::string_view::npos ? std::string_view() : snapshot.substr(end + 1);
    ++line_number;
    if (line_number == 1) {
      if (text != header)
        return Error{"the snapshot is not of a kind this program reads: '" + std::string(text.substr(0, 40)) +
                     "'"};
      continue;
    }
    LineReader line(text);
    const std::string_view kind = line.word();
    if (kind == "clock") {
      const UtcMs utc{line.number<std::int64_t>()};
      const ElapsedMs elapsed{line.number<std::int64_t>()};
      if (line.word() != boot_id) {
        // Elapsed time of another boot means nothing here; the wall clock tells how long we were away.
        by_ms = now.elapsed - (elapsed + std::max<std::int64_t>(0, now.utc - utc));
      }
    } else if (kind == "counters") {
      state_->last_occurrence = line.number<std::uint64_t>();
      state_->last_message = line.number<std::uint64_t>();
      line.flag();  // the broker is connected anew
      line.flag();  // the clock is judged anew
    } else if (kind == "channel") {
      ProbeState probe;
      ElapsedMs heard_floor;
      bool gone = false;
      read_channel(line, probe, heard_floor, gone);
      const auto found = channel_of.find(line.rest());
      if (line.good() && found != channel_of.end()) {
        ChannelState& channel = state_->channels[found->second];
        shift(probe.last_good_at, by_ms);
        channel.probe = probe;
        channel.gone = gone;
        // Our own absence is not the probe's silence: what was fresh gets the time of the pause.
        channel.heard_floor = now.elapsed;
      }
    } else if (kind == "point") {
      PointState state = read_point(line);
      shift(state, by_ms);
      const auto alarm_kind = alarm_kind_from(line.word());
      const std::string_view rest = line.rest();
      const std::size_t tab = rest.find('\t');
      const std::string_view subject = rest.substr(0, tab);
      const std::string_view detail =
          tab == std::string_view::npos ? std::string_view() : rest.substr(tab + 1);
      if (!line.good() || !alarm_kind)
        return Error{"line " + std::to_string(line_number) + " of the snapshot cannot be read"};
      state_->take_over(*alarm_kind, subject, detail, state, now, effects);
    }
    if (!line.good()) return Error{"line " + std::to_string(line_number) + " of the snapshot cannot be read"};
  }
  for (Index i = 0; i < state_->channels.size(); ++i) state_->queue_silence(i);
  for (Index i = 0; i < state_->points.size(); ++i) state_->queue_point(i);
  return Done{};
}

void Engine::State::take_over(AlarmKind kind, std::string_view subject, std::string_view detail,
                              const PointState& state, Stamp at, Effects& effects) {
  for (Point& point : points) {
    if (point.kind != kind || point.subject != subject) continue;
    point.state = state;
    point.detail = detail;
    return;
  }
  if (state.occurrence == 0) return;
  // Its subject is no longer in the settings: the occurrence ends, on record.
  TransitionRecord record;
  record.occurrence = occurrence_name(state.occurrence);
  record.kind = kind;
  record.subject = subject;
  record.from = state.state;
  record.to = AlarmState::normal;
  record.input = AlarmInput::returns;
  record.level = state.level;
  record.at = at.utc;
  record.value = state.value;
  record.limit = state.limit;
  record.who = "baskwell";
  record.why = "no longer in the settings";
  effects.transitions.push_back(std::move(record));
  effects.withdrawn.push_back(occurrence_name(state.occurrence));
}

}  // namespace baskwell
