// The harness itself: the twin, the seeds, and that the same request gives the same result.
#include <gtest/gtest.h>

#include <set>

#include "demoroom/demo_room.h"
#include "scenarios/room_draw.h"
#include "scenarios/table.h"
#include "scenarios/truth.h"

namespace baskwell::scenarios {
namespace {

constexpr std::uint64_t kAnySeed = 20261125;

TEST(Seeds, OfTuningAndReportingNeverMeet) {
  std::set<std::uint64_t> all;
  std::size_t count = 0;
  for (const SeedSet set : {SeedSet::tuning, SeedSet::reporting}) {
    for (const bool healthy : {false, true}) {
      for (int i = 0; i < 20'000; ++i, ++count) all.insert(episode_seed(set, healthy, i));
    }
  }
  EXPECT_EQ(all.size(), count);
}

class Twin : public testing::Test {
 protected:
  Twin()
      : drawn_(draw_room(kAnySeed, draw_swarm(demoroom::Rng(kAnySeed), false))),
        room_(drawn_.sim, kAnySeed, drawn_.start_ms, drawn_.local_offset_s) {
    room_.run_until(drawn_.start_ms + 2 * day_ms, {});
    fault_.planned.kind = AlarmKind::not_heating;
    fault_.planned.unit = 0;
    fault_.planned.start_ms = room_.now_ms();
  }
  void live(demoroom::DemoRoom& twin, std::int64_t minutes) {
    RunningTruth truth(fault_, drawn_);
    for (std::int64_t i = 0; i < minutes; ++i) {
      room_.run_until(room_.now_ms() + minute_ms, {});
      twin.run_until(room_.now_ms(), {});
      truth.look(room_, twin);
    }
    truth.finish();
  }

  DrawnRoom drawn_;
  demoroom::DemoRoom room_;
  FaultResult fault_;
};

TEST_F(Twin, DoesTheSameWithoutAFault) {
  demoroom::DemoRoom twin = room_;
  const demoroom::FaultCommand door{demoroom::FaultKind::door_open, drawn_.units[0].target, 10.0, 10.0};
  const std::int64_t at_ms = room_.now_ms() + hour_ms;
  ASSERT_TRUE(room_.schedule(at_ms, door).ok());
  ASSERT_TRUE(twin.schedule(at_ms, door).ok());
  live(twin, 1440);
  EXPECT_FALSE(fault_.counts);
  for (std::size_t i = 0; i < room_.enclosures().size(); ++i) {
    for (const auto place : {demoroom::Place::hot_surface, demoroom::Place::cool_air}) {
      EXPECT_EQ(room_.enclosures()[i].at_degc(place), twin.enclosures()[i].at_degc(place));
    }
  }
}

TEST_F(Twin, DiffersUnderAFault) {
  demoroom::DemoRoom twin = room_;
  const demoroom::FaultCommand off{demoroom::FaultKind::heater_off, drawn_.units[0].target, 0.0, 720.0};
  ASSERT_TRUE(room_.schedule(room_.now_ms(), off).ok());
  live(twin, 720);
  EXPECT_TRUE(fault_.counts);
  EXPECT_GT(fault_.effect_k, 2.0);
  EXPECT_GE(fault_.onset_ms, fault_.planned.start_ms);
}

TEST(Episode, IsTheSameForTheSameSeed) {
  EpisodeRequest request;
  request.seed = episode_seed(SeedSet::tuning, false, 3);
  request.plan.days = 12;
  const EpisodeResult once = run_episode(request);
  const EpisodeResult again = run_episode(request);
  EXPECT_GT(once.readings, 0);
  EXPECT_EQ(once.readings, again.readings);
  EXPECT_EQ(once.room_text, again.room_text);
  EXPECT_EQ(csv_lines({once}), csv_lines({again}));
  request.seed = episode_seed(SeedSet::tuning, false, 4);
  EXPECT_NE(run_episode(request).room_text, once.room_text);
}

}  // namespace
}  // namespace baskwell::scenarios
