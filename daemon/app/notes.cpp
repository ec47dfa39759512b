#include "app/notes.h"

#include <algorithm>
#include <boost/json.hpp>
#include <cstddef>

#include "core/moment.h"

namespace baskwell {
namespace {

namespace json = boost::json;

// "24 Nov 2026 02:10": notes are kept for years.
std::string local_moment(const ZoneRules& clock, UtcMs at) {
  const std::string text = local_day_hour_minute(clock, at);
  const std::size_t hour = text.rfind(' ');
  return text.substr(0, hour) + " " + std::to_string(civil_from_days(local_day(clock, at)).year) +
         text.substr(hour);
}

void pad(std::string& text, std::size_t length, std::size_t width) {
  text.append(length < width ? width - length : 0, ' ');
  text += "  ";
}

// Characters, not bytes.
std::size_t width_of(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

json::object object_of(const NoteRecord& note) {
  return {{"at", rfc3339(note.at)},
          {"subject", note.subject},
          {"type", name_of(note.type)},
          {"text", note.text},
          {"who", note.who}};
}

}  // namespace

std::string note_type_list() {
  std::string names;
  for (int i = 0; i < note_type_count; ++i) {
    names += i == 0 ? "" : ", ";
    names += name_of(static_cast<NoteType>(i));
  }
  return names;
}

Result<NoteEvent> note_event(const NoteAsked& asked, Stamp now) {
  NoteEvent event;
  event.at = now;
  event.type = note_type_of_text(asked.text);
  if (!asked.type.empty()) {
    const auto type = note_type_from(asked.type);
    if (!type) return Error{"'" + asked.type + "' is no type of note: " + note_type_list()};
    event.type = *type;
  }
  event.subject = asked.subject;
  event.text = asked.text;
  event.who = asked.who;
  return event;
}

std::string note_words(const NoteRecord& note, const ZoneRules& clock) {
  const NoteTypeRow& row = row_of(note.type);
  std::string text = "Noted of " + note.subject + ": " + std::string(row.name);
  // The text itself where it says more than the type.
  if (!note.text.empty() && note_type_from(note.text) != note.type) text += " (" + note.text + ")";
  text += ".\n";
  if (note.grace_until) {
    text += "Grace until " + local_hour_minute(clock, *note.grace_until) + " for " +
            std::string(row.grace_words) + "; harm limits and a heater stuck on still alarm.\n";
  }
  if (row.relearn != Relearn::nothing)
    text += "To be learned again: " + std::string(name_of(row.relearn)) + ".\n";
  return text;
}

std::string note_json(const NoteRecord& note) {
  const NoteTypeRow& row = row_of(note.type);
  json::object object = object_of(note);
  json::array kinds;
  for (const AlarmKindRow& kind : alarm_kind_rows()) {
    if (note.grace_until && row.grace_kinds.has(kind.kind)) kinds.emplace_back(kind.name);
  }
  object["grace_until"] = note.grace_until ? json::value(rfc3339(*note.grace_until)) : json::value(nullptr);
  object["grace_kinds"] = std::move(kinds);
  object["learned_again"] =
      row.relearn == Relearn::nothing ? json::value(nullptr) : json::value(name_of(row.relearn));
  return json::serialize(object);
}

std::string note_list(const std::vector<NoteRecord>& notes, bool more, const ZoneRules& clock) {
  if (notes.empty()) return "No notes.\n";
  std::size_t subject_width = 0;
  std::size_t type_width = 0;
  std::size_t moment_width = 0;
  for (const NoteRecord& note : notes) {
    subject_width = std::max(subject_width, width_of(note.subject));
    type_width = std::max(type_width, name_of(note.type).size());
    moment_width = std::max(moment_width, local_moment(clock, note.at).size());
  }
  std::string text = more ? "Older notes are not shown: --last N shows more.\n" : "";
  for (const NoteRecord& note : notes) {
    const std::string moment = local_moment(clock, note.at);
    text += moment;
    pad(text, moment.size(), moment_width);
    text += note.subject;
    pad(text, width_of(note.subject), subject_width);
    text += name_of(note.type);
    pad(text, name_of(note.type).size(), type_width);
    text += note.text + (note.text.empty() ? "(" : "  (") + note.who + ")\n";
  }
  return text;
}

std::string notes_json(const std::vector<NoteRecord>& notes, bool more) {
  json::array list;
  for (const NoteRecord& note : notes) list.push_back(object_of(note));
  return json::serialize(json::object{{"notes", std::move(list)}, {"more", more}});
}

}  // namespace baskwell
