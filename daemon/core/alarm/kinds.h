#pragma once
// The one table of alarm kinds: what can be wrong that somebody can do something about, with its cause,
// consequence, time to respond, first action, default priority and delays. Read by the engine, the words,
// settings and the docs. Defaults follow the husbandry figures ("proposals, calculated" where no source is
// named). Pure.

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

#include "core/time.h"

namespace baskwell {

enum class AlarmKind : std::uint8_t {
  too_cold,
  too_hot,
  no_refuge,
  too_dry,
  too_damp,
  probe_silent,
  probe_implausible,
  probe_frozen,
  intake_trouble,
  store_trouble,
  delivery_failed,
  clock_unsure,
  // What core/heat finds; several can hold at once, so words may name a second one that fits as well.
  not_heating,
  heating_stuck_on,
  heating_weak,
  thermostat_drift,
  thermostat_reset,
  thermostat_hunting,
  thermostat_probe_moved,
  probe_moved,
  high_cutout_open,
  room_cold,
  room_hot,
  night_drop_shifted,
  gradient_lost,
};
inline constexpr int alarm_kind_count = 25;
[[nodiscard]] constexpr bool is_heating_kind(AlarmKind kind) {
  return kind >= AlarmKind::not_heating && kind <= AlarmKind::gradient_lost;
}

// `high` wakes people, `medium` in waking hours, `low` for the page and the report.
enum class Priority : std::uint8_t { low, medium, high };
[[nodiscard]] std::string_view name_of(Priority priority);
[[nodiscard]] std::optional<Priority> priority_from(std::string_view name);

// How far beyond: `target` - outside the target band (or simply: the fault is there); `harm` - beyond a harm
// limit, or what AlarmKindRow::harm_means says of a fault without a number.
enum class Level : std::uint8_t { none, target, harm };

struct AlarmSettings {
  Priority priority = Priority::medium;     // at Level::target
  Priority harm_priority = Priority::high;  // at Level::harm
  std::int64_t on_delay_ms = 0;             // the condition must hold so long before the alarm activates
  std::int64_t harm_on_delay_ms = 0;
  std::int64_t off_delay_ms = 10 * minute_ms;  // normal must hold so long before it returns
  double deadband = 0;                         // on return only; degC or %RH
  double worsen_step = 0;      // an acknowledged alarm tells again when worse by this; 0: never
  std::int64_t repeat_ms = 0;  // while unacknowledged at this priority; 0: not repeated
  std::int64_t harm_repeat_ms = 3 * minute_ms;
  bool enabled = true;
};
using AlarmSettingsTable = std::array<AlarmSettings, alarm_kind_count>;

struct AlarmKindRow {
  AlarmKind kind;
  std::string_view name;             // "too-cold"
  std::string_view cause;            // one sentence
  std::string_view consequence;      // one sentence
  std::string_view time_to_respond;  // "within an hour"
  std::string_view first_action;     // one step, imperative, no arithmetic; at most 42 characters
  std::string_view harm_means;       // when the engine's fact is at Level::harm; "" - this kind has none
  bool has_value;                    // value and limit mean something
  AlarmSettings defaults;
  std::string_view source;  // where the defaults come from
};

[[nodiscard]] const AlarmKindRow& row_of(AlarmKind kind);
[[nodiscard]] const std::array<AlarmKindRow, alarm_kind_count>& alarm_kind_rows();
[[nodiscard]] std::optional<AlarmKind> alarm_kind_from(std::string_view name);
[[nodiscard]] AlarmSettingsTable default_alarm_settings();

}  // namespace baskwell
