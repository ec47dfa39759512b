#include "demoroom/fault.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

#include "core/check.h"

namespace baskwell::demoroom {
namespace {

std::vector<std::string_view> words_of(std::string_view line) {
  std::vector<std::string_view> words;
  std::size_t at = 0;
  while (at < line.size()) {
    const std::size_t from = line.find_first_not_of(" \t\r\n", at);
    if (from == std::string_view::npos) break;
    const std::size_t to = std::min(line.find_first_of(" \t\r\n", from), line.size());
    words.push_back(line.substr(from, to - from));
    at = to;
  }
  return words;
}

std::optional<double> number_of(std::string_view word) {
  if (word == "nan") return std::numeric_limits<double>::quiet_NaN();
  double value = 0.0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc{} || end != word.data() + word.size() || std::isinf(value)) return std::nullopt;
  return value;
}

std::string known_kinds() {
  std::string all = "clear, faults";
  for (const FaultRow& row : fault_rows()) all += std::string(", ") + row.name;
  return all;
}

std::string short_number(double value) {
  char text[32];
  const auto [end, error] = std::to_chars(text, text + sizeof text, value, std::chars_format::general, 6);
  CHECK(error == std::errc{});
  return std::string(text, end);
}

Outcome take_value(const FaultRow& row, std::string_view word, FaultCommand& command) {
  const std::optional<double> value = number_of(word);
  if (!value) return Error{"'" + std::string(word) + "' is not a number"};
  if (row.kind == FaultKind::probe_bad_value) {
    if (std::isnan(*value) || *value == 85.0 || *value == -127.0) {
      command.value = *value;
      return Done{};
    }
    return Error{"probe-bad-value takes 85, -127 or nan"};
  }
  if (row.min_value == row.max_value) return Error{std::string(row.name) + " takes no value"};
  if (!(*value >= row.min_value && *value <= row.max_value)) {
    return Error{std::string(row.name) + " takes " + short_number(row.min_value) + " to " +
                 short_number(row.max_value) + ", not " + std::string(word)};
  }
  command.value = *value;
  if (row.value_is_minutes) command.minutes = *value;
  return Done{};
}

}  // namespace

const std::vector<FaultRow>& fault_rows() {
  using enum FaultKind;
  static const std::vector<FaultRow> rows = {
      {heater_off, "heater-off", TargetKind::heater, 0, 0, 0, 0, false},
      {heater_stuck_on, "heater-stuck-on", TargetKind::heater, 0, 0, 0, 0, false},
      {heater_weak, "heater-weak", TargetKind::heater, 0.5, 0.0, 1.0, 0, false},
      {thermostat_drift, "thermostat-drift", TargetKind::thermostat, 0.3, -5.0, 5.0, 0, false},
      {thermostat_reset, "thermostat-reset", TargetKind::thermostat, 25.0, 0.0, 60.0, 0, false},
      {thermostat_hunting, "thermostat-hunting", TargetKind::thermostat, 4.0, 0.1, 50.0, 0, false},
      {thermostat_probe_out_of_place, "thermostat-probe-out-of-place", TargetKind::thermostat, 0.7, -1.0, 1.0,
       0, false},
      {thermostat_clock_off, "thermostat-clock-off", TargetKind::thermostat, 240.0, -1440.0, 1440.0, 0,
       false},
      {cutout_open, "cutout-open", TargetKind::heater, 0, 0, 0, 0, false},
      {probe_out_of_place, "probe-out-of-place", TargetKind::probe, 0.7, 0.0, 1.0, 0, false},
      {probe_dead, "probe-dead", TargetKind::probe, 0, 0, 0, 0, false},
      {probe_frozen, "probe-frozen", TargetKind::probe, 0, 0, 0, 0, false},
      {probe_bad_value, "probe-bad-value", TargetKind::probe, 85.0, -127.0, 85.0, 0, false},
      {animal_on_probe, "animal-on-probe", TargetKind::probe, 60.0, 1.0, 1e5, 60.0, true},
      {power_cut, "power-cut", TargetKind::circuit, 0.0, 0.1, 1e5, 0, true},
      {door_open, "door-open", TargetKind::enclosure, 10.0, 0.1, 1e5, 10.0, true},
      {misting, "misting", TargetKind::enclosure, 60.0, 1.0, 1000.0, 0, false},
      {heat_wave, "heat-wave", TargetKind::room, 12.0, 0.0, 40.0, 0, false},
      {room_heating_off, "room-heating-off", TargetKind::room, 0, 0, 0, 0, false},
      {thermostat_probe_fell_out, "thermostat-probe-fell-out", TargetKind::thermostat, 0, 0, 0, 0, false},
      {probe_fell_out, "probe-fell-out", TargetKind::probe, 0, 0, 0, 0, false},
      {thermostat_set, "thermostat-set", TargetKind::thermostat, 1.0, -20.0, 20.0, 0, false},
      {cleaning, "cleaning", TargetKind::enclosure, 30.0, 1.0, 1e5, 30.0, true},
      {air_mixed, "air-mixed", TargetKind::enclosure, 10.0, 0.1, 50.0, 0, false},
  };
  return rows;
}

const FaultRow& fault_row(FaultKind kind) {
  const auto& rows = fault_rows();
  const auto found =
      std::find_if(rows.begin(), rows.end(), [kind](const FaultRow& row) { return row.kind == kind; });
  CHECK(found != rows.end());
  return *found;
}

Result<Command> parse_command(std::string_view line) {
  if (line.size() > 200) return Error{"a command is one line of at most 200 characters"};
  const auto words = words_of(line);
  if (words.empty()) return Error{"nothing said; allowed: " + known_kinds()};
  if (words[0] == "faults") {
    if (words.size() > 1) return Error{"faults takes nothing more"};
    return Command{ListCommand{}};
  }
  if (words[0] == "clear") {
    if (words.size() != 2) return Error{"clear takes one target, or all"};
    return Command{ClearCommand{std::string(words[1])}};
  }
  const auto& rows = fault_rows();
  const auto row =
      std::find_if(rows.begin(), rows.end(), [&](const FaultRow& one) { return words[0] == one.name; });
  if (row == rows.end()) return Error{"no fault '" + std::string(words[0]) + "'; allowed: " + known_kinds()};
  if (words.size() < 2) return Error{std::string(row->name) + " needs a target"};
  FaultCommand command{row->kind, std::string(words[1]), row->default_value, row->default_minutes};
  std::size_t at = 2;
  if (at < words.size() && words[at] != "for") {
    const Outcome taken = take_value(*row, words[at], command);
    if (!taken) return taken.error();
    ++at;
  }
  if (at < words.size()) {
    const std::optional<double> minutes =
        words[at] == "for" && at + 2 == words.size() ? number_of(words[at + 1]) : std::nullopt;
    if (!minutes || !(*minutes > 0.0 && *minutes <= 1e6)) {
      return Error{"after the value only 'for MINUTES', more than 0"};
    }
    command.minutes = *minutes;
  }
  return Command{command};
}

}  // namespace baskwell::demoroom
