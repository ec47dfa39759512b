// Notes, and the grace time that some of them open. While it runs, a covered point that would alarm at its
// target level is suppressed by design instead (state H); an alarm that nobody has acknowledged yet is
// suppressed at its opening. Its timers go on in silence. A harm limit unsuppresses at once (alarm/point.h).
// At its end the point is judged by its latest fact: beyond the limit - it alarms now; back inside - its
// off-delay is not waited for. Which kinds for how long: note.h.

#include <algorithm>

#include "core/check.h"
#include "core/engine_state.h"
#include "core/moment.h"

namespace baskwell {
namespace {

constexpr std::size_t longest_text = 2000;  // bytes
constexpr std::size_t longest_name = 500;
constexpr ElapsedMs never{INT64_MAX};
constexpr std::string_view self = "baskwell";

// Notes are shown in terminals and mails for ever: no control characters, of ASCII or beyond (C1 in UTF-8).
bool is_one_plain_line(std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (byte < 0x20 || byte == 0x7f) return false;
    if (byte != 0xc2 || i + 1 == text.size()) continue;
    const auto next = static_cast<unsigned char>(text[i + 1]);
    if (next >= 0x80 && next < 0xa0) return false;
  }
  return true;
}

template <class Things>
std::vector<Index> indexes_of(const Things& things, std::string_view id) {
  std::vector<Index> found;
  for (std::size_t i = 0; i < things.size(); ++i) {
    if (things[i].id == id) found.push_back(static_cast<Index>(i));
  }
  return found;
}

bool has(const std::vector<Index>& list, Index one) {
  return std::find(list.begin(), list.end(), one) != list.end();
}

void append(std::vector<Index>& to, const std::vector<Index>& from) {
  to.insert(to.end(), from.begin(), from.end());
}

// What an id of the heating touches.
void add_heated(const Room& room, std::string_view id, Enclosures& found) {
  const auto add = [&](const std::vector<Index>& heaters) {
    for (const Index heater : heaters) append(found.list, room.heaters[heater].enclosures);
    found.known = true;
  };
  if (const auto heaters = indexes_of(room.heaters, id); !heaters.empty()) add(heaters);
  for (const Index i : indexes_of(room.thermostats, id)) {
    add(room.thermostats[i].heaters);
    if (room.thermostats[i].probe_enclosure != none)
      found.list.push_back(room.thermostats[i].probe_enclosure);
  }
  for (const Index i : indexes_of(room.cut_outs, id)) add(room.cut_outs[i].heaters);
  for (const Index i : indexes_of(room.lamps, id)) {
    append(found.list, room.lamps[i].enclosures);
    found.known = true;
  }
}

}  // namespace

// Ids are unique among things of one kind only: an id that names several means all of them.
Enclosures Engine::State::enclosures_of(std::string_view id, UtcMs at) const {
  Enclosures found;
  const auto add = [&](Index enclosure) {
    found.list.push_back(enclosure);
    found.known = true;
  };
  if (id == "room") add(none);
  for (const Index i : indexes_of(room->enclosures, id)) add(i);
  for (const Index i : indexes_of(room->racks, id)) {
    append(found.list, room->racks[i].tubs);
    found.known = true;
  }
  for (const Index i : indexes_of(room->animals, id)) {
    found.known = true;
    for (const Occupancy& stay : room->occupancies) {
      if (stay.animal == i && stay.span.holds(at)) add(stay.enclosure);
    }
  }
  add_heated(*room, id, found);
  for (Index i = 0; i < room->channels.size(); ++i) {
    const Channel& channel = room->channels[i];
    if (channel.id != id && room->instruments[channel.instrument].id != id) continue;
    found.known = true;
    if (const Index placement = placement_at(i, at); placement != none)
      add(channel.placements[placement].enclosure);
  }
  found.known = found.known || !indexes_of(room->instruments, id).empty();
  return found;
}

// A heating point is named after what it judges: "shelf-2/heating", "rack-thermostat/heating", "room".
bool Engine::State::lies_in(const Point& point, const Enclosures& enclosures, UtcMs at) const {
  if (point.spot != none) return has(enclosures.list, spots[point.spot].key.enclosure);
  Enclosures own = enclosures_of(point.subject, at);
  if (!own.known)
    own = enclosures_of(std::string_view(point.subject).substr(0, point.subject.rfind('/')), at);
  return std::any_of(own.list.begin(), own.list.end(), [&](Index one) { return has(enclosures.list, one); });
}

std::string Engine::State::why_not_noted(const NoteEvent& event) const {
  if (event.who.empty()) return "who says so is missing: give a name";
  if (event.type == NoteType::other && event.text.find_first_not_of(' ') == std::string::npos)
    return "the text is missing";
  if (event.text.size() > longest_text) return "a note may have 2000 bytes at most";
  if (event.who.size() > longest_name) return "a name may have 500 bytes at most";
  if (!is_one_plain_line(event.text) || !is_one_plain_line(event.who))
    return "a note is one line of text, without control characters";
  if (!enclosures_of(event.subject, event.at.utc).known) {
    return "nothing is called '" + event.subject +
           "': give the id of an enclosure, rack, animal, heater, thermostat, cut-out, lamp, instrument or "
           "channel, or `room`";
  }
  return {};
}

void Engine::State::handle(const NoteEvent& event, Effects& effects) {
  effects.answer = why_not_noted(event);
  if (!effects.answer.empty()) return;
  NoteRecord record{event.at.utc, event.type, event.subject, event.text, event.who, {}};
  if (open_grace(event, effects)) record.grace_until = event.at.utc + row_of(event.type).grace_ms;
  effects.notes.push_back(std::move(record));
  note_to_heating(event, effects);
}

// False: there is nothing that it would cover.
bool Engine::State::open_grace(const NoteEvent& event, Effects& effects) {
  const NoteTypeRow& row = row_of(event.type);
  if (row.grace_ms == 0) return false;
  const Enclosures enclosures = enclosures_of(event.subject, event.at.utc);
  const ElapsedMs until = event.at.elapsed + row.grace_ms;
  bool covers_any = false;
  for (Index i = 0; i < points.size(); ++i) {
    Point& point = points[i];
    if (!row.grace_kinds.has(point.kind) || !settings_of(point).enabled ||
        !lies_in(point, enclosures, event.at.utc))
      continue;
    covers_any = true;
    // A longer one that runs already goes on.
    if (point.grace_until == never || point.grace_until < until) point.grace_until = until;
    suppress_in_grace(i, event.at, event.who, effects);
    queue_point(i);
  }
  return covers_any;
}

bool Engine::State::grace_covers(const Point& point) {
  return point.grace_until != never && !point.state.harm.active;
}

void Engine::State::suppress_in_grace(Index index, Stamp at, std::string_view who, Effects& effects) {
  const Point& point = points[index];
  const AlarmState state = point.state.state;
  // What was told as harm stays in front of people, also where it is a little better now.
  const bool stays = state == AlarmState::unacknowledged && point.state.level == Level::harm;
  if (!grace_covers(point) || state != AlarmState::unacknowledged || stays) return;
  suppress_by_grace(index, at, who, effects);
}

void Engine::State::suppress_by_grace(Index index, Stamp at, std::string_view who, Effects& effects) {
  const UtcMs until = at.utc + (points[index].grace_until - at.elapsed);
  const bool applied =
      apply(index, AlarmInput::suppress, TellReason::raised, at, who,
            "the grace time of a note, until " + local_hour_minute(room->clock, until), effects);
  CHECK(applied);
}

void Engine::State::end_grace(Index index, Stamp at, Effects& effects) {
  Point& point = points[index];
  PointState& state = point.state;
  point.grace_until = never;
  if (state.state != AlarmState::suppressed) return;
  const bool beyond_now = state.target.beyond && state.excess > 0;
  if (state.target.active && !beyond_now) state.target = LimitTimer{};
  if (!condition_holds(state) && state.occurrence != 0) {
    // It was told before the grace time; who heard of it hears that it is over.
    effects.withdraw(occurrence_name(state.occurrence));
    tell(point, TellReason::over, at, effects);
  }
  const bool applied =
      apply(index, AlarmInput::unsuppress, TellReason::raised, at, self, "the grace time is over", effects);
  CHECK(applied);
}

std::vector<GraceView> Engine::State::graces_at(Stamp at) const {
  std::vector<GraceView> graces;
  for (const Point& point : points) {
    if (point.grace_until == never) continue;
    AlarmView where;
    describe_place(point, at, where);
    if (where.place_id.empty()) continue;
    const UtcMs until = at.utc + (point.grace_until - at.elapsed);
    const auto known = std::find_if(graces.begin(), graces.end(),
                                    [&](const GraceView& one) { return one.place_id == where.place_id; });
    if (known == graces.end()) {
      graces.push_back({where.place_id, where.place, until});
    } else {
      known->until = std::max(known->until, until);
    }
  }
  return graces;
}

}  // namespace baskwell
