// What an alarm calls heaters, animals and the last figure of a probe.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "engine/scene.h"

namespace baskwell {
namespace {

using test::Scene;
using test::ThreeProbes;
using testing::ElementsAre;

Index add_heater(Room& room, Index enclosure, const std::string& id, const std::string& name,
                 const std::string& kind, const std::string& socket) {
  Heater heater;
  heater.id = id;
  heater.name = name;
  heater.kind = kind;
  heater.socket = socket;
  heater.enclosures = {enclosure};
  room.heaters.push_back(heater);
  return static_cast<Index>(room.heaters.size() - 1);
}

AlarmView only_alarm(const Scene& scene) {
  const RoomView view = scene.engine->view(scene.now);
  if (view.alarms.size() == 1) return view.alarms.front();
  ADD_FAILURE() << view.alarms.size() << " alarms";
  return {};
}

AlarmView cold(const ThreeProbes& three) {
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 22}, {three.middle, 24.5}, {three.cool, 24.5}}, 2 * hour_ms);
  return only_alarm(scene);
}

// The settings put the id into the name where the keeper gave none.
TEST(View, CallsAHeaterByItsNameOrByWhatItIs) {
  ThreeProbes three;
  Room& room = three.builder.room;
  const Index where = three.enclosure;
  add_heater(room, where, "mat-1", "mat-1", "mat", "4");
  add_heater(room, where, "c", "c", "ceramic", "S2");
  add_heater(room, where, "l", "l", "halogen", "left socket");
  add_heater(room, where, "p", "p", "panel", "");
  add_heater(room, where, "x", "x", "other", "Plug 3");
  add_heater(room, where, "n", "Old Faithful", "tubular", "7");
  add_heater(room, where, "m", "the big one", "cable", "");
  EXPECT_THAT(
      cold(three).heaters,
      ElementsAre("heat mat at socket 4", "ceramic heater at socket S2", "halogen lamp at left socket",
                  "heat panel p", "heater at Plug 3", "Old Faithful at socket 7", "the big one"));
}

TEST(View, TellsTheSpeciesOfAlikeAnimalsOnce) {
  ThreeProbes three;  // one animal lives there already
  const std::string first = three.builder.room.animals.front().name;
  const auto add = [&](const std::string& name, const std::string& species) {
    const Index animal = three.builder.animal(name, {}, three.enclosure);
    three.builder.room.animals[animal].species_name = species;
  };
  three.builder.room.animals.front().species_name = "royal python";
  EXPECT_EQ(cold(three).animal, first + ", royal python");
  EXPECT_EQ(cold(three).animal_names, first);
  add("Lena", "royal python");
  add("Lola", "royal python");
  add("Lisa", "royal python");
  EXPECT_EQ(cold(three).animal, first + ", Lena, Lola and 1 more, royal python");
  EXPECT_EQ(cold(three).animal_names, first + ", Lena, Lola and 1 more");
  add("Moss", "crested gecko");
  EXPECT_EQ(cold(three).animal, first + ", Lena, Lola, royal python and 2 more");
}

TEST(View, GivesTheLastGoodFigureOfASilentProbe) {
  const ThreeProbes three;
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 31}, {three.middle, 27}, {three.cool, 25}}, 10 * minute_ms);
  scene.keep({{three.hot, 31}, {three.middle, 27}}, 40 * minute_ms);
  const AlarmView alarm = only_alarm(scene);
  EXPECT_EQ(alarm.kind, AlarmKind::probe_silent);
  EXPECT_EQ(alarm.zone, "cool end");
  EXPECT_NEAR(alarm.value, 25, 0.1);
  ASSERT_FALSE(scene.effects.messages.empty());
  EXPECT_THAT(scene.effects.messages.front().headline, testing::HasSubstr("cool end probe silent, last 25."));
}

}  // namespace
}  // namespace baskwell
