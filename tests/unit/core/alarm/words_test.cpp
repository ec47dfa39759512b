// The words of alarms: golden messages for every kind (tests/reference/golden/messages; BASKWELL_REFRESH=1
// writes them anew and still fails), and what must hold of every headline, whatever the names.

#include "core/alarm/words.h"

#include <gtest/gtest.h>

#include <array>
#include <iostream>
#include <limits>
#include <random>
#include <string>
#include <vector>

#include "core/alarm/heating_words.h"
#include "core/alarm/message_text.h"
#include "files.h"

namespace baskwell {
namespace {

// Invented room, keeper and animals. One hour ahead of UTC, all year.
const std::string room_name = "Back room";
const ZoneRules clock_rules{{{UtcMs{0}, 3600}}};
constexpr UtcMs now{1795525500000};  // 2026-11-24T13:05:00Z, 14:05 local

AlarmView trouble(AlarmKind kind) {
  AlarmView alarm;
  alarm.occurrence = "A1042";
  alarm.kind = kind;
  alarm.state = AlarmState::unacknowledged;
  alarm.priority = row_of(kind).defaults.priority;
  alarm.level = Level::target;
  alarm.now = now;
  alarm.raised = now;
  alarm.since = now - row_of(kind).defaults.on_delay_ms - minute_ms;
  return alarm;
}

AlarmView on_shelf_2(AlarmKind kind) {
  AlarmView alarm = trouble(kind);
  alarm.place = "Shelf 2";
  alarm.place_id = "shelf-2";
  alarm.animal = "Asha, royal python";
  alarm.animal_names = "Asha";
  return alarm;
}

AlarmView heat_on_shelf_2(AlarmKind kind) {
  AlarmView alarm = on_shelf_2(kind);
  alarm.heaters = {"heat mat at socket 7"};
  alarm.thermostats = {"Thermostat 2 (set 32.0 °C)"};
  alarm.circuit = "Ring B";
  return alarm;
}

AlarmView too_hot() {
  AlarmView alarm = heat_on_shelf_2(AlarmKind::too_hot);
  alarm.zone = "hot spot";
  alarm.zone_key = Zone::hot;
  alarm.medium = "surface";
  alarm.subject = "shelf-2/hot/surface";
  alarm.value = 36.13;
  alarm.worst = 36.4;
  alarm.target_limit = 35;
  alarm.harm_limit = 40;
  alarm.rate_per_hour = 4;
  return alarm;
}

AlarmView too_hot_at_harm() {
  AlarmView alarm = too_hot();
  alarm.level = Level::harm;
  alarm.priority = Priority::high;
  alarm.value = alarm.worst = 41.2;
  alarm.rate_per_hour = 9.5;
  return alarm;
}

AlarmView too_cold() {
  AlarmView alarm = trouble(AlarmKind::too_cold);
  alarm.place = "Rack North tub 4";
  alarm.place_id = "north-4";
  alarm.animal = "Bodo, corn snake";
  alarm.animal_names = "Bodo";
  alarm.zone = "hot spot";
  alarm.zone_key = Zone::hot;
  alarm.subject = "north-4/hot/air";
  alarm.value = 21.9;
  alarm.worst = 21.9;
  alarm.target_limit = 26;
  alarm.harm_limit = 15;
  alarm.rate_per_hour = -2.25;
  alarm.heaters = {"heat cable at socket 3"};
  alarm.thermostats = {"Rack thermostat (set 29.5 °C)"};
  alarm.circuit = "Ring A";
  alarm.also_fed = {"Rack North tub 1", "Rack North tub 2", "Rack North tub 3"};
  return alarm;
}

AlarmView no_refuge() {
  AlarmView alarm = heat_on_shelf_2(AlarmKind::no_refuge);
  alarm.zone = "cool end";
  alarm.zone_key = Zone::cool;
  alarm.subject = "shelf-2/cool/air";
  alarm.value = 30.2;
  alarm.worst = 30.2;
  alarm.target_limit = 28;
  alarm.harm_limit = 33;
  alarm.rate_per_hour = 1.02;
  return alarm;
}

AlarmView humid(AlarmKind kind, double value, double limit, double harm) {
  AlarmView alarm = on_shelf_2(kind);
  alarm.place = "Vivarium by the window";
  alarm.place_id = "window";
  alarm.animal = alarm.animal_names = "6 dart frogs";
  alarm.zone = "middle";
  alarm.zone_key = Zone::middle;
  alarm.quantity = Quantity::humidity;
  alarm.subject = "window/middle/air";
  alarm.value = alarm.worst = value;
  alarm.target_limit = limit;
  alarm.harm_limit = harm;
  alarm.rate_per_hour = 0.01;
  return alarm;
}

AlarmView probe(AlarmKind kind, double value) {
  AlarmView alarm = heat_on_shelf_2(kind);
  alarm.zone = "cool end";
  alarm.zone_key = Zone::cool;
  alarm.subject = "shelf-2-cool/air";
  alarm.value = value;
  return alarm;
}

// What core/heat finds, by the probe that leads: its figure, and the evidence in sentences.
AlarmView heating(AlarmKind kind, double value, std::string detail,
                  std::optional<AlarmKind> other = std::nullopt) {
  AlarmView alarm = heat_on_shelf_2(kind);
  alarm.zone = "hot spot";
  alarm.zone_key = Zone::hot;
  alarm.subject = "shelf-2/heating";
  alarm.value = value;
  alarm.detail = std::move(detail);
  alarm.other = other;
  return alarm;
}

AlarmView at_cool_end(AlarmView alarm) {
  alarm.zone = "cool end";
  alarm.zone_key = Zone::cool;
  return alarm;
}

AlarmView of_the_room(AlarmKind kind, double value, std::string detail) {
  AlarmView alarm = trouble(kind);
  alarm.place = "the room";
  alarm.place_id = alarm.subject = "room";
  alarm.zone = "air";
  alarm.zone_key = Zone::room;
  alarm.value = value;
  alarm.detail = std::move(detail);
  return alarm;
}

AlarmView harm_near(AlarmView alarm) {
  alarm.level = Level::harm;
  alarm.priority = Priority::high;
  return alarm;
}

AlarmView about(AlarmKind kind, std::string subject, std::string detail) {
  AlarmView alarm = trouble(kind);
  alarm.subject = std::move(subject);
  alarm.detail = std::move(detail);
  return alarm;
}

AlarmView intake_at_harm() {
  AlarmView alarm = about(AlarmKind::intake_trouble, "broker", "connection refused");
  alarm.level = Level::harm;
  alarm.priority = Priority::high;
  return alarm;
}

AlarmView ended(AlarmView alarm) {
  alarm.state = AlarmState::returned_unacknowledged;
  alarm.since = now - 26 * hour_ms;
  return alarm;
}

AlarmView ended_at(AlarmView alarm, double value) {
  alarm.value = value;
  return ended(std::move(alarm));
}

struct Case {
  AlarmView alarm;
  TellReason reason;
};

AlarmView heater_off() {
  return heating(
      AlarmKind::not_heating, 29.4,
      "Falling 3.2 °C an hour, 1.4 °C below all that is normal at this hour, at 55 % of the pace of its "
      "own cooling. 24.0 °C by about 16:20 if nothing changes. Confidence: good.",
      AlarmKind::heating_weak);
}

AlarmView never_stops() {
  return heating(
      AlarmKind::heating_stuck_on, 34.6,
      "Rising 4.1 °C an hour, 1.2 °C above all that is normal at this hour, cool end 27.9 °C, the room "
      "is as usual. 36.0 °C by about 14:25 if nothing changes. Confidence: high.",
      AlarmKind::thermostat_probe_moved);
}

std::vector<Case> heating_cases() {
  using enum TellReason;
  using enum AlarmKind;
  const std::string kept =
      "For 1 h 15 min it keeps 27.9 °C steadily, 2.1 °C below what it kept before. To tell: read the "
      "thermostat's display, and lay a second thermometer beside the probe for ten minutes.";
  return {
      {heater_off(), raised},
      {harm_near(heater_off()), reached_harm},
      {ended_at(heater_off(), 31.0), over},
      {never_stops(), raised},
      {harm_near(never_stops()), repeated},
      {heating(
           heating_weak, 28.3,
           "For 1 h 15 min it keeps 28.3 °C steadily, 1.9 °C below what it kept before, its swing is 20 % of "
           "the usual."),
       raised},
      {heating(
           thermostat_drift, 30.1,
           "What it keeps has moved 0.9 °C down in 5 days, about 0.2 °C a day, day after day. To tell the "
           "thermostat from our own probe: lay a second thermometer beside the probe for ten minutes."),
       raised},
      {heating(thermostat_reset, 27.9, kept, heating_weak), raised},
      {heating(thermostat_hunting, 33.1,
               "For hours it swings 4.2 °C where 1.6 °C was usual, with no door open and the room as usual."),
       raised},
      {heating(thermostat_probe_moved, 33.8,
               "For 1 h 15 min it keeps 33.8 °C steadily, 2.3 °C above what it kept "
               "before, its swing is 190 % of the usual.",
               thermostat_reset),
       raised},
      {at_cool_end(
           heating(probe_moved, 29.0,
                   "It changed by 3.1 °C up within minutes and has stayed there for 4 h, while the "
                   "enclosure's other probes are as usual. To tell: lay a second thermometer where it "
                   "belongs.")),
       raised},
      {heating(
           high_cutout_open, 30.2,
           "Falling 3.0 °C an hour, 1.1 °C below all that is normal at this hour. 24.0 °C by about 16:40 if "
           "nothing changes. Confidence: fair, few days are learned.",
           AlarmKind::not_heating),
       raised},
      {of_the_room(
           room_cold, 11.2,
           "The room is at 11.2 °C, 4.3 °C below the coldest hour of its past weeks. No enclosure is at "
           "fault."),
       raised},
      {of_the_room(
           room_hot, 31.8,
           "The room is at 31.8 °C, 3.6 °C above the warmest hour of its past weeks. No enclosure is at "
           "fault."),
       raised},
      {heating(night_drop_shifted, 30.9,
               "The last day ran its usual course about 2 h 45 min late: the temperatures are right, the "
               "hours are "
               "not."),
       raised},
      {at_cool_end(
           heating(gradient_lost, 28.9,
                   "Hot and cool end are 2.1 °C apart where 6.4 °C was usual; the cool end is 3.9 °C warmer "
                   "than at this hour before, the room is as usual.")),
       raised},
  };
}

std::vector<Case> measured_cases() {
  using enum TellReason;
  const AlarmView silent = probe(AlarmKind::probe_silent, 27.4);
  AlarmView long_silent = silent;
  long_silent.level = Level::harm;
  long_silent.priority = Priority::high;
  AlarmView faulty = probe(AlarmKind::probe_implausible, 48);
  faulty.quantity = Quantity::humidity;
  faulty.detail = "it sends no number";
  AlarmView hotter = too_hot();
  hotter.value = hotter.worst = 37.5;
  return {
      {too_cold(), raised},
      {too_cold(), repeated},
      {ended_at(too_cold(), 27.1), over},
      {too_hot(), raised},
      {hotter, worse},
      {too_hot_at_harm(), reached_harm},
      {too_hot_at_harm(), repeated},
      {ended_at(too_hot_at_harm(), 34), over},
      {no_refuge(), raised},
      {humid(AlarmKind::too_dry, 48, 60, 40), raised},
      {humid(AlarmKind::too_damp, 99.9, 95, std::numeric_limits<double>::quiet_NaN()), raised},
      {silent, raised},
      {long_silent, reached_harm},
      {ended_at(silent, 27.6), over},
      {faulty, raised},
      {probe(AlarmKind::probe_frozen, 25.0625), raised},
      {about(AlarmKind::intake_trouble, "payloads", "12 unreadable messages on room/shelf-2"), raised},
      {intake_at_harm(), reached_harm},
      {ended(about(AlarmKind::intake_trouble, "broker", "")), over},
      {about(AlarmKind::store_trouble, "store", "disk full"), raised},
      {about(AlarmKind::delivery_failed, "mail", "server answered 535"), raised},
      {about(AlarmKind::clock_unsure, "clock", "stepped by 3600 s"), raised},
  };
}

std::vector<Case> golden_cases() {
  std::vector<Case> cases = measured_cases();
  for (Case& one : heating_cases()) cases.push_back(std::move(one));
  return cases;
}

TEST(Words, AreTheGoldenMessages) {
  std::array<bool, alarm_kind_count> covered{};
  for (const Case& each : golden_cases()) {
    const Words words = words_for(each.alarm, each.reason, room_name, clock_rules);
    const std::string name =
        std::string(row_of(each.alarm.kind).name) + "-" + std::string(name_of(each.reason));
    SCOPED_TRACE(name);
    test::expect_file_holds(std::string(BASKWELL_REFERENCE_DIR) + "/golden/messages/" + name + ".txt",
                            words.headline + "\n----\n" + words.body + "----\n" + words.json + "\n");
    if (each.reason == TellReason::raised) covered[static_cast<std::size_t>(each.alarm.kind)] = true;
  }
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    EXPECT_TRUE(covered[static_cast<std::size_t>(row.kind)]) << "no golden message: " << row.name;
  }
}

std::string first_100(const std::string& line) {
  std::size_t end = 0;
  for (std::size_t count = 0; end < line.size(); ++end) {
    const bool starts_one = (static_cast<unsigned char>(line[end]) & 0xC0U) != 0x80U;
    if (starts_one && ++count > 100) break;
  }
  return line.substr(0, end);
}

// Whole, without its articles, or as it stands in the table of kinds.
bool holds_the_action(const std::string& head, const AlarmView& alarm, TellReason reason) {
  std::string action = first_action_for(alarm, reason);
  if (head.find(action) != std::string::npos) return true;
  while (action.find(" the ") != std::string::npos) action.erase(action.find(" the "), 4);
  return head.find(action) != std::string::npos ||
         (reason != TellReason::over && head.find(row_of(alarm.kind).first_action) != std::string::npos);
}

TEST(Words, TheFirst100CharactersCanBeActedOn) {
  for (const Case& each : golden_cases()) {
    const Words words = words_for(each.alarm, each.reason, room_name, clock_rules);
    const std::string head = first_100(words.headline);
    SCOPED_TRACE(head);
    EXPECT_NE(head.find(each.alarm.place.empty() ? room_name : each.alarm.place), std::string::npos);
    EXPECT_NE(head.find(each.alarm.animal_names), std::string::npos);
    const bool probe_or_value = !each.alarm.zone.empty();
    if (probe_or_value) {
      EXPECT_NE(head.find(quantity_text(each.alarm.value, each.alarm.quantity)), std::string::npos);
    }
    EXPECT_TRUE(holds_the_action(head, each.alarm, each.reason));
  }
}

std::string random_name(std::mt19937_64& random) {
  static const std::array<std::string, 6> letters{"a", "ë", "R", " ", "🦎", "-"};
  std::string name = "N";
  for (int i = std::uniform_int_distribution(0, 90)(random); i > 0; --i) {
    name += letters[std::uniform_int_distribution<std::size_t>(0, letters.size() - 1)(random)];
  }
  return name;
}

TEST(Words, LongNamesNeverPushOutTheNumberOrTheAction) {
  std::mt19937_64 random(20261124);
  std::cout << "seed 20261124\n";
  for (int i = 0; i < 250; ++i) {
    for (Case each : golden_cases()) {
      AlarmView& alarm = each.alarm;
      if (!alarm.zone.empty()) {
        alarm.place = random_name(random);
        alarm.animal_names = random_name(random);
        alarm.animal = alarm.animal_names + ", royal python";
        alarm.quantity =
            alarm.quantity == Quantity::temperature && i % 3 == 0 ? Quantity::humidity : alarm.quantity;
        alarm.value = -100.0 + 2.37 * (i % 100);
      }
      alarm.subject = random_name(random);
      if (!alarm.heaters.empty())
        alarm.heaters.assign(1 + static_cast<std::size_t>(i) % 4, random_name(random));
      const std::string line = words_for(alarm, each.reason, room_name, clock_rules).headline;
      const std::string head = first_100(line);
      ASSERT_NE(head.find(alarm.place.empty() ? room_name.substr(0, 1) : "N"), std::string::npos) << line;
      if (!alarm.zone.empty()) {
        ASSERT_NE(head.find(quantity_text(alarm.value, alarm.quantity)), std::string::npos) << line;
      }
      ASSERT_TRUE(holds_the_action(head, alarm, each.reason)) << line;
    }
  }
}

// A rack in the night: the tub's number and the animal's name stay, the species and the article go.
TEST(Words, TellOneTubFromTheNext) {
  AlarmView alarm = too_hot_at_harm();
  alarm.place = "Left rack tub 10";
  alarm.animal = "Royal 10, royal python";
  alarm.animal_names = "Royal 10";
  alarm.heaters = {"heat cable at socket 4"};
  const auto head = [&] {
    return first_100(words_for(alarm, TellReason::repeated, room_name, clock_rules).headline);
  };
  EXPECT_EQ(head(),
            "Still danger: Left rack tub 10 (Royal 10): hot spot 41.2 °C, too hot. "
            "Unplug heat cable at socket 4.");
  alarm.place = "The tall rack in the back bedroom, tub 10";
  EXPECT_EQ(head(),
            "Still danger: The tall rac… 10 (Royal 10): hot spot 41.2 °C, too hot. "
            "Unplug heat cable at socket 4.");
  alarm.animal = "Asha, Bodo, Cleo and 4 more, royal python";
  alarm.animal_names = "Asha, Bodo, Cleo and 4 more";
  alarm.heaters = {"incandescent lamp at socket L6"};
  EXPECT_EQ(
      head(),
      "Still danger: The tall rack in the bac… 10 (Asha, B…): hot spot 41.2 °C, too hot. Unplug its heater.");
}

TEST(Words, NameTheHeatersInTheAction) {
  AlarmView alarm = too_hot();
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug the heat mat at socket 7.");
  alarm.heaters = {"Mat 3"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug Mat 3.");
  alarm.heaters = {"mat 3", "lamp 1"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug the mat 3 and the lamp 1.");
  alarm.heaters = {"mat 3", "lamp 1", "panel"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug its 3 heaters.");
  alarm.heaters = {"a heater whose name nobody could read in the night"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug its heater.");
  alarm.heaters.clear();
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Unplug its heater.");
  alarm.kind = AlarmKind::too_cold;
  alarm.heaters = {"heat mat at socket 7"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Check the heat mat at socket 7.");
  alarm.heaters = {"heat mat mat-2"};
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), "Check the heat mat mat-2 and its plug.");
  alarm.kind = AlarmKind::probe_silent;
  EXPECT_EQ(first_action_for(alarm, TellReason::raised), row_of(AlarmKind::probe_silent).first_action);
}

// Both explanations, the one check that tells which, and how long there is: in the headline, past the first
// 100 characters, and in the body.
TEST(Words, NameBothExplanationsAndTheCheckThatTellsThemApart) {
  const Words words = words_for(heater_off(), TellReason::raised, room_name, clock_rules);
  const std::string check = "hold a hand near the heater: cold, it is off; warm, it is too weak";
  EXPECT_TRUE(words.headline.starts_with(
      "Shelf 2 (Asha, royal python): hot spot 29.4 °C, not heating. Check the heat mat at socket 7."))
      << words.headline;
  for (const std::string& part : {std::string("24.0 °C by about 16:20 if nothing changes"),
                                  std::string("or: heating too weak"), "to tell: " + check}) {
    EXPECT_NE(words.headline.find(part), std::string::npos) << words.headline;
  }
  EXPECT_NE(words.body.find("\nMay also be: heating-weak. "), std::string::npos) << words.body;
  EXPECT_NE(words.body.find("\nTo tell them apart: " + check + "\n"), std::string::npos) << words.body;
  EXPECT_NE(words.json.find("\"may_also_be\":\"heating-weak\""), std::string::npos) << words.json;
}

// What core/heat writes, sentence by sentence.
TEST(Words, TakeTheEvidenceApart) {
  const HeatingDetail all = heating_detail(
      "Falling 3.2 °C an hour, 1.4 °C below. 24.0 °C (harm limit) by about 04:10 if nothing changes. "
      "Confidence: fair, few days are learned. To tell: read the display, and wait.");
  EXPECT_EQ(all.evidence, "Falling 3.2 °C an hour, 1.4 °C below");
  EXPECT_EQ(all.forecast, "24.0 °C (harm limit) by about 04:10 if nothing changes");
  EXPECT_EQ(all.confidence, "fair, few days are learned");
  EXPECT_EQ(all.check, "read the display, and wait");
  const HeatingDetail none = heating_detail("");
  EXPECT_EQ(none.evidence + none.forecast + none.confidence + none.check, "");
  EXPECT_EQ(heating_detail("One. Two. Confidence: good").evidence, "One. Two");
  for (int kind = 0; kind < alarm_kind_count; ++kind) {
    for (int other = 0; other < alarm_kind_count; ++other) {
      const auto one = static_cast<AlarmKind>(kind);
      EXPECT_EQ(check_between(one, static_cast<AlarmKind>(other)),
                check_between(static_cast<AlarmKind>(other), one));
    }
  }
}

TEST(Words, NothingFromOutsideBreaksALineOrTheObject) {
  AlarmView alarm = about(AlarmKind::intake_trouble, "broker", "bad\r\nSubject: \"x\\y\"\x01\xFF");
  alarm.place = "Shelf\n2";
  const Words words = words_for(alarm, TellReason::raised, "Back\troom", clock_rules);
  EXPECT_EQ(words.headline.find_first_of("\r\n\t\x01"), std::string::npos);
  EXPECT_EQ(words.json.find_first_of("\r\n\t\x01"), std::string::npos);
  EXPECT_NE(words.json.find("\"detail\":\"bad  Subject: \\\"x\\\\y\\\" \uFFFD\""), std::string::npos)
      << words.json;
  EXPECT_NE(words.json.find("\"value_degc\":null"), std::string::npos);
}

TEST(Words, AreBoundedWhateverTheyAreMadeFrom) {
  AlarmView alarm = too_hot();
  alarm.detail.assign(100'000, 'x');
  alarm.also_fed.assign(500, "tub");
  AlarmView heated = heater_off();
  for (const char* part : {". ", " by about ", ". Confidence: ", ". To tell: "})
    heated.detail += part + std::string(100'000, 'x');
  const Words of_heating = words_for(heated, TellReason::raised, room_name, clock_rules);
  EXPECT_LT(characters_in(of_heating.headline), 700U);
  EXPECT_LT(characters_in(of_heating.body), 3000U);
  const Words words = words_for(alarm, TellReason::raised, room_name, clock_rules);
  EXPECT_LT(characters_in(words.headline), 500U);
  EXPECT_LT(characters_in(words.body), 3000U);
  EXPECT_NE(words.body.find("and 476 more"), std::string::npos);
}

TEST(Words, SayTheReasonByName) {
  EXPECT_EQ(name_of(TellReason::raised), "raised");
  EXPECT_EQ(name_of(TellReason::worse), "worse");
  EXPECT_EQ(name_of(TellReason::reached_harm), "reached-harm");
  EXPECT_EQ(name_of(TellReason::repeated), "repeated");
  EXPECT_EQ(name_of(TellReason::over), "over");
}

}  // namespace
}  // namespace baskwell
