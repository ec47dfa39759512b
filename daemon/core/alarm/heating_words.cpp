#include "core/alarm/heating_words.h"

#include <algorithm>
#include <array>
#include <cstddef>

#include "core/check.h"

namespace baskwell {
namespace {

struct HeatingWords {
  AlarmKind kind;
  std::string_view complaint;
  std::string_view over;
};

// Of what is measured: "hot spot 29.4 °C, not heating".
constexpr std::array heating_words{
    HeatingWords{AlarmKind::not_heating, "not heating", "heats again"},
    HeatingWords{AlarmKind::heating_stuck_on, "heating never stops", "heating stops again"},
    HeatingWords{AlarmKind::heating_weak, "heating too weak", "heating keeps up again"},
    HeatingWords{AlarmKind::thermostat_drift, "thermostat drifts", "kept as before the drift"},
    HeatingWords{AlarmKind::thermostat_reset, "thermostat setting changed", "kept as before"},
    HeatingWords{AlarmKind::thermostat_hunting, "swings too wide", "swings as usual"},
    HeatingWords{AlarmKind::thermostat_probe_moved, "thermostat's probe moved", "kept as before"},
    HeatingWords{AlarmKind::probe_moved, "our probe moved", "probe reads as before"},
    HeatingWords{AlarmKind::high_cutout_open, "cut-out has switched off", "heats again"},
    HeatingWords{AlarmKind::room_cold, "unusually cold", "as usual again"},
    HeatingWords{AlarmKind::room_hot, "unusually warm", "as usual again"},
    HeatingWords{AlarmKind::night_drop_shifted, "night drop at the wrong hour", "night drop in time again"},
    HeatingWords{AlarmKind::gradient_lost, "hot and cool end alike", "hot and cool end apart again"}};

const HeatingWords& words_of(AlarmKind kind) {
  const auto* const found = std::find_if(heating_words.begin(), heating_words.end(),
                                         [&](const HeatingWords& each) { return each.kind == kind; });
  CHECK(found != heating_words.end());
  return *found;
}

struct Check {
  AlarmKind one;
  AlarmKind other;
  std::string_view text;
};

// Near, not on: ceramic heaters and lamps burn. Common practice, no source, for all of these.
constexpr std::array checks{
    Check{AlarmKind::not_heating, AlarmKind::heating_weak,
          "hold a hand near the heater: cold, it is off; warm, it is too weak"},
    Check{AlarmKind::not_heating, AlarmKind::high_cutout_open,
          "look at the high cut-out: not tripped, the heater or its plug has failed"},
    Check{AlarmKind::heating_stuck_on, AlarmKind::thermostat_reset,
          "read the thermostat's setting: as you left it, its output is stuck on"},
    Check{AlarmKind::heating_stuck_on, AlarmKind::thermostat_probe_moved,
          "look where the thermostat's probe lies: in its place, its output is stuck on"},
    Check{AlarmKind::thermostat_reset, AlarmKind::thermostat_probe_moved,
          "read the thermostat's setting: as you left it, its probe has moved"},
    Check{AlarmKind::thermostat_reset, AlarmKind::heating_weak,
          "read the thermostat's setting: as you left it, the heater is too weak"},
    Check{AlarmKind::thermostat_reset, AlarmKind::probe_moved,
          "lay a second thermometer beside our probe for ten minutes: if they agree, it is the thermostat"},
    Check{AlarmKind::thermostat_drift, AlarmKind::probe_moved,
          "lay a second thermometer beside our probe for ten minutes: if they agree, it is the thermostat"}};

std::string_view without_stop(std::string_view sentence) {
  while (!sentence.empty() && (sentence.back() == '.' || sentence.back() == ' ')) sentence.remove_suffix(1);
  return sentence;
}

void add_sentence(std::string& text, std::string_view sentence) {
  if (!text.empty()) text += ". ";
  text += sentence;
}

}  // namespace

std::string_view heating_complaint(AlarmKind kind) {
  return words_of(kind).complaint;
}

std::string_view heating_over(AlarmKind kind) {
  return words_of(kind).over;
}

std::string_view check_between(AlarmKind one, AlarmKind other) {
  const auto* const found = std::find_if(checks.begin(), checks.end(), [&](const Check& each) {
    return (each.one == one && each.other == other) || (each.one == other && each.other == one);
  });
  return found != checks.end() ? found->text : std::string_view();
}

HeatingDetail heating_detail(std::string_view detail) {
  constexpr std::string_view sure = "Confidence: ";
  constexpr std::string_view tell = "To tell";
  HeatingDetail parts;
  while (!detail.empty()) {
    const std::size_t end = std::min(detail.find(". "), detail.size());
    const std::string_view sentence = without_stop(detail.substr(0, end));
    detail.remove_prefix(std::min(end + 2, detail.size()));
    const std::size_t colon = sentence.find(": ");
    if (sentence.starts_with(sure)) {
      add_sentence(parts.confidence, sentence.substr(sure.size()));
    } else if (sentence.starts_with(tell) && colon != std::string_view::npos) {
      add_sentence(parts.check, sentence.substr(colon + 2));
    } else if (sentence.find(" by about ") != std::string_view::npos) {
      add_sentence(parts.forecast, sentence);
    } else if (!sentence.empty()) {
      add_sentence(parts.evidence, sentence);
    }
  }
  return parts;
}

}  // namespace baskwell
