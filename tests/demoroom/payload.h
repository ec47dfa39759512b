#pragma once
// What a report looks like outside: MQTT topics and payloads, and lines of CSV. Formats: README.md of this
// folder. Pure; any thread.

#include <string>
#include <vector>

#include "demoroom/demo_room.h"

namespace baskwell::demoroom {

struct Message {
  std::string topic;
  std::string payload;
};

// The messages one report makes; none when it was lost on the air or every probe is dead.
[[nodiscard]] std::vector<Message> messages_of(const RoomSpec& spec, const Report& report);

inline constexpr const char* kCsvHeader = "time,enclosure,zone,quantity,value,medium,channel";

// One line a value, each ended by '\n', temperatures in degC; a missing value makes none, a bad one says nan.
[[nodiscard]] std::string csv_lines_of(const RoomSpec& spec, const Report& report);

// A value as it is printed, with all the decimals its step needs.
[[nodiscard]] std::string value_text(const ProbeSpec& probe, const ProbeValue& value);

}  // namespace baskwell::demoroom
