#include "test_room.h"

#include <limits>
#include <string>

namespace baskwell::test {
namespace {

void add_channel(Room& room, const std::string& id, Zone zone, Medium medium, Unit unit, Index enclosure) {
  Instrument instrument;
  instrument.id = id;
  room.instruments.push_back(instrument);
  Channel channel;
  channel.id = id + "/value";
  channel.instrument = static_cast<Index>(room.instruments.size() - 1);
  channel.unit = unit;
  channel.quantity = quantity_of(unit);
  Placement placement;
  placement.enclosure = enclosure;
  placement.zone = zone;
  placement.medium = medium;
  channel.placements = {placement};
  room.channels.push_back(channel);
}

Band band(Zone zone, Range day, Range night, Range harm) {
  return {zone, Quantity::temperature, std::nullopt, day, night, harm, "tests/reference/species.csv"};
}

}  // namespace

Room python_room() {
  Room room;
  room.id = "study";
  room.name = "Study";
  Enclosure enclosure;
  enclosure.id = "shelf-1";
  enclosure.name = "Shelf 1";
  room.enclosures.push_back(enclosure);
  Animal animal;
  animal.id = "juniper";
  animal.name = "Juniper";
  animal.species = "royal-python";
  animal.species_name = "royal python";
  animal.bands = {band(Zone::hot, {30, 33}, {22, 33}, {20, 36}),
                  band(Zone::cool, {24, 27}, {22, 27}, {20, 33})};
  room.animals.push_back(animal);
  room.occupancies.push_back({0, 0, Span{}});
  add_channel(room, "hot", Zone::hot, Medium::surface, Unit::degc, 0);
  add_channel(room, "cool", Zone::cool, Medium::air, Unit::degc, 0);
  add_channel(room, "air", Zone::room, Medium::air, Unit::degc, none);
  return room;
}

}  // namespace baskwell::test
