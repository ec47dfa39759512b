#pragma once
// The alarm state machine: the seven non-latching states of ANSI/ISA-18.2-2016 (IEC 62682) and its
// transitions, as a table. Letters A-D and G-I are those of the standard's diagram. Source: the table in
// tests/reference/isa182-states.csv, partly from memory (the standard's text could not be read). Pure; safe
// from any thread.

#include <array>
#include <cstdint>
#include <optional>
#include <string_view>

namespace baskwell {

enum class AlarmState : std::uint8_t {
  normal,                   // A NORM
  unacknowledged,           // B UNACK
  acknowledged,             // C ACKED
  returned_unacknowledged,  // D RTNUN
  shelved,                  // G SHLVD
  suppressed,               // H DSUPR, suppressed by design
  out_of_service,           // I OOSRV
};
inline constexpr int alarm_state_count = 7;

enum class AlarmInput : std::uint8_t {
  occurs,   // the condition held for its on-delay
  returns,  // normal held for its off-delay
  acknowledge,
  realarm,  // acknowledged, and worse
  shelve,
  unshelve,  // by a person, or the time is over
  suppress,
  unsuppress,
  take_out_of_service,
  return_to_service,
  worsens,  // still unacknowledged, and worse: same state, recorded and told
};
inline constexpr int alarm_input_count = 11;

// The state after `input`, or nothing where the table has no such transition. `condition` - whether the alarm
// condition holds at that moment; read only on leaving G, H and I.
[[nodiscard]] std::optional<AlarmState> next_state(AlarmState from, AlarmInput input, bool condition);

[[nodiscard]] std::string_view name_of(AlarmState state);  // "unacknowledged"
[[nodiscard]] std::string_view code_of(AlarmState state);  // "UNACK", as the standard abbreviates
[[nodiscard]] std::string_view name_of(AlarmInput input);
[[nodiscard]] std::optional<AlarmState> alarm_state_from(std::string_view name);

}  // namespace baskwell
