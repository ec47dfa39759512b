// [room]: the place, its clock, and the room's own air.

#include "settings/clock_zone.h"
#include "settings/draft.h"
#include "settings/near_name.h"

namespace baskwell::settings {
namespace {

void read_clock(TableReader& reader, Room& room) {
  const auto name = reader.text("time_zone");
  if (!reader.has("time_zone"))
    reader.missing("time_zone", "a name of the tz database, as \"Europe/London\"");
  if (!name) return;
  const auto rules = zone_rules_for(*name);
  if (rules) {
    room.clock = *rules;
    return;
  }
  const std::vector<std::string> known = zone_names();
  if (known.empty()) {
    reader.wrong("time_zone", "this machine has no time zone database", "the package tzdata installed");
  } else {
    reader.wrong("time_zone", "there is no time zone \"" + *name + '"',
                 "a name of the tz database, as \"Europe/London\"", nearest_name(*name, known));
  }
}

std::vector<Band> read_room_air(TableReader& reader) {
  auto air = reader.table("air");
  if (!air) return {};
  // The same form as a zone's bands, under the zone `room`.
  std::vector<WrittenBand> written = read_air_bands(*air);
  return whole_bands(written, reader.report());
}

}  // namespace

void read_place(Draft& draft, TableReader& root) {
  Room& room = draft.settings.room;
  auto reader = root.table("room");
  if (!reader) {
    if (!root.has("room")) root.missing("room", "a table with name and time_zone");
    return;
  }
  room.id = "room";
  if (const auto id = reader->text("id")) {
    if (is_id(*id)) {
      room.id = *id;
    } else {
      reader->wrong("id", "is no id", id_rule);
    }
  }
  room.name = read_name(*reader, room.id);
  read_clock(*reader, room);
  room.latitude_deg = reader->number("latitude_deg", -90, 90);
  room.longitude_deg = reader->number("longitude_deg", -180, 180);
  if (reader->has("latitude_deg") != reader->has("longitude_deg"))
    reader->missing(reader->has("latitude_deg") ? "longitude_deg" : "latitude_deg", "both or none");
  draft.lights = read_lights(*reader, LightPlan{});
  room.room_air_bands = read_room_air(*reader);
  reader->finish();
}

}  // namespace baskwell::settings
