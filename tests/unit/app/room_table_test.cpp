#include "app/room_table.h"

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <limits>
#include <string>

namespace baskwell {
namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

SpotView spot(const std::string& zone, double value, double low, double high, double harm_high) {
  SpotView view;
  view.enclosure_id = "shelf-1";
  view.enclosure = "Shelf 1";
  view.animal = "Juniper, royal python";
  view.zone = zone;
  view.medium = "air";
  view.value = value;
  view.target_low = low;
  view.target_high = high;
  view.harm_low = 20;
  view.harm_high = harm_high;
  view.age_ms = 12'000;
  view.fresh = true;
  return view;
}

RoomView room() {
  RoomView view;
  view.at = UtcMs{1'795'521'600'000};
  view.name = "Étude";
  view.broker_connected = true;
  return view;
}

TEST(RoomTable, SaysOfEverySpotWhetherItIsGood) {
  RoomView view = room();
  view.spots = {spot("hot spot", 31.44, 30, 33, 36), spot("cool end", 33.2, 24, 27, 33),
                spot("middle", 23.9, 24, 33, 36)};
  view.spots[1].alarm = "no-refuge";
  SpotView silent = spot("hide", 25, unknown, unknown, unknown);
  silent.fresh = false;
  silent.age_ms = 20 * minute_ms;
  SpotView never = spot("water", unknown, unknown, unknown, unknown);
  never.age_ms = -1;
  view.spots.push_back(silent);
  view.spots.push_back(never);
  EXPECT_EQ(room_table(view, ZoneRules{}),
            "Étude   24 Nov 12:00   broker connected\n\n"
            "  enclosure               animal                        where                 now         "
            "wanted\n"
            "  Shelf 1                 Juniper, royal python         hot spot              31.4 °C     30 to "
            "33        good\n"
            "                                                        cool end              33.2 °C     24 to "
            "27        HARMFULLY HIGH  [no-refuge]\n"
            "                                                        middle                23.9 °C     24 to "
            "33        low\n"
            "                                                        hide                  25.0 °C           "
            "  "
            "        silent for 20 min\n"
            "                                                        water                 -                 "
            "  "
            "        not heard yet\n"
            "\nNo alarms.\n");
}

TEST(RoomTable, CutsLongNamesByCharactersNotBytes) {
  RoomView view = room();
  SpotView long_name = spot("hot spot", 31, 30, 33, 36);
  long_name.enclosure = "Überlanger Gehegename mit Umlauten äöü";
  view.spots = {long_name};
  const std::string table = room_table(view, ZoneRules{});
  EXPECT_NE(table.find("  Überlanger Gehegename… "), std::string::npos) << table;
}

AlarmView alarm_at(const std::string& zone, AlarmKind kind, Quantity quantity, AlarmState state) {
  AlarmView alarm;
  alarm.occurrence = "A7";
  alarm.kind = kind;
  alarm.state = state;
  alarm.place = "The long vivarium under the window";
  alarm.place_id = "shelf-1";
  alarm.zone = zone;
  alarm.quantity = quantity;
  alarm.since = UtcMs{1'795'521'600'000};
  return alarm;
}

TEST(AlarmList, KeepsTheZoneAndTheUnitOfLongLines) {
  RoomView view = room();
  view.alarms = {alarm_at("middle", AlarmKind::probe_frozen, Quantity::light, AlarmState::unacknowledged)};
  view.alarms[0].value = 120'000;
  EXPECT_EQ(alarm_list(view, ZoneRules{}),
            "1 alarm\n  A7      medium  probe-frozen            The long vivarium under…, middle light  "
            "120000 lux  "
            "unacknowledged            since 24 Nov 12:00\n");
}

TEST(AlarmList, TellsWhatIsOutOfServiceOnceAPlace) {
  RoomView view = room();
  view.spots = {spot("hot spot", 25, 30, 33, 36), spot("cool end", 25, 24, 27, 33)};
  view.spots[0].alarm = "too-cold";
  view.spots[1].alarm = "no-refuge";
  const Quantity warmth = Quantity::temperature;
  view.alarms = {alarm_at("hot spot", AlarmKind::too_cold, warmth, AlarmState::out_of_service),
                 alarm_at("hot spot", AlarmKind::too_hot, warmth, AlarmState::out_of_service),
                 alarm_at("cool end", AlarmKind::no_refuge, warmth, AlarmState::acknowledged)};
  const std::string list = alarm_list(view, ZoneRules{});
  EXPECT_EQ(list.substr(0, 8), "1 alarm\n");
  EXPECT_NE(list.find("\nOut of service, not watched: The long vivarium under the window, hot spot\n"),
            std::string::npos)
      << list;
  const std::string table = room_table(view, ZoneRules{});
  EXPECT_NE(table.find("low  [out of service]\n"), std::string::npos) << table;
  EXPECT_NE(table.find("good  [no-refuge, acknowledged]\n"), std::string::npos) << table;
}

TEST(RoomJson, IsOneObjectWithNullForWhatIsNotKnown) {
  RoomView view = room();
  view.spots = {spot("hot spot", unknown, 30, unknown, 36)};
  view.spots[0].zone_key = Zone::hot;
  view.alarms = {
      alarm_at("cool end", AlarmKind::not_heating, Quantity::temperature, AlarmState::acknowledged),
      alarm_at("", AlarmKind::clock_unsure, Quantity::temperature, AlarmState::acknowledged)};
  view.alarms[0].zone_key = Zone::cool;
  view.alarms[0].other = AlarmKind::high_cutout_open;
  const auto parsed = boost::json::parse(room_json(view)).as_object();
  const auto& first = parsed.at("spots").as_array().at(0).as_object();
  EXPECT_TRUE(first.at("value").is_null());
  EXPECT_TRUE(first.at("target_high").is_null());
  EXPECT_EQ(first.at("target_low").as_double(), 30.0);
  EXPECT_EQ(first.at("unit").as_string(), "degC");
  EXPECT_EQ(first.at("zone").as_string(), "hot");
  const auto& alarms = parsed.at("alarms").as_array();
  EXPECT_EQ(alarms.at(0).as_object().at("zone").as_string(), "cool");
  EXPECT_EQ(alarms.at(0).as_object().at("may_also_be").as_string(), "high-cutout-open");
  EXPECT_TRUE(alarms.at(1).as_object().at("zone").is_null());
  EXPECT_TRUE(alarms.at(1).as_object().at("may_also_be").is_null());
  EXPECT_EQ(parsed.at("at").as_string(), "2026-11-24T12:00:00Z");
}

}  // namespace
}  // namespace baskwell
