// The example files: how short they are, that nothing is wrong with them, and what they say.

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <sstream>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

const std::filesystem::path config = BASKWELL_CONFIG_DIR;

std::ptrdiff_t line_count(const std::filesystem::path& file) {
  const std::string text = text_of_file(file);
  return std::count(text.begin(), text.end(), '\n');
}

void expect_clean(const LoadOutcome& outcome) {
  for (const Finding& finding : outcome.findings) ADD_FAILURE() << text_of(finding);
  ASSERT_TRUE(outcome.settings);
}

TEST(Examples, OneEnclosureFitsInUnder25Lines) {
  const std::filesystem::path file = config / "examples/one-enclosure.toml";
  EXPECT_LT(line_count(file), 25);
  const LoadOutcome outcome = load_settings(file);
  ASSERT_NO_FATAL_FAILURE(expect_clean(outcome));
  const Room& room = outcome.settings->room;
  EXPECT_EQ(room.enclosures.size(), 1U);
  EXPECT_EQ(room.animals.size(), 1U);
  EXPECT_EQ(room.channels.size(), 3U);
  EXPECT_EQ(room.heaters.size(), 1U);
  ASSERT_EQ(room.thermostats.size(), 1U);
  EXPECT_EQ(room.thermostats[0].probe_enclosure, 0U);
  EXPECT_EQ(room.animals[0].species_name, "royal python");
  EXPECT_TRUE(capabilities(*outcome.settings, UtcMs{0}).empty()) << "three probes are enough for every alarm";
}

TEST(Examples, RackOfTwentyTubsFitsInUnder25Lines) {
  const std::filesystem::path file = config / "examples/rack.toml";
  EXPECT_LT(line_count(file), 25);
  const LoadOutcome outcome = load_settings(file);
  ASSERT_NO_FATAL_FAILURE(expect_clean(outcome));
  const Room& room = outcome.settings->room;
  ASSERT_EQ(room.enclosures.size(), 20U);
  EXPECT_EQ(room.enclosures[6].id, "north-7");
  EXPECT_EQ(room.enclosures[6].name, "North rack tub 7");
  EXPECT_EQ(room.animals.size(), 20U);
  EXPECT_EQ(room.animals[6].name, "Corn 7");
  ASSERT_EQ(room.heaters.size(), 1U);
  EXPECT_EQ(room.heaters[0].enclosures.size(), 20U);
  ASSERT_EQ(outcome.settings->probes.size(), 3U);
  for (const ProbeSource& source : outcome.settings->probes) EXPECT_EQ(source.filter, "racks/north/+/air");
  EXPECT_EQ(outcome.settings->probes[1].topic, "racks/north/10/air");
  EXPECT_EQ(capabilities(*outcome.settings, UtcMs{0}).size(), 20U);
}

// Every key there is, and no finding.
TEST(Examples, TheCommentedExampleIsClean) {
  const LoadOutcome outcome = load_settings(config / "baskwell.toml");
  ASSERT_NO_FATAL_FAILURE(expect_clean(outcome));
  const Settings& settings = *outcome.settings;
  EXPECT_EQ(settings.files.size(), 4U);  // the file, and the sheets of python, corn snake and dragon
  EXPECT_EQ(settings.files[0].text, text_of_file(config / "baskwell.toml"));
  EXPECT_EQ(settings.store.commit_interval_ms, 1000);
  EXPECT_EQ(settings.channels[1].settings[0].key, "url");
  EXPECT_EQ(settings.presences.size(), 2U);
}

TEST(Examples, TheDemoRoomIsCleanAndAsItsSimulatorSaysItIs) {
  std::string text = text_of_file(config / "demo/room.toml.in");
  const SettingsFolder folder;
  const std::map<std::string, std::string> values{{"@BROKER_PORT@", "1884"},
                                                  {"@SMTP_PORT@", "2525"},
                                                  {"@FOLDER@", folder.path().string()},
                                                  {"@CARE@", (config / "care").string()}};
  for (const auto& [mark, value] : values) {
    ASSERT_NE(text.find(mark), std::string::npos) << mark;
    for (std::size_t at = text.find(mark); at != std::string::npos; at = text.find(mark))
      text.replace(at, mark.size(), value);
  }
  EXPECT_EQ(text.find('@', text.find("[broker]")), text.find("@example.org")) << "a mark is left";
  const LoadOutcome outcome = folder.load(text);
  ASSERT_NO_FATAL_FAILURE(expect_clean(outcome));
  const Settings& settings = *outcome.settings;
  EXPECT_EQ(settings.broker.port, 1884);
  EXPECT_EQ(settings.room.enclosures.size(), 20U);
  EXPECT_EQ(settings.room.people.size(), 2U);
  EXPECT_EQ(settings.presences.size(), 1U);

  // Every id and every topic of the settings stands in the simulator's own description.
  const std::string readme =
      text_of_file(std::filesystem::path(BASKWELL_SOURCE_DIR) / "tests/demoroom/README.md");
  const auto expect_told = [&](const std::string& name) {
    EXPECT_NE(readme.find(name), std::string::npos) << name;
  };
  for (const Heater& heater : settings.room.heaters) expect_told(heater.id);
  for (const Thermostat& thermostat : settings.room.thermostats) expect_told(thermostat.id);
  for (const CutOut& cut_out : settings.room.cut_outs) expect_told(cut_out.id);
  for (const Circuit& circuit : settings.room.circuits) expect_told(circuit.id);
  for (const ProbeSource& source : settings.probes) {
    expect_told('`' + source.topic + '`');
    for (const SourceChannel& channel : source.channels) {
      if (!channel.pointer.empty()) expect_told('`' + channel.pointer + '`');
    }
  }
}

}  // namespace
}  // namespace baskwell::settings_test
