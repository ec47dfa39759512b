#pragma once
// Notes: what a person did to an animal or a thing of the room, in a few kinds that Baskwell acts on. One
// table of them: whether it opens a grace time, for which alarm kinds and how long, and which part of the
// heating is learned again. Durations in ms by the elapsed clock. A grace time covers the target level only;
// a harm limit and a heater that is stuck on are never covered (a check at compile time). Pure; safe from any
// thread.

#include <array>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include "core/alarm/kinds.h"
#include "core/time.h"

namespace baskwell {

enum class NoteType : std::uint8_t {
  misted,
  fed,
  cleaned,
  shed,
  lamp_changed,
  heater_changed,
  probe_moved,
  thermostat_adjusted,
  cut_out_tested,
  salt_test,  // a humidity probe in the air above wet salt, whose humidity is known
  animal_moved,
  other,
};
inline constexpr int note_type_count = 12;

// A set of alarm kinds.
class AlarmKinds {
 public:
  constexpr AlarmKinds() = default;
  constexpr AlarmKinds(std::initializer_list<AlarmKind> kinds) {
    for (const AlarmKind kind : kinds) bits_ |= bit(kind);
  }
  [[nodiscard]] constexpr bool has(AlarmKind kind) const { return (bits_ & bit(kind)) != 0; }
  [[nodiscard]] constexpr bool empty() const { return bits_ == 0; }

 private:
  static_assert(alarm_kind_count <= 64);
  static constexpr std::uint64_t bit(AlarmKind kind) {
    return std::uint64_t{1} << static_cast<unsigned>(kind);
  }
  std::uint64_t bits_ = 0;
};

// Which part the heat model has to learn again.
enum class Relearn : std::uint8_t { nothing, heater, probe, thermostat };
[[nodiscard]] std::string_view name_of(Relearn part);

struct NoteTypeRow {
  NoteType type;
  std::string_view name;      // "lamp-changed"
  std::int64_t grace_ms = 0;  // 0: opens none
  AlarmKinds grace_kinds;
  std::string_view grace_words;  // the same, for people: "too-damp"
  std::string_view grace_source;
  Relearn relearn = Relearn::nothing;
};
[[nodiscard]] const NoteTypeRow& row_of(NoteType type);
[[nodiscard]] std::string_view name_of(NoteType type);

// "lamp-changed", also as people write it: "Lamp changed".
[[nodiscard]] std::optional<NoteType> note_type_from(std::string_view name);
// The type whose words a text begins with ("Misted both shelves", "cut-out tested, trips at 41"); else other.
[[nodiscard]] NoteType note_type_of_text(std::string_view text);

// One note as it is kept, for ever.
struct NoteRecord {
  UtcMs at;
  NoteType type = NoteType::other;
  std::string subject;  // id of an enclosure, rack, heater ..., or "room"
  std::string text;     // as it was written
  std::string who;
  std::optional<UtcMs> grace_until;  // what it opened; not stored
};

}  // namespace baskwell
