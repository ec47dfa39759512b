#pragma once
// The words of an alarm: what a person reads half asleep. Pure: same alarm, same text, whatever the machine's
// locale. The first 100 characters of a headline hold place, animal, number with unit and the first action;
// then come the limit, direction and rate, and since when. Times are local to the room.

#include <string>
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

  std::string place;     // "Shelf 2", "Rack North tub 4", "the room"
  std::string place_id;  // id of the enclosure, "room", or ""
  std::string animal;    // "Asha, royal python"; several joined; "" for none
  std::string zone;      // "cool end", "hot spot", ... for people; "" where there is none
  Zone zone_key = Zone::room;
  std::string medium;  // "surface"; "" where plain air
  Quantity quantity = Quantity::temperature;
  std::string subject;  // probe "shelf-2/hot", delivery channel, ...
  std::string detail;   // cause in words for alarms without a number: "connection refused"

  double value = 0;         // latest, judged unit
  double worst = 0;         // furthest beyond since it began
  double target_limit = 0;  // the limit that was crossed
  double harm_limit = 0;
  double rate_per_hour = 0;  // of the last quarter hour; NaN while unknown
  UtcMs since;               // when the condition began (before the on-delay)
  UtcMs raised;
  UtcMs now;

  std::vector<std::string> heaters;      // "mat at socket 7", as the keeper names them
  std::vector<std::string> thermostats;  // with their setting: "Thermostat 2 (set 32.0 degC)"
  std::string circuit;
  std::vector<std::string> also_fed;  // tubs on the same thermostat, for racks
};

struct Words {
  std::string headline;
  std::string body;
  std::string json;
};

[[nodiscard]] Words words_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                              const ZoneRules& clock);

}  // namespace baskwell
