// What is not wrong but doubtful: a warning with its exact line, and settings all the same. And what an
// enclosure cannot have for want of a probe.

#include <gtest/gtest.h>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

using Lines = std::vector<std::string>;

// Warnings of the good room with these lines after it (from line 11); expects that it loads.
Lines warnings(const std::string& more) {
  const SettingsFolder folder;
  const LoadOutcome outcome = folder.load(good_room + more);
  EXPECT_TRUE(outcome.settings);
  for (const Finding& finding : outcome.findings) EXPECT_FALSE(finding.error);
  return folder.lines(outcome);
}

std::string heating(const std::string& heater, const std::string& thermostat) {
  return "[heaters.h]\nkind = \"" + heater + "\"\nenclosure = \"shelf\"\n[thermostats.t]\nkind = \"" +
         thermostat + "\"\nheater = \"h\"\n";
}

// Husbandry reference 3.1.
TEST(Warnings, ThermostatsThatDoNotFitTheirHeaters) {
  const struct {
    const char* heater;
    const char* thermostat;
    bool fits;
  } pairs[] = {{"halogen", "dimming", true},
               {"halogen", "on-off", false},
               {"halogen", "pulse-proportional", false},
               {"incandescent", "dimming", true},
               {"incandescent", "pulse-proportional", false},
               {"ceramic", "pulse-proportional", true},
               {"ceramic", "on-off", false},
               {"panel", "pulse-proportional", true},
               {"panel", "dimming", true},
               {"panel", "on-off", false},
               {"tubular", "on-off", false},
               {"mat", "on-off", true},
               {"mat", "pulse-proportional", true},
               {"tape", "on-off", true},
               {"cable", "pulse-proportional", true},
               {"other", "on-off", true}};
  for (const auto& pair : pairs)
    EXPECT_EQ(warnings(heating(pair.heater, pair.thermostat)).empty(), pair.fits)
        << pair.heater << pair.thermostat;
  EXPECT_EQ(warnings(heating("halogen", "on-off")), lines_of(R"(
room.toml:14:14: warning: thermostats.t: does not fit the halogen heater h: an on-off thermostat makes a lamp flash and wears it out, allowed: dimming
)"));
}

TEST(Warnings, LampsUnderAThermostatAreAnError) {
  EXPECT_EQ(SettingsFolder().findings(std::string(good_room) +
                                      "[lamps.uv]\nkind = \"uvb\"\nenclosure = \"shelf\"\n"
                                      "[thermostats.t]\nkind = \"dimming\"\nheater = \"uv\"\n"),
            lines_of(R"(
room.toml:16:10: error: thermostats.t.heater: "uv" is a lamp, which no thermostat may dim or switch, allowed: a heater (a basking lamp that heats is one)
)"));
}

TEST(Warnings, HeatersThatNothingRegulates) {
  const std::string lamp = "[heaters.spot]\nkind = \"halogen\"\nenclosure = \"shelf\"\n";
  EXPECT_EQ(warnings(lamp), lines_of(R"(
room.toml:11:10: warning: heaters.spot: is a lamp that heats, with neither thermostat nor cut-out, allowed: a thermostat, a cut-out, or the keeper's reason in unregulated_because
)"));
  EXPECT_EQ(warnings(lamp + "unregulated_because = \"a timer\"\n"), Lines{});
  EXPECT_EQ(warnings(lamp + "[cutouts.c]\nheater = \"spot\"\n"), Lines{});
}

TEST(Warnings, CutOutsThatOpenTooEarly) {
  EXPECT_EQ(
      warnings(heating("mat", "on-off") + "set_day_degc = 31.5\nset_night_degc = 28\n[cutouts.c]\nset_degc = "
                                          "31\nheater = \"h\"\n"),
      lines_of(R"(
room.toml:19:10: warning: cutouts.c: opens at 31 degC, not above the setting of t, allowed: above 31.5 degC
)"));
}

TEST(Warnings, AirProbesUnderALamp) {
  const std::string lamp = heating("halogen", "dimming");
  const std::string probe =
      "[instruments.i]\ntopic = \"t\"\nunit = \"degC\"\nenclosure = \"shelf\"\nzone = \"hot\"\n";
  EXPECT_EQ(warnings(lamp + probe), lines_of(R"(
room.toml:17:1: warning: instruments.i: an air probe in the hot zone under the lamp h reads high, by 3 to 10 degC, allowed: medium = "surface" for a basking figure, or a shielded probe elsewhere
)"));
  EXPECT_EQ(warnings(lamp + probe + "medium = \"surface\"\n"), Lines{});
  EXPECT_EQ(warnings(heating("mat", "on-off") + probe), Lines{});
}

TEST(Warnings, NobodyToTellAndAnimalsNowhere) {
  EXPECT_EQ(SettingsFolder().findings("room.time_zone = \"UTC\"\nanimals.a.species = \"corn-snake\"\n"),
            lines_of(R"(
room.toml:1:1: warning: people: there is nobody to tell, allowed: people.ID with a channel
room.toml:2:9: warning: animals.a: lives in no enclosure, its bands are watched nowhere, allowed: enclosure or occupancy
)"));
}

TEST(Warnings, CompanyThatNothingSuits) {
  const std::string guest = "[animals.ash]\nspecies = \"crested-gecko\"\n";
  EXPECT_EQ(warnings(guest + "enclosure = \"shelf\"\n"), lines_of(R"(
room.toml:11:10: warning: animals.ash: wants what juniper in the same enclosure must not have: no hot temperature suits both, allowed: bands of the enclosure's own, or another enclosure
)"));
  const std::string stay = "occupancy = { enclosure = \"shelf\", from = 2026-01-01 }\n";
  EXPECT_EQ(warnings(guest + stay).size(), 1U);
  // Two of a kind agree, and so do an animal and the one that came when it had gone.
  EXPECT_EQ(warnings("[animals.ash]\nspecies = \"royal-python\"\nenclosure = \"shelf\"\n"), Lines{});
}

TEST(Warnings, HoursOfLight) {
  EXPECT_EQ(warnings("[enclosures.b]\nlights = { on = \"06:00\", off = \"21:30\" }\n[animals.a]\nspecies = "
                     "\"corn-snake\"\nenclosure = \"b\"\n"),
            lines_of(R"(
room.toml:13:10: warning: animals.a: has 15.5 h of light in b, allowed: 12 to 14 h by its care sheet
)"));
}

std::string probe(const std::string& name, const std::string& unit, const std::string& zone,
                  const std::string& medium = "air") {
  return "[instruments." + name + "]\ntopic = \"" + name + "\"\nunit = \"" + unit +
         "\"\nenclosure = \"shelf\"\nzone = \"" + zone + "\"\nmedium = \"" + medium + "\"\n";
}

Lines missing(const std::string& more) {
  const SettingsFolder folder;
  const LoadOutcome outcome = folder.load(good_room + more);
  Lines all;
  for (const EnclosureCapability& one : capabilities(outcome.settings.value(), UtcMs{0})) {
    if (one.empty) all.push_back(outcome.settings->room.enclosures[one.enclosure].id + " is empty");
    for (const MissingAlarm& alarm : one.missing)
      all.push_back(std::string(row_of(alarm.kind).name) + ' ' + alarm.zone + ": " + alarm.why);
  }
  return all;
}

TEST(Capabilities, NameWhatNoProbeTells) {
  EXPECT_EQ(missing(""), lines_of(R"(
too-cold : no temperature probe
too-hot : no temperature probe
no-refuge : no temperature probe
too-dry : no humidity probe
too-damp : no humidity probe
)"));
  const std::string hot = probe("hot", "degC", "hot");
  const std::string cool = probe("cool", "degF", "cool");
  EXPECT_EQ(missing(hot + probe("rh", "%RH", "cool")), lines_of(R"(
too-cold cool: no temperature probe at the cool end
no-refuge cool: no temperature probe at the cool end
)"));
  EXPECT_EQ(missing(hot + cool), lines_of(R"(
too-dry : no humidity probe
too-damp : no humidity probe
)"));
  EXPECT_EQ(missing(hot + cool + probe("rh", "%RH", "hot")), lines_of(R"(
too-dry : no humidity band in the hot zone
too-damp : no humidity band in the hot zone
)"));
  EXPECT_EQ(missing(hot + cool + probe("rh", "%RH", "middle")), Lines{});
  EXPECT_EQ(missing(hot + cool + probe("rh", "%RH", "middle") + "[enclosures.spare]\n"),
            Lines{"spare is empty"});
}

TEST(Capabilities, AMediumThatDoesNotFitIsNoProbe) {
  const std::string dragon =
      "room.time_zone = \"UTC\"\npeople = {}\nenclosures.shelf = {}\n"
      "animals.a = { species = \"bearded-dragon\", enclosure = \"shelf\" }\n";
  const SettingsFolder folder;
  const LoadOutcome outcome =
      folder.load(dragon + probe("hot", "degC", "hot") + probe("cool", "degC", "cool"));
  const auto all = capabilities(outcome.settings.value(), UtcMs{0});
  ASSERT_EQ(all.size(), 1U);
  EXPECT_EQ(all[0].missing[0].why,
            "the temperature band in the hot zone is one for surface, the probe lies in air");
}

}  // namespace
}  // namespace baskwell::settings_test
