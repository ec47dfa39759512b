// What the heating is found to be, through the whole of core: alarms, priorities, grace, telling again. On a
// small enclosure by hand, learned from readings every two minutes. Delays: kinds.cpp (both heating kinds at
// once; not-heating `medium`, `high` when the harm limit nears; heating-stuck-on `high`).

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "engine/scene.h"
#include "heat/heated_box.h"

namespace baskwell {
namespace {

using test::Scene;
using testing::HasSubstr;
using enum AlarmKind;

struct Heated {
  test::RoomBuilder builder;
  Index enclosure, hot, room_probe;
  std::unique_ptr<Scene> scene;
  std::unique_ptr<test::HeatedBox> box;

  explicit Heated(const test::BoxPlan& plan) {
    enclosure = builder.enclosure("shelf-1");
    builder.animal("asha", test::royal_python(), enclosure);
    hot = builder.probe("hot-probe", enclosure, Zone::hot);
    room_probe = builder.probe("room-probe", none, Zone::room);
    Heater mat;
    mat.id = "mat-1";
    mat.kind = "mat";
    mat.enclosures = {enclosure};
    builder.room.heaters.push_back(mat);
    Thermostat thermostat;
    thermostat.id = "thermostat-1";
    thermostat.heaters = {0};
    thermostat.probe_enclosure = enclosure;
    builder.room.thermostats.push_back(thermostat);
    builder.person("kim");
    const auto room = builder.done();
    scene = std::make_unique<Scene>(room, "2026-06-01T00:00:00Z");
    box = std::make_unique<test::HeatedBox>(plan, room->clock, scene->now.utc);
  }

  static std::string text_of_degc(double degc) { return to_text({std::llround(degc * 1e4), 4}); }
  void run_for(std::int64_t ms) {
    for (const UtcMs end = scene->now.utc + ms; scene->now.utc < end;) {
      scene->pass(2 * minute_ms);
      box->run_to(scene->now.utc);
      scene->hear(room_probe, text_of_degc(box->read_room()));
      scene->hear(hot, text_of_degc(box->read_hot()));
      scene->tick();
    }
  }
  // Nine healthy days and to noon.
  void learn() { run_for(9 * day_ms + 11 * hour_ms); }
  void note(NoteType type) {
    NoteEvent event;
    event.type = type;
    event.subject = "shelf-1";
    event.text = "by hand";
    event.who = "Kim";
    scene->step(event);
    ASSERT_EQ(scene->effects.answer, "");
  }
  [[nodiscard]] int heating_transitions() const {
    int n = 0;
    for (const TransitionRecord& record : scene->effects.transitions)
      n += record.subject.ends_with("/heating") ? 1 : 0;
    return n;
  }
};

// 15 degC in the room: the harm limit of 20 is reached after 120 ln((31.5 - 15) / 5) = 143 min.
test::BoxPlan cold_room() {
  test::BoxPlan plan;
  plan.room_degc = 15;
  plan.room_daily_k = 0;
  plan.gain_k = 28;
  plan.tau_min = 120;
  return plan;
}

TEST(HeatingAlarms, ADeadHeaterIsMediumAndHighAsHarmNears) {
  Heated one(cold_room());
  one.learn();
  ASSERT_EQ(one.heating_transitions(), 0);
  one.box->heater_off = true;
  one.run_for(40 * minute_ms);
  ASSERT_EQ(one.scene->state_of(not_heating), AlarmState::unacknowledged);
  const TransitionRecord first = *one.scene->last(not_heating);
  EXPECT_EQ(first.priority, Priority::medium);
  EXPECT_EQ(first.subject, "shelf-1/heating");
  EXPECT_THAT(first.why, HasSubstr("by about "));
  EXPECT_THAT(first.why, HasSubstr("if nothing changes"));
  one.run_for(80 * minute_ms);
  EXPECT_GT(one.box->hot_degc, 20.0);  // nobody is in danger yet
  EXPECT_EQ(one.scene->last(not_heating)->priority, Priority::high);
  EXPECT_EQ(one.scene->last(not_heating)->input, AlarmInput::worsens);
}

TEST(HeatingAlarms, AnAcknowledgedOneIsToldAgainWhenHarmNears) {
  Heated one(cold_room());
  one.learn();
  one.box->heater_off = true;
  one.run_for(40 * minute_ms);
  ASSERT_EQ(one.scene->state_of(not_heating), AlarmState::unacknowledged);
  const std::string occurrence = one.scene->last(not_heating)->occurrence;
  ASSERT_EQ(one.scene->ask(RequestEvent::What::acknowledge, occurrence), "");
  EXPECT_EQ(one.scene->state_of(not_heating), AlarmState::acknowledged);
  one.run_for(80 * minute_ms);
  EXPECT_GT(one.box->hot_degc, 20.0);
  EXPECT_EQ(one.scene->state_of(not_heating), AlarmState::unacknowledged);
  bool again = false;
  for (const MessageDraft& message : one.scene->effects.messages)
    again |= message.occurrence == occurrence && message.reason == TellReason::reached_harm &&
             message.priority == Priority::high;
  EXPECT_TRUE(again);
}

// The room at 24 degC is above the harm limit of 20: the forecast never gets there.
TEST(HeatingAlarms, WhereNoHarmIsAheadItStaysMedium) {
  test::BoxPlan plan;
  plan.room_degc = 24;
  Heated one(plan);
  one.learn();
  one.box->heater_off = true;
  one.run_for(6 * hour_ms);
  EXPECT_EQ(one.scene->count(not_heating, AlarmState::unacknowledged), 1);
  for (const TransitionRecord& record : one.scene->effects.transitions) {
    EXPECT_TRUE(record.kind != not_heating || record.priority == Priority::medium);
  }
}

TEST(HeatingAlarms, AStuckHeaterIsHighWithASecondExplanation) {
  test::BoxPlan plan;
  plan.gain_k = 26;
  Heated one(plan);
  one.learn();
  one.box->stuck_on = true;
  one.run_for(hour_ms);
  const TransitionRecord* found = one.scene->last(heating_stuck_on);
  ASSERT_NE(found, nullptr);
  EXPECT_EQ(found->priority, Priority::high);
  EXPECT_EQ(found->other, thermostat_probe_moved);
  bool told = false;
  for (const MessageDraft& message : one.scene->effects.messages)
    told |= message.occurrence == found->occurrence && message.priority == Priority::high;
  EXPECT_TRUE(told);
}

TEST(HeatingAlarms, CleaningCoversADeadHeaterButNeverAStuckOne) {
  Heated cold(cold_room());
  cold.learn();
  cold.note(NoteType::cleaned);
  cold.box->heater_off = true;
  cold.run_for(28 * minute_ms);
  EXPECT_EQ(cold.scene->count(not_heating, AlarmState::unacknowledged), 0);
  cold.run_for(15 * minute_ms);  // the grace of 30 min is over, and it does not heat
  EXPECT_EQ(cold.scene->state_of(not_heating), AlarmState::unacknowledged);

  test::BoxPlan plan;
  plan.gain_k = 30;
  Heated hot(plan);
  hot.learn();
  hot.note(NoteType::cleaned);
  hot.box->stuck_on = true;
  hot.run_for(28 * minute_ms);
  EXPECT_EQ(hot.scene->state_of(heating_stuck_on), AlarmState::unacknowledged);
}

}  // namespace
}  // namespace baskwell
