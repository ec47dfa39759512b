// The state as one block of text and back. By permanent ids, so that a restart and a change of settings use
// the same road. Format (version 3), one record a line, fields separated by one blank, texts last:
//   baskwell-state 3
//   clock UTC_MS ELAPSED_MS BOOT_ID
//   counters LAST_OCCURRENCE LAST_MESSAGE BROKER_CONNECTED BROKER_LOST_AT_MS CLOCK_TRUSTED
//   channel <fields of ProbeState and ChannelState> ID
//   point <fields of PointState> KIND OTHER SUBJECT<tab>DETAIL
//   grace UNTIL_MS KIND SUBJECT
//   outage <fields of heat/outage_saved.cpp>
//   end CHECKSUM
// Channels come before points, points before grace times, these before outages. OTHER is the second
// explanation of a heating alarm, `-` where there is none. Versions before are read too: 2 has no OTHER, 1 no
// grace times either. CHECKSUM: FNV-1a, 64 bits, of everything before that line, as a decimal number. Doubles
// are written in the shortest form that reads back to the same bits. Not kept: the values of the last quarter
// hour (RecentValues), so a message soon after a restart may say no rate.

#include <algorithm>
#include <optional>
#include <unordered_map>

#include "core/engine_state.h"
#include "core/state_lines.h"

namespace baskwell {
namespace {

constexpr std::string_view header_start = "baskwell-state ";
constexpr int version_now = 3;
constexpr int version_with_other = 3;

void write(LineWriter& line, const LimitTimer& timer) {
  line.flag(timer.beyond).flag(timer.active).number(timer.samples).number(timer.since.ms);
}

LimitTimer read_timer(LineReader& line) {
  LimitTimer timer;
  timer.beyond = line.flag();
  timer.active = line.flag();
  timer.samples = line.number<std::uint16_t>();
  timer.since.ms = line.ms();
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
  state.began.ms = line.ms();
  state.raised.ms = line.ms();
  state.repeat_at.ms = line.ms_or(INT64_MAX);
  state.shelved_until.ms = line.ms_or(INT64_MAX);
  return state;
}

void write(LineWriter& line, const ChannelState& channel) {
  const ProbeState& probe = channel.probe;
  line.flag(probe.heard).flag(probe.has_suspect).flag(probe.by_own_time);
  line.number(probe.last_good).number(probe.suspect).number(probe.suspect_measured.ms);
  line.number(probe.last_measured.ms).number(probe.last_good_at.ms);
  line.number(probe.same_value.digits).number(static_cast<int>(probe.same_value.places));
  line.number(probe.same_since.ms).number(probe.same_count).number(probe.learned_interval_ms);
  line.number(channel.heard_floor.ms).flag(channel.gone);
  line.number(channel.placed_at.ms).flag(channel.good_here);
}

struct SavedChannel {
  ProbeState probe;
  ElapsedMs heard_floor;
  bool gone = false;
  UtcMs placed_at;
  bool good_here = false;
  std::string_view id;
};

SavedChannel read_channel(LineReader& line) {
  SavedChannel saved;
  ProbeState& probe = saved.probe;
  probe.heard = line.flag();
  probe.has_suspect = line.flag();
  probe.by_own_time = line.flag();
  probe.last_good = line.finite();
  probe.suspect = line.finite();
  probe.suspect_measured.ms = line.ms_or(INT64_MIN);
  probe.last_measured.ms = line.ms_or(INT64_MIN);
  line.require(!probe.by_own_time || probe.last_measured.ms != INT64_MIN);
  probe.last_good_at.ms = line.ms();
  probe.same_value.digits = line.number<std::int64_t>();
  constexpr int place_counts = 19;
  probe.same_value.places = static_cast<std::int8_t>(line.enumeration<int>(place_counts));
  probe.same_since.ms = line.ms();
  probe.same_count = line.number<std::uint32_t>();
  probe.learned_interval_ms = std::clamp<std::int64_t>(line.ms(), 0, day_ms);
  saved.heard_floor.ms = line.ms();
  saved.gone = line.flag();
  saved.placed_at.ms = line.ms_or(INT64_MIN);
  saved.good_here = line.flag();
  saved.id = line.rest();
  return saved;
}

// Another boot counts elapsed time from another zero: carry over by what the wall clock says has passed.
void shift(ElapsedMs& at, std::int64_t by_ms) {
  if (at.ms != INT64_MAX && at.ms != INT64_MIN) at.ms += by_ms;
}

void shift(PointState& state, std::int64_t by_ms) {
  shift(state.target.since, by_ms);
  shift(state.harm.since, by_ms);
  shift(state.repeat_at, by_ms);
  shift(state.shelved_until, by_ms);
}

std::uint64_t checksum_of(std::string_view text) {
  std::uint64_t sum = 0xcbf29ce484222325;
  for (const char c : text) {
    sum ^= static_cast<unsigned char>(c);
    sum *= 0x100000001b3;
  }
  return sum;
}

}  // namespace

struct SavedPoint {
  AlarmKind kind = AlarmKind::too_cold;
  std::optional<AlarmKind> other;
  PointState state;
  std::string_view subject;
  std::string_view detail;
};

namespace {

struct SavedGrace {
  ElapsedMs until;
  AlarmKind kind = AlarmKind::too_cold;
  std::string_view subject;
};

// All of a snapshot, read whole before anything of it is taken over. The texts point into it.
struct Saved {
  int version = version_now;
  Stamp at;
  std::string_view boot_id;
  std::uint64_t last_occurrence = 0;
  std::uint64_t last_message = 0;
  bool broker_connected = false;
  ElapsedMs broker_lost_at;
  bool clock_trusted = true;
  std::vector<SavedChannel> channels;
  std::vector<SavedPoint> points;
  std::vector<SavedGrace> graces;
  std::vector<std::string_view> outages;
};

bool read_saved_point(LineReader& line, int version, SavedPoint& saved) {
  saved.state = read_point(line);
  const auto kind = alarm_kind_from(line.word());
  if (version >= version_with_other) {
    const std::string_view other = line.word();
    saved.other = alarm_kind_from(other);
    line.require(saved.other.has_value() || other == "-");
  }
  const std::string_view rest = line.rest();
  const std::size_t tab = rest.find('\t');
  if (!kind || tab == std::string_view::npos) return false;
  saved.kind = *kind;
  saved.subject = rest.substr(0, tab);
  saved.detail = rest.substr(tab + 1);
  return line.good();
}

bool read_saved_grace(LineReader& line, SavedGrace& saved) {
  saved.until.ms = line.ms();
  const auto kind = alarm_kind_from(line.word());
  saved.subject = line.rest();
  if (!kind || saved.subject.empty()) return false;
  saved.kind = *kind;
  return line.good();
}

// Line 2 and on; false: it cannot be read.
bool read_line(std::string_view text, int number, Saved& saved) {
  constexpr int clock_line = 2;
  constexpr int counters_line = 3;
  LineReader line(text);
  const std::string_view word = line.word();
  if ((number == clock_line) != (word == "clock") || (number == counters_line) != (word == "counters"))
    return false;
  if (number == clock_line) {
    saved.at.utc.ms = line.ms();
    saved.at.elapsed.ms = line.ms();
    saved.boot_id = line.rest();
  } else if (number == counters_line) {
    saved.last_occurrence = line.number<std::uint64_t>();
    saved.last_message = line.number<std::uint64_t>();
    saved.broker_connected = line.flag();
    saved.broker_lost_at.ms = line.ms();
    saved.clock_trusted = line.flag();
  } else if (word == "channel" && saved.points.empty()) {
    saved.channels.push_back(read_channel(line));
  } else if (word == "point" && saved.graces.empty()) {
    return read_saved_point(line, saved.version, saved.points.emplace_back());
  } else if (word == "outage") {
    saved.outages.push_back(line.rest());
  } else if (word == "grace" && saved.outages.empty()) {
    return read_saved_grace(line, saved.graces.emplace_back());
  } else {
    return false;
  }
  return line.good();
}

// Splits off the last line, `end CHECKSUM`; empty: it is not there or not right.
std::optional<std::string_view> without_end(std::string_view text) {
  if (text.empty() || text.back() != '\n') return std::nullopt;
  const std::size_t before = text.rfind('\n', text.size() - 2);
  if (text.size() < 2 || before == std::string_view::npos) return std::nullopt;
  LineReader line(text.substr(before + 1, text.size() - before - 2));
  const std::string_view rest = text.substr(0, before + 1);
  if (line.word() != "end" || line.number<std::uint64_t>() != checksum_of(rest) || !line.good())
    return std::nullopt;
  return rest;
}

// 0: none that this program reads.
int version_of(std::string_view first_line) {
  for (int version = 1; version <= version_now; ++version) {
    if (first_line == std::string(header_start) + std::to_string(version)) return version;
  }
  return 0;
}

Result<Saved> read_snapshot(std::string_view snapshot) {
  const std::string_view first = snapshot.substr(0, snapshot.find('\n'));
  Saved saved;
  saved.version = version_of(first);
  if (saved.version == 0)
    return Error{"the snapshot is not of a kind this program reads: '" + std::string(first.substr(0, 40)) +
                 "'"};
  const auto whole = without_end(snapshot);
  if (!whole) return Error{"the snapshot is damaged: it ends too soon or its checksum is wrong"};
  std::string_view rest = whole->substr(first.size() + 1);
  int number = 2;
  for (; !rest.empty(); ++number) {
    const std::size_t end = rest.find('\n');
    if (!read_line(rest.substr(0, end), number, saved))
      return Error{"line " + std::to_string(number) + " of the snapshot cannot be read"};
    rest = rest.substr(end + 1);
  }
  if (number <= 3) return Error{"the snapshot ends before its counters"};
  return saved;
}

}  // namespace

std::string Engine::snapshot(Stamp now, std::string_view boot_id) const {
  std::string text;
  LineWriter line(text);
  line.word(std::string(header_start) + std::to_string(version_now)).end();
  line.word("clock").number(now.utc.ms).number(now.elapsed.ms).word(boot_id).end();
  line.word("counters").number(state_->last_occurrence).number(state_->last_message);
  line.flag(state_->broker_connected).number(state_->broker_lost_at.ms).flag(state_->clock_trusted).end();
  for (const ChannelState& channel : state_->channels) {
    line.word("channel");
    write(line, channel);
    line.word(channel.fixed->id).end();
  }
  for (const Point& point : state_->points) {
    const PointState& state = point.state;
    const bool idle = state.state == AlarmState::normal && !state.target.beyond && !state.target.active &&
                      !state.harm.beyond && !state.harm.active;
    if (idle) continue;
    line.word("point");
    write(line, state);
    line.word(row_of(point.kind).name).word(point.other ? row_of(*point.other).name : "-");
    std::string detail = point.detail;
    std::replace(detail.begin(), detail.end(), '\n', ' ');
    line.word(point.subject + '\t' + detail).end();
  }
  for (const Point& point : state_->points) {
    if (point.grace_until.ms == INT64_MAX) continue;
    line.word("grace").number(point.grace_until.ms).word(row_of(point.kind).name).word(point.subject).end();
  }
  state_->outages->save(text);
  const std::uint64_t sum = checksum_of(text);
  line.word("end").number(sum).end();
  return text;
}

Outcome Engine::restore(std::string_view snapshot, Stamp now, std::string_view boot_id, Effects& effects) {
  Result<Saved> read = read_snapshot(snapshot);
  if (!read) return read.error();
  Saved& saved = read.value();
  State& state = *state_;

  // What the saved elapsed clock shows, in terms of the one that runs now; and for how long we were away.
  std::int64_t by_ms = 0;
  if (saved.boot_id != boot_id)
    by_ms = now.elapsed - (saved.at.elapsed + std::max<std::int64_t>(0, now.utc - saved.at.utc));
  const std::int64_t away_ms = std::max<std::int64_t>(0, now.elapsed - (saved.at.elapsed + by_ms));

  auto outages = std::make_unique<heat::OutageWatch>(*state.room);
  for (const std::string_view line : saved.outages) {
    if (!outages->load(line, saved.boot_id == boot_id))
      return Error{"an outage of the snapshot cannot be read: " + std::string(line.substr(0, 60))};
  }
  outages->service_away(saved.boot_id == boot_id ? now.utc - away_ms : saved.at.utc, now,
                        saved.boot_id != boot_id);
  state.outages = std::move(outages);

  state.now = now;
  state.last_occurrence = saved.last_occurrence;
  state.last_message = saved.last_message;
  state.broker_connected = saved.broker_connected;
  state.broker_lost_at = saved.broker_lost_at;
  shift(state.broker_lost_at, by_ms + away_ms);
  state.clock_trusted = saved.clock_trusted;

  std::unordered_map<std::string_view, ChannelState*> channel_of;
  for (ChannelState& channel : state.channels) channel_of.emplace(channel.fixed->id, &channel);
  for (SavedChannel& each : saved.channels) {
    const auto found = channel_of.find(each.id);
    if (found == channel_of.end()) continue;
    ChannelState& channel = *found->second;
    shift(each.probe.last_good_at, by_ms);
    shift(each.probe.same_since, by_ms);
    shift(each.heard_floor, by_ms);
    channel.probe = each.probe;
    channel.gone = each.gone;
    // Our own absence is not the probe's silence: that time is taken out.
    channel.heard_floor = each.heard_floor;
    if (away_ms > 0) channel.heard_floor = state.last_word(channel) + away_ms;
    const auto index = static_cast<Index>(&channel - state.channels.data());
    state.dues.remove(index);
    // Where its last word put it, not where it may lie by now: it has said nothing there.
    if (each.placed_at.ms != INT64_MIN) state.place(channel, index, each.placed_at);
    channel.good_here = each.good_here;
  }
  for (SavedPoint& each : saved.points) {
    state.last_occurrence = std::max(state.last_occurrence, each.state.occurrence);
    shift(each.state, by_ms);
    state.take_over(each, now, effects);
  }
  for (SavedGrace& each : saved.graces) {
    shift(each.until, by_ms);
    for (Point& point : state.points) {
      if (point.kind != each.kind || point.subject != each.subject || !state.settings_of(point).enabled)
        continue;
      point.grace_until = std::max(each.until, now.elapsed);  // what ended in our absence ends now
    }
  }
  for (Index i = 0; i < state.channels.size(); ++i) state.queue_silence(i);
  for (Index i = 0; i < state.points.size(); ++i) state.queue_point(i);
  return Done{};
}

void Engine::State::take_over(const SavedPoint& saved, Stamp at, Effects& effects) {
  std::string_view why = "no longer in the settings";
  for (Point& point : points) {
    if (point.kind != saved.kind || point.subject != saved.subject) continue;
    if (!settings_of(point).enabled) {
      why = "this kind of alarm is switched off in the settings";
      break;
    }
    point.state = saved.state;
    point.detail = saved.detail;
    point.other = saved.other;
    PointState& state = point.state;
    // What fell into our absence comes once, now. Neither waits in a state that knows it not.
    const ElapsedMs never{INT64_MAX};
    state.repeat_at =
        state.state == AlarmState::unacknowledged ? std::max(state.repeat_at, at.elapsed) : never;
    state.shelved_until =
        state.state == AlarmState::shelved ? std::max(state.shelved_until, at.elapsed) : never;
    hold_heating_fact(static_cast<Index>(&point - points.data()));
    return;
  }
  if (saved.state.occurrence == 0) return;
  // It cannot go on: the occurrence ends, on record.
  TransitionRecord record;
  record.occurrence = occurrence_name(saved.state.occurrence);
  record.kind = saved.kind;
  record.subject = saved.subject;
  record.from = saved.state.state;
  record.to = AlarmState::normal;
  record.input = AlarmInput::returns;
  record.level = saved.state.level;
  const AlarmSettings& settings = room->alarm_settings[static_cast<std::size_t>(saved.kind)];
  record.priority = saved.state.level == Level::harm ? settings.harm_priority : settings.priority;
  record.at = at.utc;
  record.value = saved.state.value;
  record.limit = saved.state.limit;
  record.who = "baskwell";
  record.why = why;
  effects.transitions.push_back(std::move(record));
  effects.withdraw(occurrence_name(saved.state.occurrence));
}

}  // namespace baskwell
