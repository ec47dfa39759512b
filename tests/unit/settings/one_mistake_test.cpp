// One mistake is one finding: what follows from it is not told as well. Every value of the commented example
// (which has every key) is broken in turn; then the mistakes whose followers were once told, by their lines.

#include <gtest/gtest.h>

#include <cctype>
#include <utility>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

using Lines = std::vector<std::string>;

// From where to where the texts and numbers stand that are values, comments aside.
std::vector<std::pair<std::size_t, std::size_t>> values_in(const std::string& text) {
  std::vector<std::pair<std::size_t, std::size_t>> values;
  bool seen_equals = false;  // in this line, or a list that goes on over several
  int depth = 0;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '#') i = text.find('\n', i);
    if (text[i] == '\n' && depth == 0) seen_equals = false;
    if (c == '=') seen_equals = true;
    if (seen_equals && (c == '[' || c == '{')) ++depth;
    if (seen_equals && (c == ']' || c == '}')) --depth;
    const std::size_t begin = i;
    if (c == '"') {
      i = text.find('"', i + 1);
    } else if (std::isdigit(static_cast<unsigned char>(c)) != 0 &&
               std::string(" [-").find(text[i - 1]) != std::string::npos) {
      while (std::string(" ,]}\n").find(text[i + 1]) == std::string::npos) ++i;
    } else {
      continue;
    }
    if (seen_equals) values.emplace_back(begin, i + 1);
  }
  return values;
}

TEST(OneMistake, OfAnyValueIsOneFinding) {
  const SettingsFolder folder;
  folder.write("care/.keep", "");
  std::filesystem::copy(std::filesystem::path(BASKWELL_CONFIG_DIR) / "care", folder.path() / "care");
  const std::string example = text_of_file(std::filesystem::path(BASKWELL_CONFIG_DIR) / "baskwell.toml");
  ASSERT_EQ(folder.findings(example), Lines{});
  int broken = 0;
  for (const char* bad : {"\"Zz ?q\"", "[[1]]", "-1e9"}) {
    for (const auto& [begin, end] : values_in(example)) {
      const Lines found = folder.findings(example.substr(0, begin) + bad + example.substr(end));
      // Some values may be any text: names, addresses.
      broken += found.empty() ? 0 : 1;
      EXPECT_LE(found.size(), 1U) << bad << " for " << example.substr(begin, end - begin) << "\n"
                                  << testing::PrintToString(found);
    }
  }
  EXPECT_GT(broken, 300);  // or the values were not found
}

// Findings of the good room with these lines after it; they begin at line 11.
Lines with(const std::string& more) {
  return SettingsFolder().findings(good_room + more);
}

TEST(OneMistake, OfZoneOrUnitMakesNoSecondInstrument) {
  EXPECT_EQ(with("[enclosures.b]\nprobes = [\n  { topic = \"x\", unit = \"degC\", zone = \"hto\" },\n"
                 "  { topic = \"y\", unit = \"degC\", zone = \"cold\" },\n"
                 "  { topic = \"z\", unit = \"degrees\", zone = \"hot\" },\n"
                 "  { topic = \"u\", unit = \"C\", zone = \"cool\" },\n]\n"),
            lines_of(R"(
room.toml:13:40: error: enclosures.b.probes[1].zone: "hto" is unknown, allowed: hot, middle, cool, hide, water, eggs, room, nearest: hot
room.toml:14:40: error: enclosures.b.probes[2].zone: "cold" is unknown, allowed: hot, middle, cool, hide, water, eggs, room
room.toml:15:25: error: enclosures.b.probes[3].unit: "degrees" is unknown, allowed: degC, degF, K, %RH, lux, W, V
room.toml:16:25: error: enclosures.b.probes[4].unit: "C" is unknown, allowed: degC, degF, K, %RH, lux, W, V
)"));
  // A second one that is told in earnest stays one.
  EXPECT_EQ(with("[enclosures.b]\nprobes = [\n  { topic = \"x\", unit = \"degC\", zone = \"hot\" },\n"
                 "  { topic = \"y\", unit = \"degC\", zone = \"cold\" },\n"
                 "  { topic = \"z\", unit = \"degF\", zone = \"hot\" },\n]\n")
                .size(),
            2U);
}

TEST(OneMistake, OfAnInstrumentIsNotToldOfItsChannels) {
  EXPECT_EQ(with("[instruments.i]\ntopic = \"t\"\ntime = \"/time\"\nenclosure = \"shlef\"\nzone = \"hto\"\n"
                 "channels = [{ pointer = \"/a\", unit = \"C\" }, { pointer = \"/b\", unit = \"V\" }]\n"),
            lines_of(R"(
room.toml:14:13: error: instruments.i.enclosure: there is no enclosure "shlef", allowed: shelf, nearest: shelf
room.toml:15:8: error: instruments.i.zone: "hto" is unknown, allowed: hot, middle, cool, hide, water, eggs, room, nearest: hot
room.toml:16:38: error: instruments.i.channels[1].unit: "C" is unknown, allowed: degC, degF, K, %RH, lux, W, V
)"));
  EXPECT_EQ(
      with("[instruments.light]\ntopic = \"light/{enclosrue}\"\nenclosures = [\"shelf\"]\nunit = \"lux\"\n"
           "zone = \"middle\"\n[instruments.dark]\ntopic = \"{\"\nunit = \"lux\"\nzone = \"room\"\n"),
      lines_of(R"(
room.toml:12:9: error: instruments.light.topic: has a mark in braces that means nothing here, allowed: a topic as "room/shelf-1/hot", + or {enclosure} for one whole level, # for the last levels
room.toml:17:9: error: instruments.dark.topic: has a mark in braces that means nothing here, allowed: a topic as "room/shelf-1/hot", + or {enclosure} for one whole level, # for the last levels
)"));
}

TEST(OneMistake, OfAThermostatIsNotToldOfItsHeaters) {
  EXPECT_EQ(
      with("[heaters.h]\nkind = \"halogen\"\nenclosure = \"shelf\"\n[thermostats.t]\nkind = \"diming\"\n"
           "heater = \"h\"\n"),
      lines_of(R"(
room.toml:15:8: error: thermostats.t.kind: "diming" is unknown, allowed: on-off, pulse-proportional, dimming, nearest: dimming
)"));
  EXPECT_EQ(with("[heaters.h]\nkind = \"mat\"\nenclosure = \"shelf\"\n[thermostats.T_1]\nkind = \"on-off\"\n"
                 "heater = \"h\"\n"),
            lines_of(R"(
room.toml:14:14: error: thermostats.T_1: is no id, allowed: 1 to 40 of a-z, 0-9 and -
)"));
  EXPECT_EQ(with("[heaters.h]\nkind = \"mat\"\nenclosure = \"shelf\"\n[cutouts.c]\nhaeter = \"h\"\n"),
            lines_of(R"(
room.toml:15:1: error: cutouts.c.haeter: unknown key, allowed: name, set_degc, heaters, heater, nearest: heater
)"));
}

TEST(OneMistake, OfAnIdIsNotToldWhereverItIsReferredTo) {
  EXPECT_EQ(
      with("[enclosures.Vivarium_1]\n[animals.a]\nspecies = \"corn-snake\"\nenclosure = \"Vivarium_1\"\n"
           "[racks.r]\ntubs = 0\n[heaters.h]\nkind = \"mat\"\nracks = [\"r\"]\nenclosure = \"r-1\"\n"
           "unregulated_because = \"a trial\"\n[heaters.i]\nkind = \"mat\"\nenclosure = \"vivarium\"\n"
           "unregulated_because = \"a trial\"\n"),
      lines_of(R"(
room.toml:11:13: error: enclosures.Vivarium_1: is no id, allowed: 1 to 40 of a-z, 0-9 and -
room.toml:16:8: error: racks.r.tubs: 0 is out of range, allowed: a whole number from 1 to 200
room.toml:24:13: error: heaters.i.enclosure: there is no enclosure "vivarium", allowed: shelf
)"));
}

TEST(OneMistake, OfAKeyIsNotAlsoAMissingKey) {
  EXPECT_EQ(with("[animals.a]\nspeceis = \"corn-snake\"\nenclosrue = \"shelf\"\n[people.p]\nchanels = []\n"),
            lines_of(R"(
room.toml:12:1: error: animals.a.speceis: unknown key, allowed: name, life_stage, species, sex, hatched, count, bands, enclosure, occupancy, nearest: species
room.toml:13:1: error: animals.a.enclosrue: unknown key, allowed: name, life_stage, species, sex, hatched, count, bands, enclosure, occupancy, nearest: enclosure
room.toml:15:1: error: people.p.chanels: unknown key, allowed: name, channels, waking, nearest: channels
)"));
  // What is missing besides is told.
  EXPECT_EQ(with("[heaters.h]\nunregulated_because = \"x\"\nenclosrue = \"shelf\"\n"), lines_of(R"(
room.toml:11:1: error: heaters.h.kind: is missing, allowed: mat, cable, tape, ceramic, panel, halogen, incandescent, tubular, other
room.toml:13:1: error: heaters.h.enclosrue: unknown key, allowed: name, kind, power_w, socket, enclosures, enclosure, racks, rack, circuit, unregulated_because, nearest: enclosure
)"));
}

TEST(OneMistake, OfFiguresAndTimesIsNotToldAgain) {
  EXPECT_EQ(with("[enclosures.b.bands]\nhot.temperature = { day = [33, 30], harm = [20, 36] }\n"
                 "cool.temperature = { day = [75, 82], harm = [15, 33] }\n"
                 "[animals.a]\nspecies = \"corn-snak\"\nenclosure = \"b\"\n"
                 "bands.hide.light = { night = [0, 1] }\noccupancy = []\n"),
            lines_of(R"(
room.toml:12:27: error: enclosures.b.bands.hot.temperature.day: low 33 is above high 30, allowed: [low, high], nan for no limit on that side
room.toml:13:20: error: enclosures.b.bands.cool.temperature: a figure is out of range, allowed: -20 to 80 degC
room.toml:15:11: error: animals.a.species: there is no care sheet "corn-snak", allowed: bearded-dragon, corn-snake, crested-gecko, hermanns-tortoise, leopard-gecko, royal-python, nearest: corn-snake
room.toml:18:13: error: animals.a.occupancy: says where it lives a second time, allowed: either enclosure or occupancy
)"));
  EXPECT_EQ(with("[animals.a]\nspecies = \"corn-snake\"\noccupancy = [\n"
                 "  { enclosure = \"shelf\", to = \"2026-01-01\" },\n  { enclosure = \"shelf\", from = "
                 "2026-01-01 },\n]\n"),
            lines_of(R"(
room.toml:14:31: error: animals.a.occupancy[1].to: is a text, allowed: a date without quotes, as 2026-03-01, or a date and time
)"));
  EXPECT_EQ(with("[broker]\naddress = \"mqtss://box\"\nca_file = \"care/none.pem\"\n"), lines_of(R"(
room.toml:12:11: error: broker.address: is no broker's address, allowed: mqtt://HOST:PORT or mqtts://HOST:PORT
room.toml:13:11: error: broker.ca_file: there is no file care/none.pem
)"));
}

}  // namespace
}  // namespace baskwell::settings_test
