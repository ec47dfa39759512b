// What is judged as one: heaters, thermostats, cut-outs and the enclosures they feed.

#include "core/heat/unit.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "room_builder.h"

namespace baskwell::heat {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

struct Heated {
  test::RoomBuilder builder;
  Index heater(const std::string& id, std::vector<Index> enclosures) {
    Heater made;
    made.id = id;
    made.enclosures = std::move(enclosures);
    builder.room.heaters.push_back(made);
    return static_cast<Index>(builder.room.heaters.size() - 1);
  }
  void thermostat(const std::string& id, std::vector<Index> heaters) {
    Thermostat made;
    made.id = id;
    made.heaters = std::move(heaters);
    builder.room.thermostats.push_back(made);
  }
  [[nodiscard]] std::vector<Unit> units() const { return units_of(builder.room); }
};

TEST(HeatUnits, ARoomWithoutHeatersHasNone) {
  Heated one;
  one.builder.enclosure("shelf-1");
  EXPECT_THAT(one.units(), IsEmpty());
}

TEST(HeatUnits, AThermostatWithSeveralHeatersIsOneNamedAfterItsOnlyEnclosure) {
  Heated one;
  const Index shelf = one.builder.enclosure("shelf-1");
  const Index mat = one.heater("mat", {shelf});
  const Index ceramic = one.heater("ceramic", {shelf});
  one.thermostat("thermostat", {mat, ceramic});
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(1));
  EXPECT_EQ(units[0].id, "shelf-1");
  EXPECT_EQ(units[0].thermostat, 0U);
  EXPECT_THAT(units[0].heaters, ElementsAre(mat, ceramic));
  EXPECT_THAT(units[0].enclosures, ElementsAre(shelf));
  EXPECT_FALSE(units[0].has_cut_out);
}

// Two cables, the second on more tubs than the first, one of them on both; told in no order.
TEST(HeatUnits, ARackIsOneWithEachTubOnceInOrder) {
  Heated one;
  std::vector<Index> tubs;
  for (const char* id : {"tub-a", "tub-b", "tub-c", "tub-d"}) tubs.push_back(one.builder.enclosure(id));
  const Index upper = one.heater("upper", {tubs[3], tubs[1]});
  const Index lower = one.heater("lower", {tubs[2], tubs[1], tubs[0]});
  one.thermostat("rack-thermostat", {upper, lower});
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(1));
  EXPECT_EQ(units[0].id, "rack-thermostat");
  EXPECT_THAT(units[0].enclosures, ElementsAre(tubs[0], tubs[1], tubs[2], tubs[3]));
}

TEST(HeatUnits, AHeaterWithoutAThermostatIsOneOfItsOwn) {
  Heated one;
  const Index left = one.builder.enclosure("left");
  const Index right = one.builder.enclosure("right");
  one.heater("lamp", {right});
  const Index panel = one.heater("panel", {left, right});
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(2));
  EXPECT_EQ(units[0].id, "right");
  EXPECT_EQ(units[0].thermostat, none);
  EXPECT_EQ(units[1].id, "panel");
  EXPECT_THAT(units[1].heaters, ElementsAre(panel));
}

TEST(HeatUnits, TwoHeatersOfOneEnclosureEachItsOwnAreToldApart) {
  Heated one;
  const Index shelf = one.builder.enclosure("shelf-1");
  const Index mat = one.heater("mat", {shelf});
  const Index lamp = one.heater("lamp", {shelf});
  const Index night = one.heater("night-panel", {shelf});
  one.thermostat("mat-thermostat", {mat});
  one.thermostat("lamp-thermostat", {lamp});
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(3));
  EXPECT_EQ(units[0].id, "shelf-1");
  EXPECT_EQ(units[1].id, "lamp-thermostat");
  EXPECT_EQ(units[2].id, "night-panel");
  EXPECT_THAT(units[2].heaters, ElementsAre(night));
}

TEST(HeatUnits, AHeaterThatHeatsNothingIsNotJudged) {
  Heated one;
  const Index shelf = one.builder.enclosure("shelf-1");
  const Index spare = one.heater("spare", {});
  one.thermostat("spare-thermostat", {spare});
  one.heater("mat", {shelf});
  one.heater("unplugged", {});
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(1));
  EXPECT_EQ(units[0].id, "shelf-1");
}

TEST(HeatUnits, ACutOutCountsForTheUnitWhoseHeaterItCuts) {
  Heated one;
  const Index left = one.builder.enclosure("left");
  const Index right = one.builder.enclosure("right");
  const Index mat = one.heater("mat", {left});
  const Index ceramic = one.heater("ceramic", {left});
  const Index lamp = one.heater("lamp", {right});
  one.thermostat("left-thermostat", {mat, ceramic});
  one.thermostat("right-thermostat", {lamp});
  CutOut cut_out;
  cut_out.id = "cut-out";
  cut_out.heaters = {ceramic};
  one.builder.room.cut_outs.push_back(cut_out);
  const auto units = one.units();
  ASSERT_THAT(units, SizeIs(2));
  EXPECT_TRUE(units[0].has_cut_out);
  EXPECT_FALSE(units[1].has_cut_out);
}

}  // namespace
}  // namespace baskwell::heat
