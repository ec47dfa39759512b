#pragma once
// The words of an alarm: what a person reads half asleep. Pure: same alarm, same text, whatever the machine's
// locale. The first 100 characters of a headline hold place, animal, number with unit and the first action;
// then come the limit, direction and rate, and since when. Times are local to the room. Where names
// would push the number or the action out of the first 100, the species is left out, then names are cut with
// an ellipsis, the animal's before the place's, and a number at a place's end ("tub 10") last; the body has
// them in full. One decimal for degC and %RH both, so that a value seldom looks equal to the limit it is
// beyond. What comes from outside (names, details) is cleaned: no control characters, only valid UTF-8.

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/alarm/machine.h"
#include "core/climate/zone_rules.h"
#include "core/effects.h"
#include "core/room.h"

namespace baskwell {

// All that the words of one alarm are made from. Empty strings and NaN: not known or not meant.
struct AlarmView {
  std::string occurrence;  // "A1042"
  AlarmKind kind = AlarmKind::too_cold;
  AlarmState state = AlarmState::normal;
  Priority priority = Priority::medium;
  Level level = Level::none;
  std::optional<AlarmKind> other;  // a second explanation that the evidence cannot tell apart

  std::string place;         // "Shelf 2", "Rack North tub 4", "the room"
  std::string place_id;      // id of the enclosure, "room", or ""
  std::string animal;        // "Asha, royal python"; several joined; "" for none
  std::string animal_names;  // "Asha": without species, for where there is little room
  std::string zone;          // "cool end", "hot spot", ... for people; "" where there is none
  Zone zone_key = Zone::room;
  std::string medium;  // "surface"; "" where plain air
  Quantity quantity = Quantity::temperature;
  std::string subject;  // probe "shelf-2/hot", delivery channel, ...
  std::string detail;   // cause in words for alarms without a number: "connection refused"; of the heating
                        // kinds the evidence, forecast and confidence: heating_words.h

  static constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
  double value = unknown;          // latest, judged unit; for probe kinds the last good one
  double worst = unknown;          // the value furthest beyond since it began
  double target_limit = unknown;   // the limit that was crossed
  double harm_limit = unknown;     // on the same side
  double rate_per_hour = unknown;  // of the last quarter hour
  UtcMs since;                     // when the condition began (before the on-delay)
  UtcMs raised;
  UtcMs now;

  std::vector<std::string> heaters;      // "heat mat at socket 7", or as the keeper names it
  std::vector<std::string> thermostats;  // with their setting: "Thermostat 2 (set 32.0 degC)"
  std::string circuit;
  std::vector<std::string> also_fed;  // tubs on the same thermostat, for racks
};

struct Words {
  std::string headline;
  std::string body;
  std::string json;
};

// The first action, naming the heaters where they are known: "Unplug the mat at socket 7."
[[nodiscard]] std::string first_action_for(const AlarmView& alarm, TellReason reason);

[[nodiscard]] Words words_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                              const ZoneRules& clock);

// Only the JSON object: stable keys with units in their names, null for what is not known. `headline` goes
// into it.
[[nodiscard]] std::string json_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                                   std::string_view headline);

}  // namespace baskwell
