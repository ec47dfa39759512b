#include "core/note.h"

#include <algorithm>
#include <cstddef>

#include "core/check.h"

namespace baskwell {
namespace {

using enum AlarmKind;

constexpr std::string_view proposal = "proposal, no source";
constexpr std::string_view practice = "common practice, no source";

// Doors stand open, the air of the room comes in, hands and hoses touch everything. What the heating does
// about it looks like many faults, but never like full power with both ends rising.
constexpr AlarmKinds open_doors{too_cold,
                                too_hot,
                                no_refuge,
                                too_dry,
                                too_damp,
                                not_heating,
                                heating_weak,
                                thermostat_drift,
                                thermostat_reset,
                                thermostat_hunting,
                                thermostat_probe_moved,
                                AlarmKind::probe_moved,
                                high_cutout_open,
                                room_cold,
                                room_hot,
                                night_drop_shifted,
                                gradient_lost};
constexpr std::string_view open_doors_words = "target bands and what open doors make of the heating";
// A cut-out that is made to trip takes the heat away, and gives it back when it is reset.
constexpr AlarmKinds no_heat_for_a_while{too_cold, not_heating, heating_weak, high_cutout_open,
                                         thermostat_hunting};

constexpr std::array<NoteTypeRow, note_type_count> rows{{
    {NoteType::misted, "misted", 60 * minute_ms, {too_damp}, "too-damp", proposal, Relearn::nothing},
    {NoteType::fed, "fed", 0, {}, "", practice, Relearn::nothing},
    {NoteType::cleaned, "cleaned", 30 * minute_ms, open_doors, open_doors_words, practice, Relearn::nothing},
    {NoteType::shed, "shed", 0, {}, "", practice, Relearn::nothing},
    // Ten minutes with an open door.
    {NoteType::lamp_changed, "lamp-changed", 10 * minute_ms, open_doors, open_doors_words, proposal,
     Relearn::nothing},
    {NoteType::heater_changed, "heater-changed", 10 * minute_ms, open_doors, open_doors_words, proposal,
     Relearn::heater},
    {NoteType::probe_moved, "probe-moved", 10 * minute_ms, open_doors, open_doors_words, proposal,
     Relearn::probe},
    // From outside, with the door shut.
    {NoteType::thermostat_adjusted, "thermostat-adjusted", 0, {}, "", practice, Relearn::thermostat},
    {NoteType::cut_out_tested, "cut-out-tested", 30 * minute_ms, no_heat_for_a_while,
     "too-cold and a heater that does not heat", proposal, Relearn::nothing},
    // It takes half a day, and a probe in a bag does not watch its enclosure: that is out of service, said
    // so.
    {NoteType::salt_test, "salt-test", 0, {}, "", practice, Relearn::nothing},
    {NoteType::animal_moved, "animal-moved", 0, {}, "", practice, Relearn::nothing},
    {NoteType::other, "other", 0, {}, "", practice, Relearn::nothing},
}};

constexpr bool rows_are_sound() {
  for (std::size_t i = 0; i < rows.size(); ++i) {
    if (static_cast<std::size_t>(rows[i].type) != i) return false;
    if (rows[i].grace_kinds.has(heating_stuck_on)) return false;
    if (rows[i].grace_kinds.empty() != (rows[i].grace_ms == 0)) return false;
    if (rows[i].grace_kinds.empty() != rows[i].grace_words.empty()) return false;
  }
  return true;
}
static_assert(rows_are_sound());

constexpr std::array<std::string_view, 4> relearn_names{"nothing", "heater", "probe", "thermostat"};

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

bool is_gap(char c) {
  return c == ' ' || c == '-';
}

// How many characters of `text` are these words, whatever stands between them; 0: it begins otherwise.
std::size_t length_of_words(std::string_view text, std::string_view words) {
  std::size_t at = 0;
  for (const char c : words) {
    if (at >= text.size()) return 0;
    if (is_gap(c)) {
      if (!is_gap(text[at])) return 0;
      while (at < text.size() && is_gap(text[at])) ++at;
    } else if (lower(text[at++]) != c) {
      return 0;
    }
  }
  return at;
}

// Not the end of a word: a letter, a digit or any byte beyond ASCII.
bool goes_on(char c) {
  const char small = lower(c);
  return (small >= 'a' && small <= 'z') || (c >= '0' && c <= '9') || static_cast<unsigned char>(c) >= 0x80;
}

}  // namespace

std::string_view name_of(Relearn part) {
  const auto index = static_cast<std::size_t>(part);
  CHECK(index < relearn_names.size());
  return relearn_names[index];
}

const NoteTypeRow& row_of(NoteType type) {
  const auto index = static_cast<std::size_t>(type);
  CHECK(index < rows.size());
  return rows[index];
}

std::string_view name_of(NoteType type) {
  return row_of(type).name;
}

std::optional<NoteType> note_type_from(std::string_view name) {
  for (const NoteTypeRow& row : rows) {
    if (!name.empty() && length_of_words(name, row.name) == name.size()) return row.type;
  }
  return std::nullopt;
}

NoteType note_type_of_text(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  for (const NoteTypeRow& row : rows) {
    const std::size_t length = length_of_words(text, row.name);
    if (length > 0 && (length == text.size() || !goes_on(text[length]))) return row.type;
  }
  return NoteType::other;
}

}  // namespace baskwell
