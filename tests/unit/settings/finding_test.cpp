// Every kind of error with its exact line: place, key, what is wrong, what is allowed, what is near.

#include "settings/finding.h"

#include <gtest/gtest.h>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

using Lines = std::vector<std::string>;

// Findings of the good room with these lines after it; they begin at line 11.
Lines with(const std::string& more) {
  return SettingsFolder().findings(good_room + more);
}

TEST(Findings, AGoodRoomHasNone) {
  EXPECT_EQ(with(""), Lines{});
}

TEST(Findings, AreWrittenAsPromised) {
  EXPECT_EQ(text_of({{"a.toml", 3, 9}, true, "x.y", "is wrong", "this", "that"}),
            "a.toml:3:9: error: x.y: is wrong, allowed: this, nearest: that");
  EXPECT_EQ(text_of({{"a.toml", 0, 0}, false, "", "is odd\nvery", "", ""}),
            "a.toml:0:0: warning: is odd?very");
}

TEST(Findings, SyntaxIsReportedOnce) {
  EXPECT_EQ(
      with("[store\npath = 3 4\n"),
      (Lines{"room.toml:11:7: error: not TOML: Error while parsing table header: expected ']', saw '\\n'"}));
  EXPECT_EQ(SettingsFolder().findings("\xff\xfe"), lines_of(R"(
room.toml:1:1: error: not TOML: Encountered invalid utf-8 sequence
)"));
}

TEST(Findings, AFileThatIsNotThere) {
  const SettingsFolder folder;
  EXPECT_EQ(folder.lines(load_settings(folder.path() / "none.toml")),
            (Lines{"none.toml:0:0: error: no such file"}));
  EXPECT_NE(folder.lines(load_settings(folder.path()))[0].find("is a folder, not a file"), std::string::npos);
}

TEST(Findings, NothingAtAll) {
  EXPECT_EQ(SettingsFolder().findings(""), lines_of(R"(
room.toml:1:1: error: room: is missing, allowed: a table with name and time_zone
room.toml:1:1: warning: people: there is nobody to tell, allowed: people.ID with a channel
)"));
}

TEST(Findings, UnknownKeysWithTheNearestKnown) {
  EXPECT_EQ(with("[store]\npaht = \"x\"\ncolour = 3\n[stroe]\n"), lines_of(R"(
room.toml:12:1: error: store.paht: unknown key, allowed: path, commit_interval, nearest: path
room.toml:13:1: error: store.colour: unknown key, allowed: path, commit_interval
room.toml:14:2: error: stroe: unknown key, allowed: care, room, broker, store, service, channels, people, alarms, enclosures, racks, animals, circuits, heaters, lamps, thermostats, cutouts, instruments, nearest: store
)"));
}

TEST(Findings, WrongTypes) {
  EXPECT_EQ(
      with("[store]\npath = 3\n[service]\nsocket = [\"x\"]\n[enclosures.b]\nhides = \"two\"\nsize_cm = 40\n"),
      lines_of(R"(
room.toml:12:8: error: store.path: is a whole number, allowed: a text
room.toml:14:10: error: service.socket: is a list, allowed: a text
room.toml:16:9: error: enclosures.b.hides: is a text, allowed: a whole number from 0 to 100
room.toml:17:11: error: enclosures.b.size_cm: is a whole number, allowed: a list
)"));
  EXPECT_EQ(with("heaters = 3\nlamps.uv = 4\n"),  // these keys belong to the last table above, [people]
            lines_of(R"(
room.toml:11:11: error: people.heaters: is a whole number, allowed: a table
room.toml:12:1: error: people.lamps.channels: is missing, allowed: at least one way to reach this person
room.toml:12:7: error: people.lamps.uv: unknown key, allowed: name, channels, waking
)"));
}

TEST(Findings, UnitsAndRanges) {
  EXPECT_EQ(
      with("[store]\ncommit_interval = \"1 hour\"\n[instruments.i]\ntopic = \"t\"\nunit = \"degc\"\nzone = "
           "\"room\"\ninterval_s = 1e6\n[thermostats.t]\nkind = \"on-off\"\nset_degc = 315\nheaters = []\n"),
      lines_of(R"(
room.toml:12:19: error: store.commit_interval: "1 hour" is no duration, allowed: a number and ms, s, min or h, as "15 min"
room.toml:15:8: error: instruments.i.unit: "degc" is unknown, allowed: degC, degF, K, %RH, lux, W, V, nearest: degC
room.toml:17:14: error: instruments.i.interval_s: 1000000 s is out of range, allowed: 100 ms to 24 h
room.toml:20:12: error: thermostats.t.set_degc: 315 is out of range, allowed: 0 to 60
)"));
}

TEST(Findings, UnknownReferences) {
  EXPECT_EQ(
      with("[heaters.mat]\nkind = \"matt\"\nenclosure = \"shlef\"\ncircuit = \"c1\"\n[cutouts.c]\nheaters = "
           "[\"mat\", \"mta\"]\n[people.p]\nchannels = [{ channel = \"mial\" }]\n"),
      lines_of(R"(
room.toml:12:8: error: heaters.mat.kind: "matt" is unknown, allowed: mat, cable, tape, ceramic, panel, halogen, incandescent, tubular, other, nearest: mat
room.toml:13:13: error: heaters.mat.enclosure: there is no enclosure "shlef", allowed: shelf, nearest: shelf
room.toml:14:11: error: heaters.mat.circuit: there is no circuit "c1"
room.toml:16:19: error: cutouts.c.heaters[2]: there is no heater "mta", allowed: mat, nearest: mat
room.toml:18:25: error: people.p.channels[1].channel: there is no channel "mial", allowed: mail, nearest: mail
)"));
}

TEST(Findings, SpeciesStagesAndZones) {
  EXPECT_EQ(with("[animals.a]\nspecies = \"royal-pyhton\"\nenclosure = \"shelf\"\n[animals.b]\nspecies = "
                 "\"corn-snake\"\nlife_stage = \"adlut\"\nenclosure = \"shelf\"\n"),
            lines_of(R"(
room.toml:12:11: error: animals.a.species: there is no care sheet "royal-pyhton", allowed: bearded-dragon, corn-snake, crested-gecko, hermanns-tortoise, leopard-gecko, royal-python, nearest: royal-python
room.toml:16:14: error: animals.b.life_stage: the care sheet corn-snake has no life stage "adlut", allowed: adult, nearest: adult
)"));
  EXPECT_EQ(SettingsFolder().findings("people = {}\n[room]\ntime_zone = \"Europe/Lodnon\"\n"), lines_of(R"(
room.toml:3:13: error: room.time_zone: there is no time zone "Europe/Lodnon", allowed: a name of the tz database, as "Europe/London", nearest: Europe/London
)"));
}

TEST(Findings, IdsAndDuplicates) {
  EXPECT_EQ(with("[heaters.Mat_1]\n[enclosures.room]\n[racks.shelf]\ntubs = "
                 "2\n[enclosures.shelf-2]\n[lamps.\"\"]\n"),
            lines_of(R"(
room.toml:11:10: error: heaters.Mat_1: is no id, allowed: 1 to 40 of a-z, 0-9 and -
room.toml:12:13: error: enclosures.room: "room" is the room's own air, allowed: another id
room.toml:13:8: error: racks.shelf: there is a second enclosure with the id "shelf-2", allowed: an id of its own
room.toml:16:8: error: lamps.: is no id, allowed: 1 to 40 of a-z, 0-9 and -
)"));
  EXPECT_EQ(with("[instruments.shelf]\ntopic = \"t\"\nunit = \"degC\"\nzone = \"room\"\n"), lines_of(R"(
room.toml:11:14: error: instruments.shelf: "shelf" is an enclosure already, allowed: another id
)"));
}

TEST(Findings, OverlapsAndOrder) {
  EXPECT_EQ(with("[instruments.i]\ntopic = \"t\"\nunit = \"degC\"\nplacements = [\n"
                 "  { enclosure = \"shelf\", zone = \"hot\", to = 2026-03-02 },\n"
                 "  { enclosure = \"shelf\", zone = \"cool\", from = 2026-03-01 },\n"
                 "  { enclosure = \"shelf\", zone = \"cool\", from = 2026-05-01, to = 2026-04-01 },\n]\n"
                 "[animals.wren]\nspecies = \"corn-snake\"\noccupancy = [\n"
                 "  { enclosure = \"shelf\", from = \"2026-01-01\" },\n  { enclosure = \"shelf\" },\n]\n"),
            lines_of(R"(
room.toml:16:3: error: instruments.i.placements[2]: overlaps instruments.i.placements[1], allowed: one place at a time
room.toml:17:65: error: instruments.i.placements[3].to: is not after from, allowed: a later date
room.toml:22:33: error: animals.wren.occupancy[1].from: is a text, allowed: a date without quotes, as 2026-03-01, or a date and time
)"));
}

TEST(Findings, BandsAreWholeAndInOrder) {
  EXPECT_EQ(
      with("[enclosures.b.bands]\nhot.temperature = { day = [33, 30], harm = \"none\" }\ncool.temperature = "
           "{ day = [24, "
           "27] }\nmidle.temperature = {}\nhide.temperature = { day = [86, 91], harm = \"none\" }\n"),
      lines_of(R"(
room.toml:12:27: error: enclosures.b.bands.hot.temperature.day: low 33 is above high 30, allowed: [low, high], nan for no limit on that side
room.toml:13:20: error: enclosures.b.bands.cool.temperature.harm: is missing, allowed: [low, high], or "none"
room.toml:14:1: error: enclosures.b.bands.midle: unknown key, allowed: hot, middle, cool, hide, water, eggs, nearest: middle
room.toml:15:20: error: enclosures.b.bands.hide.temperature: a figure is out of range, allowed: -20 to 80 degC
)"));
}

TEST(Findings, PeopleAndAlarms) {
  EXPECT_EQ(
      with("p = {}\nq = { channels = [], waking = [\"7\", \"22:00\"] }\n[alarms.too-clod]\n[alarms.too-hot]\n"
           "priority = \"hgih\"\non_delay_min = 5\non_delay = \"5 min\"\ndeadband = "
           "-1\n[alarms.too-dry]\npriority = \"medium\"\nharm_priority = \"low\"\n"),
      lines_of(R"(
room.toml:11:5: error: people.p.channels: is missing, allowed: at least one way to reach this person
room.toml:12:5: error: people.q.channels: is missing, allowed: at least one way to reach this person
room.toml:12:31: error: people.q.waking: is not two times of day, allowed: two times of day, as ["07:00", "22:00"]
room.toml:13:9: error: alarms.too-clod: there is no alarm kind of this name, allowed: too-cold, too-hot, no-refuge, too-dry, too-damp, probe-silent, probe-implausible, probe-frozen, intake-trouble, store-trouble, delivery-failed, clock-unsure, not-heating, heating-stuck-on, heating-weak, thermostat-drift, thermostat-reset, thermostat-hunting, thermostat-probe-moved, probe-moved, high-cutout-open, room-cold, room-hot, night-drop-shifted, gradient-lost, nearest: too-cold
room.toml:15:12: error: alarms.too-hot.priority: "hgih" is unknown, allowed: low, medium, high, nearest: high
room.toml:16:16: error: alarms.too-hot.on_delay_min: says the same as on_delay, allowed: one of them
room.toml:18:12: error: alarms.too-hot.deadband: -1 is out of range, allowed: 0 to 20
room.toml:21:17: error: alarms.too-dry.harm_priority: harm would rank below the target band, allowed: harm_priority at least as high as priority
)"));
}

TEST(Findings, TheBrokersAddress) {
  for (const char* bad : {"localhost:1883", "http://x", "mqtt://", "mqtt://x:0", "mqtt://x:70000",
                          "mqtt://x:18x", "mqtt://x/y", "mqtt://u:p@x", "mqtt://[::1", "mqtt://a:b:1"}) {
    EXPECT_EQ(with("[broker]\naddress = \"" + std::string(bad) + "\"\n"), lines_of(R"(
room.toml:12:11: error: broker.address: is no broker's address, allowed: mqtt://HOST:PORT or mqtts://HOST:PORT
)")) << bad;
  }
  const SettingsFolder folder;
  const auto broker = [&](const std::string& text) {
    return folder.load(good_room + text).settings.value().broker;
  };
  EXPECT_EQ(broker("").host, "localhost");
  EXPECT_EQ(broker("[broker]\naddress = \"mqtts://box.example\"\n").port, 8883);
  EXPECT_EQ(broker("[broker]\naddress = \"mqtt://[::1]:1999\"\nversion = \"3.1.1\"\n").host, "::1");
  EXPECT_EQ(broker("[broker]\naddress = \"mqtt://[::1]:1999\"\nversion = \"3.1.1\"\n").version,
            MqttVersion::v3_1_1);
  EXPECT_EQ(with("[broker]\naddress = \"mqtt://x\"\nversion = 4\nca_file = \"ca.pem\"\n")[0],
            "room.toml:13:11: error: broker.version: is no version of MQTT that this speaks, allowed: 5 or "
            "\"3.1.1\"");
}

// Columns count characters, so that an editor jumps to the right one.
TEST(Findings, ColumnsCountCharacters) {
  EXPECT_EQ(with("[enclosures.b]\n[racks]\nb = { tubs = 1, name = \"Grüße\", hides = 101 }\n"), lines_of(R"(
room.toml:13:41: error: racks.b.hides: 101 is out of range, allowed: a whole number from 0 to 100
)"));
}

TEST(Findings, EveryOneAtOnceInTheOrderOfTheFile) {
  const SettingsFolder folder;
  const LoadOutcome outcome = folder.load(
      "[people]\n[room]\nnaem = \"x\"\n[heaters.mat]\nkind = 1\n[animals.a]\nspecies = "
      "\"x\"\n[racks.r]\ntubs = 500\n"
      "[instruments.i]\n[channels.c]\n[store]\ncommit_interval = 1\n[circuits.c]\nname = \"\"\n");
  EXPECT_FALSE(outcome.settings);
  std::vector<std::uint32_t> at;
  for (const Finding& finding : outcome.findings) at.push_back(finding.at.line);
  EXPECT_EQ(at, (std::vector<std::uint32_t>{2, 3, 4, 4, 5, 6, 7, 9, 10, 10, 11, 13, 15}));
}

}  // namespace
}  // namespace baskwell::settings_test
