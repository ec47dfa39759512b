// Notes and their grace time, through the whole of core. Delays of the kinds used here: too-hot 15 min,
// too-cold 45 min, beyond harm 5 and 30; off-delay 10 min (core/alarm/kinds.cpp).

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <sstream>

#include "engine/scene.h"

namespace baskwell {
namespace {

using test::Scene;
using test::ThreeProbes;
using test::utc;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;
using What = RequestEvent::What;

constexpr std::string_view boot = "boot-1";

struct Noted {
  ThreeProbes three;
  Scene scene;
  explicit Noted(ThreeProbes made = ThreeProbes())
      : three(std::move(made)), scene(three.builder.done(), "2026-06-10T11:00:00Z") {}
  void keep(double hot, std::int64_t for_ms) {
    scene.keep({{three.hot, hot}, {three.middle, 25}, {three.cool, 25}}, for_ms);
  }
  std::string note(std::string_view subject, NoteType type, std::string_view text = "by hand") {
    NoteEvent event;
    event.type = type;
    event.subject = subject;
    event.text = text;
    event.who = "Kim";
    scene.step(event);
    return scene.effects.answer;
  }
  [[nodiscard]] AlarmState hot_state() const { return scene.state_of(AlarmKind::too_hot); }
};

TEST(Notes, AreHandedOnAsTheyWereWritten) {
  Noted one;
  EXPECT_EQ(one.note("shelf-1", NoteType::fed, "one small rat, taken at once"), "");
  ASSERT_THAT(one.scene.effects.notes, SizeIs(1));
  const NoteRecord& record = one.scene.effects.notes[0];
  EXPECT_EQ(record.at, utc("2026-06-10T11:00:00Z"));
  EXPECT_EQ(record.type, NoteType::fed);
  EXPECT_EQ(record.subject, "shelf-1");
  EXPECT_EQ(record.text, "one small rat, taken at once");
  EXPECT_EQ(record.who, "Kim");
  EXPECT_FALSE(record.grace_until.has_value());
}

TEST(Notes, RefuseWhatIsNotThereAndWhatIsNoLine) {
  Noted one;
  EXPECT_THAT(one.note("attic", NoteType::fed), HasSubstr("nothing is called 'attic'"));
  EXPECT_THAT(one.note("", NoteType::fed), HasSubstr("nothing is called ''"));
  EXPECT_THAT(one.note("shelf-1", NoteType::other, "  "), HasSubstr("the text is missing"));
  EXPECT_THAT(one.note("shelf-1", NoteType::fed, "two\nlines"), HasSubstr("one line"));
  EXPECT_THAT(one.note("shelf-1", NoteType::fed, "\x1b[2J"), HasSubstr("control characters"));
  EXPECT_THAT(one.note("shelf-1", NoteType::fed, "\xc2\x9b"), HasSubstr("control characters"));
  EXPECT_THAT(one.note("shelf-1", NoteType::fed, std::string(2001, 'x')), HasSubstr("2000 bytes"));
  NoteEvent nobody;
  nobody.subject = "shelf-1";
  nobody.text = "who was it?";
  one.scene.step(nobody);
  EXPECT_THAT(one.scene.effects.answer, HasSubstr("give a name"));
  EXPECT_THAT(one.scene.effects.notes, IsEmpty());
  EXPECT_EQ(one.note("shelf-1", NoteType::fed, "größer, 23 °C"), "");
}

TEST(Notes, MayBeAboutAnythingOfTheRoom) {
  ThreeProbes made;
  Room& room = made.builder.room;
  room.racks.push_back({"rack-1", "Rack 1", {made.enclosure}});
  Heater mat;
  mat.id = "mat-1";
  mat.enclosures = {made.enclosure};
  room.heaters.push_back(mat);
  Lamp lamp;
  lamp.id = "uv-1";
  lamp.enclosures = {made.enclosure};
  room.lamps.push_back(lamp);
  Thermostat thermostat;
  thermostat.id = "thermostat-1";
  thermostat.heaters = {0};
  room.thermostats.push_back(thermostat);
  CutOut cut_out;
  cut_out.id = "cut-out-1";
  cut_out.heaters = {0};
  room.cut_outs.push_back(cut_out);
  Noted one(std::move(made));
  for (const char* subject : {"shelf-1", "rack-1", "asha", "mat-1", "uv-1", "thermostat-1", "cut-out-1",
                              "hot-probe", "hot-probe/temperature"}) {
    EXPECT_EQ(one.note(subject, NoteType::cleaned), "") << subject;
    // All of them mean the same enclosure here.
    EXPECT_TRUE(one.scene.effects.notes.back().grace_until.has_value()) << subject;
  }
  EXPECT_EQ(one.note("room", NoteType::cleaned), "");
  EXPECT_FALSE(one.scene.effects.notes.back().grace_until.has_value());  // no probe is in the room's own air
}

TEST(Grace, WhatAlreadyWaitsDoesNotAlarmInItAndDoesAtItsEnd) {
  Noted one;
  one.keep(34, 10 * minute_ms);
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  EXPECT_EQ(one.scene.effects.notes.back().grace_until, utc("2026-06-10T11:40:00Z"));
  one.keep(34, 30 * minute_ms - second_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  EXPECT_THAT(one.scene.effects.messages, IsEmpty());
  const TransitionRecord* suppressed = one.scene.last(AlarmKind::too_hot);
  EXPECT_EQ(suppressed->at, utc("2026-06-10T11:15:00Z"));                        // where its on-delay ended
  EXPECT_THAT(suppressed->why, HasSubstr("grace time of a note, until 12:40"));  // local: London in summer
  one.keep(34, 2 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T11:40:00Z"));
  EXPECT_THAT(one.scene.last(AlarmKind::too_hot)->why, HasSubstr("grace time is over"));
  EXPECT_EQ(one.scene.told(TellReason::raised), 1);
}

TEST(Grace, IsShownWhileItRuns) {
  Noted one;
  EXPECT_EQ(one.note("shelf-1", NoteType::misted), "");  // no humidity probe: nothing to cover
  EXPECT_THAT(one.scene.engine->view(one.scene.now).graces, IsEmpty());
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.scene.tick(20 * minute_ms);
  const auto graces = one.scene.engine->view(one.scene.now).graces;
  ASSERT_THAT(graces, SizeIs(1));
  EXPECT_EQ(graces[0].place_id, "shelf-1");
  EXPECT_EQ(graces[0].until, utc("2026-06-10T11:30:00Z"));
  one.scene.tick(10 * minute_ms);
  EXPECT_THAT(one.scene.engine->view(one.scene.now).graces, IsEmpty());
}

TEST(Grace, AColdSpellThatEndsInItIsNeverTold) {
  ThreeProbes made;
  made.builder.settings(AlarmKind::too_cold).on_delay_ms = 10 * minute_ms;
  Noted one(std::move(made));
  one.keep(31, 10 * minute_ms);
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(26, 20 * minute_ms);
  ASSERT_EQ(one.scene.state_of(AlarmKind::too_cold), AlarmState::suppressed);
  // Warm for the last ten minutes, but not by the deadband of 0.5: without the grace it would still hold.
  one.keep(30.2, 40 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_cold), AlarmState::normal);
  EXPECT_EQ(one.scene.count(AlarmKind::too_cold, AlarmState::unacknowledged), 0);
  EXPECT_THAT(one.scene.effects.messages, IsEmpty());
}

TEST(Grace, DoesNotCoverAHarmLimit) {
  Noted one;
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(37, 6 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T11:05:00Z"));
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->level, Level::harm);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->priority, Priority::high);
  EXPECT_EQ(one.scene.told(TellReason::raised), 1);
}

TEST(Grace, AHarmLimitReachedWhileSuppressedIsToldAtOnce) {
  Noted one;
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(34, 20 * minute_ms);
  ASSERT_EQ(one.hot_state(), AlarmState::suppressed);
  one.keep(37, 6 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T11:25:00Z"));
  EXPECT_EQ(one.scene.told(TellReason::reached_harm), 1);
  // A later note does not silence what was told as harm, though it is a little better now.
  one.keep(34, 12 * minute_ms);
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
}

TEST(Grace, AnAlarmThatIsToldAlreadyIsQuietForItsTime) {
  Noted one;
  one.keep(34, 16 * minute_ms);
  ASSERT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  EXPECT_THAT(one.scene.effects.withdrawn, testing::Contains("A1"));
  one.keep(34, 31 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->occurrence, "A1");
  EXPECT_EQ(one.scene.told(TellReason::raised), 2);
}

TEST(Grace, WhoHeardOfAnAlarmHearsThatItEndedInIt) {
  Noted one;
  one.keep(34, 16 * minute_ms);
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(31, 31 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::normal);
  EXPECT_EQ(one.scene.told(TellReason::over), 1);
  EXPECT_TRUE(one.scene.effects.messages.back().only_if_told);
}

TEST(Grace, AnAcknowledgedAlarmStaysSoAndIsNotToldWorseInIt) {
  Noted one;
  one.keep(34, 16 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::acknowledge, "A1"), "");
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  EXPECT_EQ(one.hot_state(), AlarmState::acknowledged);
  one.keep(35.5, 10 * minute_ms);  // worse by more than the step of 1.0
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  EXPECT_EQ(one.scene.told(TellReason::worse), 0);
  one.keep(35.5, 25 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
}

TEST(Grace, ShelvingThatEndsInItIsNotTold) {
  Noted one;
  one.keep(34, 16 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::shelve, "A1", "busy", 5 * minute_ms), "");
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(34, 10 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  one.keep(34, 25 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
}

TEST(Grace, ReturnToServiceInItIsNotTold) {
  Noted one;
  one.keep(34, 16 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::out_of_service, "shelf-1"), "");
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(34, 10 * minute_ms);
  EXPECT_EQ(one.scene.ask(What::return_to_service, "shelf-1"), "");
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  one.keep(34, 25 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
}

TEST(Grace, CoversTheEnclosureOfTheNoteAndNoOther) {
  ThreeProbes made;
  const Index other = made.builder.enclosure("shelf-2");
  made.builder.animal("bo", test::royal_python(), other);
  const Index other_hot = made.builder.probe("bo-hot", other, Zone::hot);
  made.builder.room.racks.push_back({"rack-1", "Rack 1", {made.enclosure, other}});
  const auto states_after = [&](std::string_view subject) {
    Noted one(made);
    EXPECT_EQ(one.note(subject, NoteType::cleaned), "");
    one.scene.keep({{made.hot, 34}, {other_hot, 34}}, 20 * minute_ms);
    std::vector<std::string> states;
    for (const TransitionRecord& record : one.scene.effects.transitions) {
      if (record.kind == AlarmKind::too_hot)
        states.push_back(record.subject + " " + std::string(name_of(record.to)));
    }
    return states;
  };
  EXPECT_THAT(states_after("shelf-2"),
              testing::UnorderedElementsAre("shelf-1/hot/air/temperature unacknowledged",
                                            "shelf-2/hot/air/temperature suppressed"));
  EXPECT_THAT(states_after("bo-hot"),
              testing::UnorderedElementsAre("shelf-1/hot/air/temperature unacknowledged",
                                            "shelf-2/hot/air/temperature suppressed"));
  EXPECT_THAT(states_after("rack-1"),
              testing::UnorderedElementsAre("shelf-1/hot/air/temperature suppressed",
                                            "shelf-2/hot/air/temperature suppressed"));
  EXPECT_THAT(states_after("room"),
              testing::UnorderedElementsAre("shelf-1/hot/air/temperature unacknowledged",
                                            "shelf-2/hot/air/temperature unacknowledged"));
}

// Which points a grace time covers stands in the snapshot.
std::vector<std::string> covered_by(Noted& one, std::string_view subject, NoteType type) {
  EXPECT_EQ(one.note(subject, type), "");
  std::istringstream lines(one.scene.engine->snapshot(one.scene.now, boot));
  std::vector<std::string> covered;
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with("grace ")) covered.push_back(line.substr(line.find(' ', 6) + 1));
  }
  return covered;
}

TEST(Grace, CoversWhatOpenDoorsMakeOfTheHeatingButNeverAHeaterStuckOn) {
  ThreeProbes made;
  const Index second = made.builder.enclosure("shelf-2");
  made.builder.animal("bo", test::royal_python(), second);
  made.builder.probe("bo-hot", second, Zone::hot);
  const Index third = made.builder.enclosure("shelf-3");
  made.builder.probe("third-hot", third, Zone::hot);
  Room& room = made.builder.room;
  Heater mat;
  mat.id = "mat-1";
  mat.enclosures = {made.enclosure};
  room.heaters.push_back(mat);
  mat.id = "cable-2";
  mat.enclosures = {second, third};
  room.heaters.push_back(mat);
  Thermostat thermostat;
  thermostat.id = "thermostat-2";
  thermostat.heaters = {1};
  room.thermostats.push_back(thermostat);
  {
    Noted one(made);
    const auto covered = covered_by(one, "shelf-1", NoteType::cleaned);
    EXPECT_THAT(covered,
                testing::IsSupersetOf({"too-cold shelf-1/hot/air/temperature", "not-heating shelf-1/heating",
                                       "heating-weak shelf-1/heating", "probe-moved hot-probe/temperature"}));
    EXPECT_THAT(covered, testing::Each(testing::Not(HasSubstr("heating-stuck-on"))));
    EXPECT_THAT(covered, testing::Each(testing::Not(HasSubstr("thermostat-2/heating"))));
    EXPECT_THAT(covered, testing::Each(testing::Not(HasSubstr("probe-silent"))));
  }
  {
    // One of two that are heated together: the unit is disturbed as a whole.
    Noted one(made);
    EXPECT_THAT(covered_by(one, "shelf-3", NoteType::cleaned),
                testing::Contains("not-heating thermostat-2/heating"));
  }
  {
    Noted one(made);
    const auto covered = covered_by(one, "mat-1", NoteType::cut_out_tested);
    EXPECT_THAT(covered,
                testing::IsSupersetOf({"too-cold shelf-1/hot/air/temperature", "not-heating shelf-1/heating",
                                       "heating-weak shelf-1/heating"}));
    EXPECT_THAT(covered, testing::Each(testing::Not(HasSubstr("too-hot"))));
  }
}

TEST(Grace, MistingCoversDampAirAlone) {
  ThreeProbes made;
  made.builder.settings(AlarmKind::too_damp).on_delay_ms = 10 * minute_ms;
  const Index damp = made.builder.probe("hygrometer", made.enclosure, Zone::middle, Quantity::humidity);
  Noted one(std::move(made));
  EXPECT_EQ(one.note("shelf-1", NoteType::misted), "");
  one.scene.keep({{one.three.hot, 34}, {damp, 90}}, 20 * minute_ms);
  EXPECT_EQ(one.scene.state_of(AlarmKind::too_damp), AlarmState::suppressed);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
}

TEST(Grace, ALaterNoteMakesItLongerAndNeverShorter) {
  Noted one;
  EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
  one.keep(34, 25 * minute_ms);
  EXPECT_EQ(one.note("shelf-1", NoteType::probe_moved), "");  // 10 minutes from now
  one.keep(34, 9 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::suppressed);
  one.keep(34, 2 * minute_ms);
  EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
  EXPECT_EQ(one.scene.last(AlarmKind::too_hot)->at, utc("2026-06-10T11:35:00Z"));
}

TEST(Grace, OutlivesARestartAndEndsWithItWhereItWasOverMeanwhile) {
  for (const bool other_boot : {false, true}) {
    for (const std::int64_t away_ms : {2 * minute_ms, 25 * minute_ms}) {
      Noted one;
      EXPECT_EQ(one.note("shelf-1", NoteType::cleaned), "");
      one.keep(34, 20 * minute_ms);
      const std::string text = one.scene.engine->snapshot(one.scene.now, boot);
      one.scene.pass(away_ms);
      if (other_boot) one.scene.now.elapsed = ElapsedMs{7'000};
      one.scene.engine = std::make_unique<Engine>(one.three.builder.done(), one.scene.now);
      ASSERT_TRUE(one.scene.restore(text, other_boot ? "boot-2" : boot).ok());
      one.scene.tick();
      const bool over = away_ms > 10 * minute_ms;
      EXPECT_EQ(one.hot_state(), over ? AlarmState::unacknowledged : AlarmState::suppressed);
      one.keep(34, 10 * minute_ms);
      EXPECT_EQ(one.hot_state(), AlarmState::unacknowledged);
      EXPECT_EQ(one.scene.told(TellReason::raised), 1);
    }
  }
}

TEST(NoteTypes, HaveNamesThatReadBack) {
  for (int i = 0; i < note_type_count; ++i) {
    const auto type = static_cast<NoteType>(i);
    EXPECT_EQ(row_of(type).type, type);
    EXPECT_EQ(note_type_from(name_of(type)), type);
    EXPECT_FALSE(row_of(type).grace_kinds.has(AlarmKind::heating_stuck_on)) << name_of(type);
    EXPECT_LE(row_of(type).grace_ms, hour_ms);
  }
  EXPECT_EQ(note_type_from("Lamp changed"), NoteType::lamp_changed);
  EXPECT_EQ(note_type_from("lamp"), std::nullopt);
  EXPECT_EQ(note_type_from(""), std::nullopt);
  EXPECT_EQ(row_of(NoteType::cleaned).grace_ms, 30 * minute_ms);
  EXPECT_EQ(row_of(NoteType::heater_changed).relearn, Relearn::heater);
  EXPECT_EQ(row_of(NoteType::probe_moved).relearn, Relearn::probe);
  EXPECT_EQ(row_of(NoteType::thermostat_adjusted).relearn, Relearn::thermostat);
}

TEST(NoteTypes, StandOnThePageAsInTheTable) {
  std::ifstream file(BASKWELL_SOURCE_DIR "/docs/notes.md");
  std::stringstream page;
  page << file.rdbuf();
  for (int i = 0; i < note_type_count; ++i) {
    const NoteTypeRow& row = row_of(static_cast<NoteType>(i));
    const std::string begin = "| `" + std::string(row.name) + "` | " +
                              (row.grace_ms == 0 ? "-" : std::to_string(row.grace_ms / minute_ms) + " min") +
                              " | ";
    const std::size_t at = page.str().find(begin);
    ASSERT_NE(at, std::string::npos) << begin;
    const std::string line = page.str().substr(at, page.str().find('\n', at) - at);
    const std::string learned = row.relearn == Relearn::nothing ? "-" : std::string(name_of(row.relearn));
    EXPECT_THAT(line, HasSubstr(" | " + learned + " | ")) << line;
    if (row.grace_ms > 0) {
      EXPECT_THAT(line, HasSubstr(row.grace_source)) << line;
    }
  }
}

TEST(NoteTypes, AreFoundAtTheBeginningOfAText) {
  EXPECT_EQ(note_type_of_text("misted"), NoteType::misted);
  EXPECT_EQ(note_type_of_text("Cleaned, new bark"), NoteType::cleaned);
  EXPECT_EQ(note_type_of_text("  lamp  changed: 75 W"), NoteType::lamp_changed);
  EXPECT_EQ(note_type_of_text("cut-out tested, trips at 41"), NoteType::cut_out_tested);
  EXPECT_EQ(note_type_of_text("Salt test 74.8"), NoteType::salt_test);
  EXPECT_EQ(note_type_of_text("shedding soon"), NoteType::other);
  EXPECT_EQ(note_type_of_text("federal papers came"), NoteType::other);
  EXPECT_EQ(note_type_of_text("I cleaned it"), NoteType::other);
  EXPECT_EQ(note_type_of_text(""), NoteType::other);
}

}  // namespace
}  // namespace baskwell
