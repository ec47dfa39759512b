#include "app/room_table.h"

#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <string_view>
#include <vector>

#include "core/moment.h"

namespace baskwell {
namespace {

namespace json = boost::json;

constexpr std::size_t value_width = 10;  // "100000 lux", "-127.0 °C"

std::size_t width_of(std::string_view text) {
  return static_cast<std::size_t>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}

// Cut to `width` characters, the cut shown.
std::string fitted(const std::string& text, std::size_t width) {
  if (width_of(text) <= width) return text;
  std::string cut;
  std::size_t count = 0;
  for (const char c : text) {
    const bool begins = (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
    if (begins && ++count >= width) break;
    cut += c;
  }
  return cut + "…";
}

void pad(std::string& line, const std::string& text, std::size_t width) {
  const std::string shown = fitted(text, width);
  line += shown;
  line.append(width - width_of(shown) + 2, ' ');
}

std::string number(double value, int decimals) {
  std::array<char, 40> text{};
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed, decimals).ptr;
  return {text.data(), end};
}

// Limits as short as they are: 24, 24.5, 26.25.
std::string limit(double value) {
  const double tenths = std::round(value * 10) / 10;
  return number(tenths, tenths == std::floor(tenths) ? 0 : 1);
}

std::string range(double low, double high) {
  if (std::isnan(low) && std::isnan(high)) return {};
  if (std::isnan(low)) return "to " + limit(high);
  if (std::isnan(high)) return "from " + limit(low);
  return limit(low) + " to " + limit(high);
}

std::string age(std::int64_t ms) {
  if (ms < 2 * minute_ms) return std::to_string(ms / second_ms) + " s";
  if (ms < 2 * hour_ms) return std::to_string(ms / minute_ms) + " min";
  return std::to_string(ms / hour_ms) + " h";
}

std::string verdict(const SpotView& spot) {
  if (spot.age_ms < 0) return "not heard yet";
  if (!spot.fresh) return "silent for " + age(spot.age_ms);
  if (!std::isnan(spot.harm_high) && spot.value > spot.harm_high) return "HARMFULLY HIGH";
  if (!std::isnan(spot.harm_low) && spot.value < spot.harm_low) return "HARMFULLY LOW";
  if (!std::isnan(spot.target_high) && spot.value > spot.target_high) return "high";
  if (!std::isnan(spot.target_low) && spot.value < spot.target_low) return "low";
  if (std::isnan(spot.target_low) && std::isnan(spot.target_high)) return "";
  return "good";
}

std::string value_text(double value, Quantity quantity) {
  if (std::isnan(value)) return "-";
  switch (quantity) {
    case Quantity::temperature:
      return number(value, 1) + " °C";
    case Quantity::humidity:
      return number(value, 0) + " %";
    case Quantity::light:
      return number(value, 0) + " lux";
    case Quantity::power:
      return number(value, 0) + " W";
    case Quantity::battery:
      return number(value, 2) + " V";
  }
  return {};
}

std::string spot_name(const SpotView& spot) {
  std::string name = spot.zone;
  if (spot.medium != "air" && !spot.medium.empty() && spot.quantity == Quantity::temperature) {
    name += ", " + spot.medium;
  }
  if (spot.quantity != Quantity::temperature) name += " " + std::string(name_of(spot.quantity));
  return name;
}

// The place gives way to the zone: "The long vivarium und…, hot spot".
std::string where_of(const AlarmView& alarm, std::size_t width) {
  if (alarm.place.empty()) return alarm.subject;
  std::string zone = alarm.zone.empty() ? "" : ", " + alarm.zone;
  if (!zone.empty() && alarm.quantity != Quantity::temperature)
    zone += " " + std::string(name_of(alarm.quantity));
  if (width_of(zone) + 2 > width) return alarm.place + zone;
  return fitted(alarm.place, width - width_of(zone)) + zone;
}

std::string alarm_line(const AlarmView& alarm, const ZoneRules& clock) {
  constexpr std::size_t where_width = 38;
  std::string line = "  ";
  pad(line, alarm.occurrence.empty() ? "-" : alarm.occurrence, 6);
  pad(line, std::string(name_of(alarm.priority)), 6);
  pad(line, std::string(row_of(alarm.kind).name), 22);
  pad(line, where_of(alarm, where_width), where_width);
  pad(line, std::isnan(alarm.value) ? "" : value_text(alarm.value, alarm.quantity), value_width);
  pad(line, std::string(name_of(alarm.state)), 24);
  return line + "since " + local_day_hour_minute(clock, alarm.since) + "\n";
}

// What the table adds behind its verdict: the alarm, and what has become of it.
std::string alarm_mark(const SpotView& spot, const RoomView& view) {
  if (spot.alarm.empty()) return {};
  const auto is_it = [&](const AlarmView& alarm) {
    return alarm.place_id == spot.enclosure_id && alarm.zone == spot.zone &&
           alarm.quantity == spot.quantity && row_of(alarm.kind).name == spot.alarm;
  };
  const auto found = std::find_if(view.alarms.begin(), view.alarms.end(), is_it);
  if (found == view.alarms.end() || found->state == AlarmState::unacknowledged)
    return "  [" + spot.alarm + "]";
  if (found->state == AlarmState::out_of_service) return "  [out of service]";
  return "  [" + spot.alarm + ", " + std::string(name_of(found->state)) + "]";
}

// Every alarm point of what is out of service is so: told once for each place.
std::string out_of_service_line(const RoomView& view) {
  std::vector<std::string> places;
  for (const AlarmView& alarm : view.alarms) {
    if (alarm.state != AlarmState::out_of_service) continue;
    std::string place = where_of(alarm, 60);
    if (std::find(places.begin(), places.end(), place) == places.end()) places.push_back(std::move(place));
  }
  std::string line;
  for (const std::string& place : places) line += (line.empty() ? "" : "; ") + place;
  return line.empty() ? line : "Out of service, not watched: " + line + "\n";
}

// So that everybody in the house sees that some alarms wait.
std::string grace_line(const RoomView& view, const ZoneRules& clock) {
  std::string line;
  for (const GraceView& grace : view.graces) {
    line += (line.empty() ? "" : "; ") + grace.place + " until " + local_hour_minute(clock, grace.until);
  }
  return line.empty() ? line : "Grace time after a note, harm limits hold: " + line + "\n";
}

json::value number_or_null(double value) {
  return std::isfinite(value) ? json::value(value) : json::value(nullptr);
}

json::object to_json(const SpotView& spot) {
  json::object object;
  object["enclosure"] = spot.enclosure_id;
  object["name"] = spot.enclosure;
  object["animal"] = spot.animal;
  object["zone"] = std::string(name_of(spot.zone_key));
  object["medium"] = spot.medium;
  object["quantity"] = std::string(name_of(spot.quantity));
  object["unit"] = std::string(symbol_of(judged_unit(spot.quantity)));
  object["channel"] = spot.channel;
  object["value"] = number_or_null(spot.value);
  object["target_low"] = number_or_null(spot.target_low);
  object["target_high"] = number_or_null(spot.target_high);
  object["harm_low"] = number_or_null(spot.harm_low);
  object["harm_high"] = number_or_null(spot.harm_high);
  object["age_ms"] = spot.age_ms < 0 ? json::value(nullptr) : json::value(spot.age_ms);
  object["fresh"] = spot.fresh;
  object["day"] = spot.day;
  object["alarm"] = spot.alarm;
  return object;
}

json::object to_json(const AlarmView& alarm) {
  json::object object;
  object["alarm"] = alarm.occurrence;
  object["kind"] = std::string(row_of(alarm.kind).name);
  object["may_also_be"] = alarm.other ? json::value(row_of(*alarm.other).name) : json::value(nullptr);
  object["state"] = std::string(name_of(alarm.state));
  object["priority"] = std::string(name_of(alarm.priority));
  object["harm"] = alarm.level == Level::harm;
  object["enclosure"] = alarm.place_id;
  object["place"] = alarm.place;
  object["animal"] = alarm.animal;
  object["zone"] = alarm.zone.empty() ? json::value(nullptr) : json::value(name_of(alarm.zone_key));
  object["subject"] = alarm.subject;
  object["detail"] = alarm.detail;
  object["quantity"] = alarm.zone.empty() ? json::value(nullptr) : json::value(name_of(alarm.quantity));
  object["unit"] =
      alarm.zone.empty() ? json::value(nullptr) : json::value(symbol_of(judged_unit(alarm.quantity)));
  object["value"] = number_or_null(alarm.value);
  object["target_limit"] = number_or_null(alarm.target_limit);
  object["harm_limit"] = number_or_null(alarm.harm_limit);
  object["rate_per_hour"] = number_or_null(alarm.rate_per_hour);
  object["since"] = rfc3339(alarm.since);
  object["raised"] = rfc3339(alarm.raised);
  return object;
}

json::array alarms_of(const RoomView& view) {
  json::array list;
  for (const AlarmView& alarm : view.alarms) list.push_back(to_json(alarm));
  return list;
}

}  // namespace

std::string room_table(const RoomView& view, const ZoneRules& clock) {
  std::string text = view.name.empty() ? "The room" : view.name;
  text += "   " + local_day_hour_minute(clock, view.at);
  text += view.broker_connected ? "   broker connected" : "   NO CONNECTION TO THE BROKER";
  text += "\n\n";
  std::string line = "  ";
  for (const auto& [title, width] : {std::pair{"enclosure", 22},
                                     {"animal", 28},
                                     {"where", 20},
                                     {"now", static_cast<int>(value_width)},
                                     {"wanted", 14}}) {
    pad(line, title, static_cast<std::size_t>(width));
  }
  line.erase(line.find_last_not_of(' ') + 1);
  text += line + "\n";
  std::string last;
  for (const SpotView& spot : view.spots) {
    if (spot.quantity == Quantity::battery) continue;
    const bool again = spot.enclosure_id == last;
    last = spot.enclosure_id;
    line = "  ";
    pad(line, again ? "" : spot.enclosure, 22);
    pad(line, again ? "" : spot.animal, 28);
    pad(line, spot_name(spot), 20);
    pad(line, value_text(spot.value, spot.quantity), value_width);
    pad(line, range(spot.target_low, spot.target_high), 14);
    line += verdict(spot);
    line += alarm_mark(spot, view);
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  }
  text += "\n" + alarm_list(view, clock);
  return text;
}

std::string alarm_list(const RoomView& view, const ZoneRules& clock) {
  std::string lines;
  std::size_t count = 0;
  for (const AlarmView& alarm : view.alarms) {
    if (alarm.state == AlarmState::out_of_service) continue;
    ++count;
    lines += alarm_line(alarm, clock);
  }
  const std::string title =
      count == 0 ? "No alarms." : std::to_string(count) + (count == 1 ? " alarm" : " alarms");
  return title + "\n" + lines + out_of_service_line(view) + grace_line(view, clock);
}

std::string room_json(const RoomView& view) {
  json::object object;
  object["at"] = rfc3339(view.at);
  object["room"] = view.name;
  object["broker_connected"] = view.broker_connected;
  json::array spots;
  for (const SpotView& spot : view.spots) spots.push_back(to_json(spot));
  object["spots"] = std::move(spots);
  object["alarms"] = alarms_of(view);
  json::array graces;
  for (const GraceView& grace : view.graces) {
    graces.push_back(json::object{{"enclosure", grace.place_id}, {"until", rfc3339(grace.until)}});
  }
  object["graces"] = std::move(graces);
  return json::serialize(object);
}

std::string alarms_json(const RoomView& view) {
  return json::serialize(alarms_of(view));
}

}  // namespace baskwell
