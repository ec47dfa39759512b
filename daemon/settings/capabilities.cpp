// Which alarm kinds an enclosure cannot have for want of a probe.

#include <algorithm>

#include "settings/settings.h"

namespace baskwell {
namespace {

struct Spot {
  Zone zone;
  Quantity quantity;
  Medium medium;
};

std::vector<Spot> spots_of(const Room& room, Index enclosure, UtcMs at) {
  std::vector<Spot> spots;
  for (const Channel& channel : room.channels) {
    for (const Placement& placement : channel.placements) {
      if (placement.enclosure == enclosure && placement.span.holds(at))
        spots.push_back({placement.zone, channel.quantity, placement.medium});
    }
  }
  return spots;
}

// What is asked of an enclosure: its own bands, then those of whoever lives there.
std::vector<const Band*> bands_of(const Room& room, Index enclosure, UtcMs at) {
  std::vector<const Band*> bands;
  for (const Band& band : room.enclosures[enclosure].overrides) bands.push_back(&band);
  for (const Occupancy& stay : room.occupancies) {
    if (stay.enclosure != enclosure || !stay.span.holds(at)) continue;
    for (const Band& band : room.animals[stay.animal].bands) bands.push_back(&band);
  }
  return bands;
}

const char* words_for(Zone zone) {
  switch (zone) {
    case Zone::hot:
      return "in the hot zone";
    case Zone::cool:
      return "at the cool end";
    default:
      return "in this zone";
  }
}

// Why nothing in this zone can be judged; "" when something can.
std::string why_not(const std::vector<Spot>& spots, const std::vector<const Band*>& bands, Zone zone,
                    Quantity quantity) {
  const auto is_here = [&](const Spot& spot) { return spot.zone == zone && spot.quantity == quantity; };
  const auto asks = [&](const Band* band) { return band->zone == zone && band->quantity == quantity; };
  const auto spot = std::find_if(spots.begin(), spots.end(), is_here);
  const std::string name(name_of(quantity));
  if (spot == spots.end()) return "no " + name + " probe " + words_for(zone);
  if (std::none_of(bands.begin(), bands.end(), asks)) return "no " + name + " band " + words_for(zone);
  const bool fits = std::any_of(spots.begin(), spots.end(), [&](const Spot& one) {
    return is_here(one) && std::any_of(bands.begin(), bands.end(), [&](const Band* band) {
             return asks(band) && (!band->medium || *band->medium == one.medium);
           });
  });
  if (fits) return "";
  const auto band = std::find_if(bands.begin(), bands.end(), asks);
  return "the " + name + " band " + words_for(zone) + " is one for " +
         std::string(name_of(*(*band)->medium)) + ", the probe lies in " + std::string(name_of(spot->medium));
}

std::vector<MissingAlarm> missing_temperature(const std::vector<Spot>& spots,
                                              const std::vector<const Band*>& bands) {
  const bool any = std::any_of(spots.begin(), spots.end(),
                               [](const Spot& spot) { return spot.quantity == Quantity::temperature; });
  if (!any) {
    const std::string why = "no temperature probe";
    return {{AlarmKind::too_cold, "", why}, {AlarmKind::too_hot, "", why}, {AlarmKind::no_refuge, "", why}};
  }
  std::vector<MissingAlarm> missing;
  for (const Zone zone : {Zone::hot, Zone::cool}) {
    const std::string why = why_not(spots, bands, zone, Quantity::temperature);
    if (why.empty()) continue;
    const std::string name(name_of(zone));
    missing.push_back({AlarmKind::too_cold, name, why});
    // Warmth at the cool end is no-refuge, not too-hot: see the engine.
    missing.push_back({zone == Zone::cool ? AlarmKind::no_refuge : AlarmKind::too_hot, name, why});
  }
  return missing;
}

std::vector<MissingAlarm> missing_humidity(const std::vector<Spot>& spots,
                                           const std::vector<const Band*>& bands) {
  std::string why = "no humidity probe";
  for (const Spot& spot : spots) {
    if (spot.quantity != Quantity::humidity) continue;
    why = why_not(spots, bands, spot.zone, Quantity::humidity);
    if (why.empty()) return {};
  }
  return {{AlarmKind::too_dry, "", why}, {AlarmKind::too_damp, "", why}};
}

}  // namespace

std::vector<EnclosureCapability> capabilities(const Settings& settings, UtcMs at) {
  const Room& room = settings.room;
  std::vector<EnclosureCapability> all;
  for (Index enclosure = 0; enclosure < room.enclosures.size(); ++enclosure) {
    EnclosureCapability one;
    one.enclosure = enclosure;
    one.empty = std::none_of(room.occupancies.begin(), room.occupancies.end(), [&](const Occupancy& stay) {
      return stay.enclosure == enclosure && stay.span.holds(at);
    });
    if (!one.empty) {
      const std::vector<Spot> spots = spots_of(room, enclosure, at);
      const std::vector<const Band*> bands = bands_of(room, enclosure, at);
      one.missing = missing_temperature(spots, bands);
      const std::vector<MissingAlarm> humidity = missing_humidity(spots, bands);
      one.missing.insert(one.missing.end(), humidity.begin(), humidity.end());
    }
    if (one.empty || !one.missing.empty()) all.push_back(std::move(one));
  }
  return all;
}

}  // namespace baskwell
