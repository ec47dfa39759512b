#include "core/heat/unit.h"

#include <algorithm>

namespace baskwell::heat {
namespace {

void feed(Unit& unit, const Room& room, Index heater) {
  unit.heaters.push_back(heater);
  for (const Index enclosure : room.heaters[heater].enclosures) unit.enclosures.push_back(enclosure);
  for (const CutOut& cut_out : room.cut_outs) {
    unit.has_cut_out |=
        std::find(cut_out.heaters.begin(), cut_out.heaters.end(), heater) != cut_out.heaters.end();
  }
}

void finish(std::vector<Unit>& units, Unit unit, const Room& room, const std::string& own_id) {
  std::sort(unit.enclosures.begin(), unit.enclosures.end());
  unit.enclosures.erase(std::unique(unit.enclosures.begin(), unit.enclosures.end()), unit.enclosures.end());
  if (unit.enclosures.empty()) return;
  unit.id = unit.enclosures.size() == 1 ? room.enclosures[unit.enclosures.front()].id : own_id;
  // Two heaters of one enclosure, each on its own: the second is told apart by its own id.
  const bool taken =
      std::any_of(units.begin(), units.end(), [&](const Unit& other) { return other.id == unit.id; });
  if (taken) unit.id = own_id;
  units.push_back(std::move(unit));
}

}  // namespace

std::vector<Unit> units_of(const Room& room) {
  std::vector<Unit> units;
  std::vector<bool> on_thermostat(room.heaters.size());
  for (Index i = 0; i < room.thermostats.size(); ++i) {
    Unit unit;
    unit.thermostat = i;
    for (const Index heater : room.thermostats[i].heaters) {
      feed(unit, room, heater);
      on_thermostat[heater] = true;
    }
    finish(units, std::move(unit), room, room.thermostats[i].id);
  }
  for (Index i = 0; i < room.heaters.size(); ++i) {
    if (on_thermostat[i]) continue;
    Unit unit;
    feed(unit, room, i);
    finish(units, std::move(unit), room, room.heaters[i].id);
  }
  return units;
}

}  // namespace baskwell::heat
