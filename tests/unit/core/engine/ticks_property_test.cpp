// The outcome does not depend on how often time is told, and nothing grows with the number of readings.

#include <gtest/gtest.h>

#include <algorithm>

#include "engine/random_room.h"
#include "engine/scene.h"
#include "seed.h"

namespace baskwell {
namespace {

using test::stamp_of;

std::vector<std::string> lines_of(const Effects& effects) {
  std::vector<std::string> lines;
  for (const TransitionRecord& record : effects.transitions) lines.push_back(test::text_of(record));
  for (const MessageDraft& message : effects.messages) lines.push_back(test::text_of(message));
  for (const std::string& occurrence : effects.withdrawn) lines.push_back("withdrawn " + occurrence);
  return lines;
}

TEST(Ticks, ChangeNothing) {
  const std::uint64_t seed = test::announced_seed();
  std::size_t transitions = 0;
  for (std::uint64_t round = 0; round < 12; ++round) {
    std::mt19937_64 random(seed + round);
    const auto room = test::random_room(random);
    const std::vector<Event> events = test::random_events(random, *room, 2500);

    Engine plain(room, test::random_start);
    Effects wanted;
    for (const Event& event : events) plain.step(event, wanted);

    Engine ticked(room, test::random_start);
    Effects found;
    Stamp last = test::random_start;
    for (const Event& event : events) {
      const Stamp next = stamp_of(event);
      const auto* clock = std::get_if<ClockEvent>(&event);
      std::int64_t left_ms = clock != nullptr && clock->step_ms != 0 ? 0 : next.elapsed - last.elapsed;
      while (left_ms > 0 && !test::one_in(random, 3)) {
        // Also at the very moment something is due, as the daemon's timer does.
        std::int64_t ms = test::between(random, 0, left_ms);
        const ElapsedMs due = ticked.next_due();
        if (test::one_in(random, 2) && due > last.elapsed && due <= next.elapsed) ms = due - last.elapsed;
        last = {last.utc + ms, last.elapsed + ms};
        left_ms -= ms;
        ticked.step(TickEvent{last}, found);
      }
      ticked.step(event, found);
      last = next;
    }
    transitions += wanted.transitions.size();
    const auto a = lines_of(wanted);
    const auto b = lines_of(found);
    for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i)
      ASSERT_EQ(a[i], b[i]) << "seed " << seed + round;
    ASSERT_EQ(a.size(), b.size()) << "seed " << seed + round;
  }
  EXPECT_GT(transitions, 400U);  // else the scenarios test nothing
}

TEST(Ticks, NothingIsOverdueAfterATick) {
  std::mt19937_64 random(test::announced_seed());
  const auto room = test::random_room(random);
  Engine engine(room, test::random_start);
  Effects effects;
  for (const Event& event : test::random_events(random, *room, 5000)) {
    engine.step(event, effects);
    engine.step(TickEvent{stamp_of(event)}, effects);
    ASSERT_GT(engine.next_due(), stamp_of(event).elapsed);
  }
}

// Channels and alarm points: two points a spot, three a channel, one a delivery channel, four of the daemon's
// own.
std::size_t owners_of(const Room& room) {
  return room.channels.size() * (1 + 3 + 2 * 2) + room.delivery_channels.size() + 4;
}

TEST(Bounds, OscillationDoesNotGrowTheQueueOfDues) {
  test::ThreeProbes three;
  three.builder.settings(AlarmKind::too_hot).on_delay_ms = 20 * second_ms;
  three.builder.settings(AlarmKind::too_hot).off_delay_ms = 30 * second_ms;
  three.builder.room.people.clear();
  test::Scene scene(three.builder.done());
  std::mt19937_64 random(test::announced_seed());
  std::size_t most = 0;
  for (int i = 0; i < 1'000'000; ++i) {
    ReadingEvent event;
    event.at = scene.now;
    event.channel = three.hot;
    // To and fro over the target and the harm limit, in runs of random length.
    event.value = {i / test::between(random, 1, 40) % 2 == 0 ? 325 : test::between(random, 328, 372), 1};
    scene.engine->step_reading(event, scene.effects);
    scene.effects.clear();
    scene.pass(test::between(random, 0, 20 * second_ms));
    most = std::max(most, scene.engine->pending_dues());
  }
  EXPECT_LE(most, owners_of(three.builder.room));
}

TEST(Bounds, RandomScenariosKeepTheQueueOfDuesShort) {
  std::mt19937_64 random(test::announced_seed());
  const auto room = test::random_room(random);
  Engine engine(room, test::random_start);
  Effects effects;
  std::size_t most = 0;
  for (const Event& event : test::random_events(random, *room, 15'000)) {
    engine.step(event, effects);
    effects.clear();
    most = std::max(most, engine.pending_dues());
  }
  EXPECT_LE(most, owners_of(*room));
}

// A probe that keeps moving to its edge of the learned interval.
TEST(Bounds, ALearnedIntervalThatBreathesDoesNotGrowTheQueue) {
  test::ThreeProbes three;
  three.builder.room.people.clear();
  test::Scene scene(three.builder.done());
  std::mt19937_64 random(test::announced_seed());
  std::size_t most = 0;
  for (int i = 0; i < 300'000; ++i) {
    ReadingEvent event;
    event.at = scene.now;
    event.channel = three.hot;
    event.value = {320 + i % 2, 1};
    scene.engine->step_reading(event, scene.effects);
    scene.effects.clear();
    scene.pass(i / 200 % 2 == 0 ? second_ms : test::between(random, 5 * minute_ms, 100 * minute_ms));
    most = std::max(most, scene.engine->pending_dues());
  }
  EXPECT_LE(most, owners_of(three.builder.room));
}

}  // namespace
}  // namespace baskwell
