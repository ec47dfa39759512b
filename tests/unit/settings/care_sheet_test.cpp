// The six care sheets against the reference table of species (tests/reference/species.csv), row by row and
// figure by figure, and against what keepers hold to be right.

#include "settings/care_sheet.h"

#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>

#include "core/care/bands.h"
#include "settings_folder.h"

namespace baskwell::settings {
namespace {

using Row = std::map<std::string, std::string>;

// RFC 4180 fields of one line; the table has no line breaks inside quotes.
std::vector<std::string> fields_of(const std::string& line) {
  std::vector<std::string> fields(1);
  bool quoted = false;
  for (const char c : line) {
    if (c == '"') {
      quoted = !quoted;
    } else if (c == ',' && !quoted) {
      fields.emplace_back();
    } else if (c != '\r') {
      fields.back() += c;
    }
  }
  return fields;
}

std::vector<Row> reference_rows() {
  std::ifstream stream(std::string(BASKWELL_REFERENCE_DIR) + "/species.csv");
  std::string line;
  std::getline(stream, line);  // where the table comes from
  std::getline(stream, line);
  const std::vector<std::string> names = fields_of(line);
  std::vector<Row> rows;
  while (std::getline(stream, line)) {
    const std::vector<std::string> fields = fields_of(line);
    Row row;
    for (std::size_t i = 0; i < names.size() && i < fields.size(); ++i) row[names[i]] = fields[i];
    rows.push_back(std::move(row));
  }
  return rows;
}

struct Pairing {
  const char* sheet;
  const char* stage;
  const char* latin_name;
  const char* life_stage;
  const char* season;
  double cool_harm_high;  // husbandry reference 2.4 (proposals); docs/settings.md for the others
};
const Pairing pairings[] = {
    {"royal-python", "adult", "Python regius", "adult", "normal", 33},
    {"royal-python", "hatchling", "Python regius", "hatchling", "normal", 32},
    {"royal-python", "gravid", "Python regius", "gravid female", "normal", 33},
    {"corn-snake", "adult", "Pantherophis guttatus", "adult", "normal", 32},
    {"leopard-gecko", "adult", "Eublepharis macularius", "adult", "normal", 34},
    {"bearded-dragon", "adult", "Pogona vitticeps", "adult", "normal", 36},
    {"bearded-dragon", "hatchling", "Pogona vitticeps", "hatchling", "normal", 36},
    {"crested-gecko", "adult", "Correlophus ciliatus", "adult", "normal", 28},
    {"crested-gecko", "hatchling", "Correlophus ciliatus", "hatchling", "normal", 26},
    {"hermanns-tortoise", "adult", "Testudo hermanni", "adult", "active season", 35},
};

const Band* band_of(const LifeStage& stage, Zone zone, Quantity quantity) {
  for (const Band& band : stage.bands) {
    if (band.zone == zone && band.quantity == quantity) return &band;
  }
  return nullptr;
}

void expect_range(const Range& range, double low, double high, const std::string& what) {
  EXPECT_EQ(range.low, low) << what;
  EXPECT_EQ(range.high, high) << what;
}

void compare(const LifeStage& stage, const Row& row, const Pairing& pairing) {
  const auto figure = [&](const char* name) { return std::stod(row.at(name)); };
  const std::string what = std::string(pairing.sheet) + ' ' + pairing.stage;
  const double hot_low = figure("hot_day_min_c");
  const double hot_high = figure("hot_day_max_c");
  const double cool_low = figure("cool_day_min_c");
  const double cool_high = figure("cool_day_max_c");
  const double night_low = figure("night_min_c");
  const double night_high = std::max(figure("night_max_c"), cool_high);
  const double harm_low = figure("urgent_low_c");

  const Band* hot = band_of(stage, Zone::hot, Quantity::temperature);
  const Band* middle = band_of(stage, Zone::middle, Quantity::temperature);
  const Band* cool = band_of(stage, Zone::cool, Quantity::temperature);
  ASSERT_TRUE(hot && middle && cool) << what;
  expect_range(hot->day, hot_low, hot_high, what);
  expect_range(hot->night, night_low, hot_high, what);
  expect_range(hot->harm, harm_low, figure("urgent_high_c"), what);
  expect_range(middle->day, cool_low, hot_high, what);
  expect_range(middle->night, night_low, night_high, what);
  expect_range(cool->day, cool_low, cool_high, what);
  expect_range(cool->night, night_low, night_high, what);
  expect_range(cool->harm, harm_low, pairing.cool_harm_high, what);
  EXPECT_LT(cool->harm.high, hot->harm.high) << what << ": the cool end is the refuge";
  for (const Zone zone : {Zone::middle, Zone::cool}) {
    const Band* humidity = band_of(stage, zone, Quantity::humidity);
    ASSERT_TRUE(humidity) << what;
    expect_range(humidity->day, figure("rh_min_pct"), figure("rh_max_pct"), what);
    EXPECT_TRUE(std::isnan(humidity->harm.low) && std::isnan(humidity->harm.high)) << what;
  }
  ASSERT_EQ(stage.photoperiod_h.size(), 2U);
  EXPECT_EQ(stage.photoperiod_h[0], figure("photoperiod_h_min")) << what;
  EXPECT_EQ(stage.photoperiod_h[1], figure("photoperiod_h_max")) << what;
  for (const Band& band : stage.bands) EXPECT_GT(band.source.size(), 10U) << what;
}

TEST(CareSheets, AgreeWithTheReferenceRowByRow) {
  const std::vector<Row> rows = reference_rows();
  ASSERT_EQ(rows.size(), 39U);
  std::vector<Finding> findings;
  CareSheets sheets(findings);
  sheets.look_in(std::filesystem::path(BASKWELL_CONFIG_DIR) / "care");
  EXPECT_EQ(sheets.species().size(), 6U);
  std::size_t stages = 0;
  for (const std::string& species : sheets.species()) {
    const CareSheet* sheet = sheets.find(species);
    ASSERT_TRUE(sheet) << species << ": " << (findings.empty() ? "" : text_of(findings[0]));
    stages += sheet->stages.size();
  }
  EXPECT_EQ(stages, std::size(pairings)) << "every stage has its row below";
  for (const Pairing& pairing : pairings) {
    const Row* found = nullptr;
    for (const Row& row : rows) {
      if (row.at("latin_name") == pairing.latin_name && row.at("life_stage") == pairing.life_stage &&
          row.at("season") == pairing.season)
        found = &row;
    }
    ASSERT_TRUE(found) << pairing.sheet;
    const CareSheet* sheet = sheets.find(pairing.sheet);
    EXPECT_EQ(sheet->latin_name, pairing.latin_name);
    const LifeStage* stage = nullptr;
    for (const LifeStage& one : sheet->stages) stage = one.name == pairing.stage ? &one : stage;
    ASSERT_TRUE(stage) << pairing.sheet << ' ' << pairing.stage;
    compare(*stage, *found, pairing);
  }
  EXPECT_TRUE(findings.empty());
}

// Basking figures of lizards and tortoises are surface figures (species.csv, notes).
TEST(CareSheets, BaskingFiguresAreForSurfaces) {
  std::vector<Finding> findings;
  CareSheets sheets(findings);
  sheets.look_in(std::filesystem::path(BASKWELL_CONFIG_DIR) / "care");
  for (const char* species : {"bearded-dragon", "hermanns-tortoise"}) {
    for (const LifeStage& stage : sheets.find(species)->stages)
      EXPECT_EQ(band_of(stage, Zone::hot, Quantity::temperature)->medium, Medium::surface) << species;
  }
  EXPECT_FALSE(band_of(sheets.find("royal-python")->stages[0], Zone::hot, Quantity::temperature)->medium);
}

struct RoomOf {
  explicit RoomOf(const std::string& species) {
    const settings_test::SettingsFolder folder;
    const LoadOutcome outcome =
        folder.load("room.time_zone = \"UTC\"\nenclosures.box = {}\nanimals.a = { species = \"" + species +
                    "\", enclosure = \"box\" }");
    room = outcome.settings.value().room;
  }
  Wanted at_noon(Zone zone) const {
    const UtcMs noon{12 * hour_ms};
    return segment_at(room, {0, zone, Medium::air, Quantity::temperature}, noon).at(noon);
  }
  Room room;
};

bool is_inside(const Wanted& wanted, double value) {
  return value >= wanted.low && value <= wanted.high;
}

// Common practice, no source: issue 2's facts of the trade.
TEST(CareSheets, HoldWhatKeepersHold) {
  const RoomOf python("royal-python");
  EXPECT_TRUE(is_inside(python.at_noon(Zone::hot), 32));
  EXPECT_TRUE(is_inside(python.at_noon(Zone::middle), 27));
  EXPECT_TRUE(is_inside(python.at_noon(Zone::cool), 24));
  EXPECT_TRUE(is_inside(python.at_noon(Zone::cool), 25));
  EXPECT_FALSE(is_inside(python.at_noon(Zone::hot), 22));
  const RoomOf corn("corn-snake");
  EXPECT_FALSE(is_inside(corn.at_noon(Zone::cool), 29));
  EXPECT_FALSE(is_inside(corn.at_noon(Zone::hot), 22));
}

std::vector<std::string> findings_with_sheet(const std::string& sheet, bool& loaded) {
  const settings_test::SettingsFolder folder;
  folder.write("care/newt.toml", sheet);
  const LoadOutcome outcome = folder.load(
      "room.time_zone = \"UTC\"\nenclosures.box = {}\npeople = {}\nanimals.a = { species = \"newt\", "
      "enclosure = \"box\" }");
  loaded = outcome.settings.has_value();
  return folder.lines(outcome);
}

TEST(CareSheets, AreCheckedWhereTheyStand) {
  bool loaded = true;
  EXPECT_EQ(
      findings_with_sheet("species = \"newt\"\n"
                          "common_name = \"newt\"\n"
                          "[stages.adult.bands.cool.temperature]\n"
                          "day = [18, 14]\n"
                          "harm = [2, 26]\n"
                          "sauce = \"x\"\n",
                          loaded),
      (std::vector<std::string>{
          "care/newt.toml:4:7: error: stages.adult.bands.cool.temperature.day: low 18 is above high 14, "
          "allowed: [low, high], nan for no limit on that side",
          "care/newt.toml:6:1: error: stages.adult.bands.cool.temperature.sauce: unknown key, allowed: "
          "medium, "
          "day, night, harm, source, evidence, nearest: source"}));
  EXPECT_FALSE(loaded);
  EXPECT_EQ(
      findings_with_sheet(
          "species = \"newt\"\n"
          "common_name = \"newt\"\n"
          "stages.adult.bands.cool.temperature = { day = [14, 27], harm = [2, 26], source = \"x\" }\n",
          loaded),
      (std::vector<std::string>{"care/newt.toml:3:39: error: stages.adult.bands.cool.temperature: the target "
                                "band reaches beyond the harm limits, allowed: bands inside 2 to 26"}));
  EXPECT_EQ(findings_with_sheet("= 3\n", loaded).size(), 1U);
  EXPECT_TRUE(
      findings_with_sheet(
          "species = \"newt\"\n"
          "common_name = \"newt\"\n"
          "stages.adult.bands.cool.temperature = { day = [14, 20], harm = \"none\", source = \"x\" }\n",
          loaded)
          .empty());
  EXPECT_TRUE(loaded);
}

TEST(CareSheets, OwnFiguresGoOverTheSheetFigureByFigure) {
  const settings_test::SettingsFolder folder;
  const LoadOutcome outcome = folder.load(
      "room.time_zone = \"UTC\"\nenclosures.box = {}\n[animals.a]\nspecies = \"bearded-dragon\"\nenclosure = "
      "\"box\"\n"
      "bands.hot.temperature = { day = [36, 40] }\n"
      "bands.water.temperature = { day = [20, 25], harm = \"none\" }\n");
  ASSERT_TRUE(outcome.settings) << folder.lines(outcome)[0];
  const std::vector<Band>& bands = outcome.settings->room.animals[0].bands;
  EXPECT_EQ(bands.front().zone, Zone::hot);
  EXPECT_EQ(bands.front().medium, Medium::surface);
  expect_range(bands.front().day, 36, 40, "the keeper's");
  expect_range(bands.front().night, 16, 42, "the sheet's");
  expect_range(bands.front().harm, 10, 46, "the sheet's");
  EXPECT_EQ(bands.back().zone, Zone::water);
  expect_range(bands.back().night, 20, 25, "as by day");
}

}  // namespace
}  // namespace baskwell::settings
