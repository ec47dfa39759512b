#pragma once
// Rooms by hand for the tests of core. Bands are the figures of the project's species table: adults, normal
// season; royal python hot 30..33 by day, cool 24..27, night 22..25, harm 20 and 36 (cool end 33); corn snake
// hot 28..32, cool 22..26, night 18..22, harm 12 and 35 (cool end 32). How zones and nights follow where the
// table has no cell (a hot spot may stay warm at night, the middle lies between the ends) is common practice,
// no source. Humidity: royal python 50..65 %RH.

#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "core/room.h"
#include "zones.h"

namespace baskwell::test {

inline constexpr double no_limit = std::numeric_limits<double>::quiet_NaN();

inline Band band(Zone zone, Range day, Range night, Range harm, std::optional<Medium> medium = {},
                 Quantity quantity = Quantity::temperature) {
  return {zone, quantity, medium, day, night, harm, "test"};
}

inline std::vector<Band> royal_python() {
  return {band(Zone::hot, {30, 33}, {22, 33}, {20, 36}), band(Zone::middle, {24, 33}, {22, 27}, {20, 36}),
          band(Zone::cool, {24, 27}, {22, 27}, {20, 33}),
          band(Zone::middle, {50, 65}, {50, 65}, {no_limit, no_limit}, {}, Quantity::humidity)};
}

inline std::vector<Band> corn_snake() {
  return {band(Zone::hot, {28, 32}, {18, 32}, {12, 35}), band(Zone::middle, {22, 32}, {18, 26}, {12, 35}),
          band(Zone::cool, {22, 26}, {18, 26}, {12, 32})};
}

class RoomBuilder {
 public:
  RoomBuilder() {
    room.id = "snake-room";
    room.name = "Snake room";
    room.clock = london_2026();
  }

  Index enclosure(const std::string& id) {
    Enclosure made;
    made.id = id;
    made.name = id;
    made.lights = {8 * 60, 20 * 60, 60};
    room.enclosures.push_back(made);
    return static_cast<Index>(room.enclosures.size() - 1);
  }

  Index animal(const std::string& id, std::vector<Band> bands, Index enclosure, Span span = {}) {
    Animal made;
    made.id = id;
    made.name = id;
    made.species = "species-of-" + id;
    made.bands = std::move(bands);
    room.animals.push_back(made);
    const auto index = static_cast<Index>(room.animals.size() - 1);
    room.occupancies.push_back({index, enclosure, span});
    return index;
  }

  // One instrument with one channel, lying there for ever.
  Index probe(const std::string& id, Index enclosure, Zone zone, Quantity quantity = Quantity::temperature,
              Medium medium = Medium::air, ProbeType type = ProbeType::generic) {
    Instrument instrument;
    instrument.id = id;
    instrument.name = id;
    instrument.type = type;
    room.instruments.push_back(instrument);
    Channel channel;
    channel.id = id + "/" + std::string(name_of(quantity));
    channel.instrument = static_cast<Index>(room.instruments.size() - 1);
    channel.quantity = quantity;
    channel.unit = judged_unit(quantity);
    channel.placements = {{enclosure, zone, medium, {}}};
    room.channels.push_back(channel);
    return static_cast<Index>(room.channels.size() - 1);
  }

  Index person(const std::string& id, int wakes_minute = 7 * 60, int sleeps_minute = 22 * 60) {
    room.people.push_back({id, id, {{"mail", id + "@example.org"}}, wakes_minute, sleeps_minute});
    return static_cast<Index>(room.people.size() - 1);
  }

  AlarmSettings& settings(AlarmKind kind) { return room.alarm_settings[static_cast<std::size_t>(kind)]; }
  [[nodiscard]] std::shared_ptr<const Room> done() const { return std::make_shared<const Room>(room); }

  Room room;
};

}  // namespace baskwell::test
