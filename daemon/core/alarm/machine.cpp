#include "core/alarm/machine.h"

#include <array>
#include <cstddef>

namespace baskwell {
namespace {

// One line of the standard's table. `to_holding` is taken where the alarm condition holds at that moment.
struct Line {
  AlarmState from;
  AlarmInput input;
  AlarmState to_clear;
  AlarmState to_holding;
};

constexpr Line line(AlarmState from, AlarmInput input, AlarmState to) {
  return {from, input, to, to};
}

using enum AlarmState;
using In = AlarmInput;

constexpr std::array lines{
    line(normal, In::occurs, unacknowledged),
    line(normal, In::shelve, shelved),
    line(normal, In::suppress, suppressed),
    line(normal, In::take_out_of_service, out_of_service),

    line(unacknowledged, In::acknowledge, acknowledged),
    line(unacknowledged, In::returns, returned_unacknowledged),
    line(unacknowledged, In::worsens, unacknowledged),  // ours: recorded and told, not a change of state
    line(unacknowledged, In::shelve, shelved),
    line(unacknowledged, In::suppress, suppressed),
    line(unacknowledged, In::take_out_of_service, out_of_service),

    line(acknowledged, In::returns, normal),
    line(acknowledged, In::realarm, unacknowledged),
    line(acknowledged, In::shelve, shelved),
    line(acknowledged, In::suppress, suppressed),
    line(acknowledged, In::take_out_of_service, out_of_service),

    line(returned_unacknowledged, In::acknowledge, normal),
    line(returned_unacknowledged, In::occurs, unacknowledged),
    line(returned_unacknowledged, In::shelve, shelved),
    line(returned_unacknowledged, In::suppress, suppressed),
    line(returned_unacknowledged, In::take_out_of_service, out_of_service),

    Line{shelved, In::unshelve, normal, unacknowledged},
    Line{suppressed, In::unsuppress, normal, unacknowledged},
    Line{out_of_service, In::return_to_service, normal, unacknowledged},
};

struct Cell {
  bool known = false;
  AlarmState to_clear = normal;
  AlarmState to_holding = normal;
};
using Table = std::array<std::array<Cell, alarm_input_count>, alarm_state_count>;

constexpr Table table = [] {
  Table cells{};
  for (const Line& each : lines) {
    cells[static_cast<std::size_t>(each.from)][static_cast<std::size_t>(each.input)] = {true, each.to_clear,
                                                                                        each.to_holding};
  }
  return cells;
}();

constexpr std::array<std::string_view, alarm_state_count> state_names{
    "normal",  "unacknowledged", "acknowledged",  "returned-unacknowledged",
    "shelved", "suppressed",     "out-of-service"};
constexpr std::array<std::string_view, alarm_state_count> state_codes{"NORM",  "UNACK", "ACKED", "RTNUN",
                                                                      "SHLVD", "DSUPR", "OOSRV"};
constexpr std::array<std::string_view, alarm_input_count> input_names{
    "occurs",   "returns",    "acknowledge",         "realarm",           "shelve", "unshelve",
    "suppress", "unsuppress", "take-out-of-service", "return-to-service", "worsens"};

}  // namespace

std::optional<AlarmState> next_state(AlarmState from, AlarmInput input, bool condition) {
  const Cell& cell = table[static_cast<std::size_t>(from)][static_cast<std::size_t>(input)];
  if (!cell.known) return std::nullopt;
  return condition ? cell.to_holding : cell.to_clear;
}

std::string_view name_of(AlarmState state) {
  return state_names[static_cast<std::size_t>(state)];
}

std::string_view code_of(AlarmState state) {
  return state_codes[static_cast<std::size_t>(state)];
}

std::string_view name_of(AlarmInput input) {
  return input_names[static_cast<std::size_t>(input)];
}

std::optional<AlarmState> alarm_state_from(std::string_view name) {
  for (std::size_t i = 0; i < state_names.size(); ++i) {
    if (state_names[i] == name) return static_cast<AlarmState>(i);
  }
  return std::nullopt;
}

}  // namespace baskwell
