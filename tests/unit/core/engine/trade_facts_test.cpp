// Facts of the trade through the whole of core: common practice, no source. Bands: room_builder.h.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "engine/scene.h"

namespace baskwell {
namespace {

using test::Scene;
using test::ThreeProbes;
using testing::IsEmpty;

// Common practice, no source: a royal python's hot spot at 32 with 27 in the middle and 24 to 25 at the cool
// end is a well kept enclosure, by day and night, whatever the season's clock does.
TEST(TradeFacts, AWellKeptRoyalPythonRaisesNothing) {
  for (const std::string_view start :
       {"2026-06-10T00:00:00Z", "2026-03-28T12:00:00Z", "2026-10-24T12:00:00Z"}) {
    const ThreeProbes three;
    Scene scene(three.builder.done(), start);
    for (int minute = 0; minute < 48 * 60; ++minute) {
      scene.hear(three.hot, minute % 3 == 0 ? "32.0" : "31.9375");
      scene.hear(three.middle, minute % 2 == 0 ? "27.0" : "26.9375");
      const auto sixteenths =
          static_cast<std::int64_t>(std::lround(24.5 * 16 + 8 * std::sin(minute / 200.0)));
      scene.hear(three.cool, to_text({sixteenths * 625, 4}));
      scene.pass(minute_ms);
    }
    EXPECT_THAT(scene.news(), IsEmpty()) << start;
    for (const StoredReading& reading : scene.effects.readings) ASSERT_EQ(reading.quality, Quality::good);
  }
}

// Common practice, no source: 29 at the cool end leaves a corn snake nowhere to cool down.
TEST(TradeFacts, AWarmCoolEndOfACornSnakeIsNoRefuge) {
  const ThreeProbes three(test::corn_snake());
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 30}, {three.middle, 27}, {three.cool, 29}}, 2 * hour_ms);
  ASSERT_EQ(scene.effects.transitions.size(), 1U);
  const TransitionRecord& raised = scene.effects.transitions.front();
  EXPECT_EQ(raised.kind, AlarmKind::no_refuge);
  EXPECT_EQ(raised.subject, "shelf-1/cool/air/temperature");
  EXPECT_EQ(raised.limit, 26.0);
  EXPECT_EQ(raised.priority, Priority::medium);
  EXPECT_EQ(raised.at, test::utc("2026-06-10T11:30:00Z"));
  EXPECT_THAT(scene.effects.messages.front().headline, testing::HasSubstr("29.0"));
}

// Common practice, no source: 22 on the hot spot by day is a heater that has failed.
TEST(TradeFacts, AColdHotSpotByDayIsTooCold) {
  const ThreeProbes three;
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 22}, {three.middle, 24.5}, {three.cool, 24.5}}, 2 * hour_ms);
  ASSERT_EQ(scene.effects.transitions.size(), 1U);
  EXPECT_EQ(scene.effects.transitions.front().kind, AlarmKind::too_cold);
  EXPECT_EQ(scene.effects.transitions.front().limit, 30.0);
  EXPECT_EQ(scene.effects.transitions.front().at, test::utc("2026-06-10T11:45:00Z"));
}

// The same 22 at night is what the animal should have.
TEST(TradeFacts, TheSameAtNightIsRight) {
  const ThreeProbes three;
  Scene scene(three.builder.done(), "2026-06-10T20:00:00Z");  // 21:00 local: the ramp is over
  scene.keep({{three.hot, 22.5}, {three.middle, 22.5}, {three.cool, 22.5}}, 9 * hour_ms);
  EXPECT_THAT(scene.news(), IsEmpty());
}

// After lights-on the hot spot has its ramp and the on-delay to come up: an hour from 23 to 32 is no fault.
TEST(TradeFacts, AMorningsWarmingUpRaisesNothing) {
  const ThreeProbes three;
  Scene scene(three.builder.done(), "2026-06-10T06:00:00Z");  // 07:00 local, lights on at 08:00
  for (int minute = 0; minute < 240; ++minute) {
    const double share = std::min(1.0, std::max(0.0, (minute - 60) / 70.0));
    scene.hear(three.hot, to_text({std::lround((23 + 9 * share) * 100) + minute % 2, 2}));
    scene.hear(three.cool, to_text({2450 + minute % 2, 2}));
    scene.pass(minute_ms);
  }
  scene.keep(three.middle, 25, minute_ms);
  for (const TransitionRecord& record : scene.effects.transitions)
    EXPECT_EQ(record.kind, AlarmKind::probe_silent) << test::text_of(record);  // the middle said nothing
}

TEST(TradeFacts, HumidityIsItsOwn) {
  ThreeProbes three;
  const Index damp = three.builder.probe("damp-probe", three.enclosure, Zone::middle, Quantity::humidity);
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 32}, {three.middle, 27}, {three.cool, 25}, {damp, 40}}, 4 * hour_ms);
  ASSERT_EQ(scene.effects.transitions.size(), 1U);
  EXPECT_EQ(scene.effects.transitions.front().kind, AlarmKind::too_dry);
  EXPECT_EQ(scene.effects.transitions.front().priority, Priority::low);
  EXPECT_THAT(scene.effects.messages, IsEmpty());  // `low` is for the page and the report
}

TEST(TradeFacts, AnEmptyEnclosureRaisesNoBandAlarm) {
  ThreeProbes three;
  three.builder.room.occupancies.clear();
  Scene scene(three.builder.done());
  scene.keep({{three.hot, 15}, {three.middle, 15}, {three.cool, 35}}, 6 * hour_ms);
  EXPECT_THAT(scene.news(), IsEmpty());
}

}  // namespace
}  // namespace baskwell
