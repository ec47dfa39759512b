#pragma once
// Notes as the command line writes and reads them: words for people (times of the room's own clock), JSON for
// programs (UTC). Pure text.

#include <string>
#include <vector>

#include "core/climate/zone_rules.h"
#include "core/event.h"
#include "core/note.h"
#include "core/result.h"
#include "core/time.h"

namespace baskwell {

// A note as somebody asked for it; `type` empty: what the text begins with.
struct NoteAsked {
  std::string subject;
  std::string text;
  std::string type;
  std::string who;
};
// Its type may be none; whether the rest makes sense is the engine's to say.
[[nodiscard]] Result<NoteEvent> note_event(const NoteAsked& asked, Stamp now);

// What was noted and what follows from it: grace time, what is learned again.
[[nodiscard]] std::string note_words(const NoteRecord& note, const ZoneRules& clock);
[[nodiscard]] std::string note_json(const NoteRecord& note);

// A line each, oldest first. `more`: there are older ones that are not shown.
[[nodiscard]] std::string note_list(const std::vector<NoteRecord>& notes, bool more, const ZoneRules& clock);
[[nodiscard]] std::string notes_json(const std::vector<NoteRecord>& notes, bool more);

// All names of types, for people.
[[nodiscard]] std::string note_type_list();

}  // namespace baskwell
