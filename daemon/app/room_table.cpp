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

std::string value_text(const SpotView& spot) {
  if (std::isnan(spot.value)) return "-";
  switch (spot.quantity) {
    case Quantity::temperature:
      return number(spot.value, 1) + " °C";
    case Quantity::humidity:
      return number(spot.value, 0) + " %";
    case Quantity::light:
      return number(spot.value, 0) + " lux";
    case Quantity::power:
      return number(spot.value, 0) + " W";
    case Quantity::battery:
      return number(spot.value, 2) + " V";
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

std::string alarm_line(const AlarmView& alarm, const ZoneRules& clock) {
  std::string line = "  ";
  pad(line, alarm.occurrence.empty() ? "-" : alarm.occurrence, 6);
  pad(line, std::string(name_of(alarm.priority)), 6);
  pad(line, std::string(row_of(alarm.kind).name), 17);
  pad(line, alarm.place.empty() ? alarm.subject : alarm.place + (alarm.zone.empty() ? "" : ", " + alarm.zone),
      34);
  std::string value;
  if (!std::isnan(alarm.value)) {
    const bool warm = alarm.quantity == Quantity::temperature;
    value = number(alarm.value, warm ? 1 : 0) + (warm ? " °C" : " %");
  }
  pad(line, value, 8);
  pad(line, std::string(name_of(alarm.state)), 24);
  return line + "since " + local_day_hour_minute(clock, alarm.since) + "\n";
}

json::value number_or_null(double value) {
  return std::isfinite(value) ? json::value(value) : json::value(nullptr);
}

json::object to_json(const SpotView& spot) {
  json::object object;
  object["enclosure"] = spot.enclosure_id;
  object["name"] = spot.enclosure;
  object["animal"] = spot.animal;
  object["zone"] = spot.zone;
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
  object["state"] = std::string(name_of(alarm.state));
  object["priority"] = std::string(name_of(alarm.priority));
  object["harm"] = alarm.level == Level::harm;
  object["enclosure"] = alarm.place_id;
  object["place"] = alarm.place;
  object["animal"] = alarm.animal;
  object["zone"] = alarm.zone;
  object["subject"] = alarm.subject;
  object["detail"] = alarm.detail;
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
  for (const auto& [title, width] :
       {std::pair{"enclosure", 22}, {"animal", 28}, {"where", 20}, {"now", 8}, {"wanted", 14}}) {
    pad(line, title, static_cast<std::size_t>(width));
  }
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
    pad(line, value_text(spot), 8);
    pad(line, range(spot.target_low, spot.target_high), 14);
    line += verdict(spot);
    if (!spot.alarm.empty()) line += "  [" + spot.alarm + "]";
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  }
  text += "\n" + alarm_list(view, clock);
  return text;
}

std::string alarm_list(const RoomView& view, const ZoneRules& clock) {
  if (view.alarms.empty()) return "No alarms.\n";
  std::string text =
      std::to_string(view.alarms.size()) + (view.alarms.size() == 1 ? " alarm\n" : " alarms\n");
  for (const AlarmView& alarm : view.alarms) text += alarm_line(alarm, clock);
  return text;
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
  return json::serialize(object);
}

std::string alarms_json(const RoomView& view) {
  return json::serialize(alarms_of(view));
}

}  // namespace baskwell
