#include "settings/written_channel.h"

#include <algorithm>

#include "settings/topic.h"

namespace baskwell::settings {
namespace {

Medium usual_medium(Zone zone) {
  if (zone == Zone::water) return Medium::water;
  return zone == Zone::eggs ? Medium::eggs : Medium::air;
}

// A difference in a channel's unit as one in the unit that is judged.
double as_difference(double difference, Unit unit) {
  return unit == Unit::degf ? difference / 1.8 : difference;
}

double as_judged(double value, Unit unit) {
  switch (unit) {
    case Unit::degf:
      return (value - 32) / 1.8;
    case Unit::kelvin:
      return value - 273.15;
    default:
      return value;
  }
}

// Where a channel is, by `enclosure`, `zone` and `medium` of `reader` and what is shared. Nothing when it is
// nowhere, or that cannot be told.
std::optional<Placement> read_where(Draft& draft, TableReader& reader, const Shared& shared,
                                    std::optional<Quantity> quantity) {
  const auto own_enclosure = read_reference(reader, "enclosure", draft.enclosures);
  const auto own_zone = read_zone(reader, "zone");
  const auto own_medium = read_medium(reader, "medium");
  // A battery is in no zone, and power is drawn by a heater, not by a place; only where it is said for this
  // channel.
  const bool needs_place =
      quantity == Quantity::temperature || quantity == Quantity::humidity || quantity == Quantity::light;
  const bool own_broken = (reader.has("enclosure") && !own_enclosure) || (reader.has("zone") && !own_zone);
  const bool hangs_on_shared = shared.place_broken && !(own_enclosure && own_zone);
  if (!quantity || own_broken || hangs_on_shared) return std::nullopt;
  if (!needs_place && !reader.has("enclosure") && !reader.has("zone")) return std::nullopt;
  const auto zone = own_zone ? own_zone : shared.zone;
  const Index enclosure = own_enclosure.value_or(shared.enclosure);
  if (!zone) {
    reader.missing("zone", "hot, middle, cool, hide, water, eggs, or room for its own air");
    return std::nullopt;
  }
  if (*zone == Zone::room) {
    if (own_enclosure)
      reader.wrong("zone", "is the room's own air, but an enclosure is given", "one of them");
    return Placement{none, Zone::room, own_medium.value_or(Medium::air), Span{}};
  }
  if (enclosure == none) {
    reader.missing("enclosure", joined(draft.enclosures.names()));
    return std::nullopt;
  }
  return Placement{enclosure, *zone, own_medium.value_or(shared.medium.value_or(usual_medium(*zone))),
                   Span{}};
}

void read_placements(Draft& draft, TableReader& reader, const Shared& shared,
                     std::optional<Quantity> quantity, Channel& channel) {
  if (!reader.has("placements")) {
    reader.find("placements");
    if (const auto where = read_where(draft, reader, shared, quantity)) channel.placements.push_back(*where);
    return;
  }
  struct Written {
    Placement placement;
    Place at;
    std::string key;
  };
  std::vector<Written> written;
  for (TableReader& one : reader.tables("placements")) {
    const auto where = read_where(draft, one, shared, quantity);
    const auto span = read_span(one, draft.settings.room.clock);
    one.finish();
    if (!where || !span) continue;
    written.push_back({*where, one.place(), one.key()});
    written.back().placement.span = *span;
  }
  std::stable_sort(written.begin(), written.end(), [](const Written& a, const Written& b) {
    return a.placement.span.from < b.placement.span.from;
  });
  for (std::size_t i = 0; i < written.size(); ++i) {
    if (i > 0 && written[i].placement.span.from < written[i - 1].placement.span.to)
      draft.report.error(written[i].at, written[i].key, "overlaps " + written[i - 1].key,
                         "one place at a time");
    channel.placements.push_back(written[i].placement);
  }
}

void read_calibrations(Draft& draft, TableReader& reader, Channel& channel) {
  constexpr double most = 20;  // more is no calibration, but a broken probe
  const auto offset = reader.number("offset", -most, most);
  if (offset) channel.calibrations.push_back({UtcMs{INT64_MIN}, as_difference(*offset, channel.unit), 0});
  if (offset && reader.has("calibrations"))
    reader.wrong("calibrations", "says the same as offset", "either offset or calibrations");
  for (TableReader& one : reader.tables("calibrations")) {
    const auto from = read_moment(one, "from", draft.settings.room.clock);
    const auto own_offset = one.number("offset", -most, most);
    if (!one.has("from")) one.missing("from", "a date without quotes, as 2026-03-01");
    if (!one.has("offset")) one.missing("offset");
    one.finish();
    if (!from || !own_offset) continue;
    if (!channel.calibrations.empty() && *from <= channel.calibrations.back().from) {
      one.wrong("from", "is not after the calibration before it", "one after the other");
      continue;
    }
    channel.calibrations.push_back({*from, as_difference(*own_offset, channel.unit), 0});
  }
  for (std::size_t i = 0; i < channel.calibrations.size(); ++i)
    channel.calibrations[i].version = static_cast<std::uint16_t>(i + 1);
}

}  // namespace

std::optional<std::string> read_topic(TableReader& reader, const Marks& marks) {
  auto topic = reader.text("topic", longest_topic);
  if (!topic) return std::nullopt;
  for (const auto& [mark, value] : marks) {
    if (topic->find(mark) != std::string::npos && !is_whole_level(*topic, mark)) {
      reader.wrong("topic", mark + " is not a whole level", filter_rule);
      return std::nullopt;
    }
  }
  if (const std::string mistake = filter_mistake(as_filter(*topic, marks)); !mistake.empty()) {
    reader.wrong("topic", mistake, filter_rule);
    return std::nullopt;
  }
  return topic;
}

std::optional<WrittenChannel> read_channel(Draft& draft, TableReader& reader, const Shared& shared) {
  WrittenChannel written;
  written.origin = {reader.place(), reader.key()};
  written.topic = shared.topic;
  const auto pointer = reader.text("pointer", 500);
  written.pointer = pointer.value_or("");
  if (!written.pointer.empty() && written.pointer.front() != '/')
    reader.wrong("pointer", "is no JSON pointer",
                 "a text that begins with /, as \"/air/temperature\" (RFC 6901)");
  static const std::vector<std::string> units{"degC", "degF", "K", "%RH", "lux", "W", "V"};
  const auto unit = reader.one_of("unit", units);
  if (!reader.has("unit")) reader.missing("unit", joined(units));
  Channel& channel = written.channel;
  channel.unit = unit ? *unit_from(units[*unit]) : Unit::degc;
  channel.quantity = quantity_of(channel.unit);
  const std::size_t before = draft.report.findings().size();
  read_placements(draft, reader, shared, unit ? std::optional(channel.quantity) : std::nullopt, channel);
  written.is_place_known = !shared.place_broken && draft.report.findings().size() == before;
  read_calibrations(draft, reader, channel);
  if (const auto measures = reader.range("measures")) {
    channel.measures_low = as_judged(measures->low, channel.unit);
    channel.measures_high = as_judged(measures->high, channel.unit);
  }
  if (!unit || (reader.has("pointer") && !pointer)) return std::nullopt;
  return written;
}

}  // namespace baskwell::settings
