// The sums of the table, and the holding of what was said against what was true, on results made by hand.
#include "scenarios/table.h"

#include <gmock/gmock.h>

#include "scenarios/judging.h"

namespace baskwell::scenarios {
namespace {

using testing::HasSubstr;
using testing::Not;

FaultResult off_at_noon() {
  FaultResult fault;
  fault.planned.kind = AlarmKind::not_heating;
  fault.planned.unit = 0;
  fault.planned.start_ms = 20 * day_ms;
  fault.planned.end_ms = 21 * day_ms;
  fault.heater_class = HeaterClass::mat_on_off;
  fault.counts = true;
  fault.onset_ms = fault.planned.start_ms + 10 * minute_ms;
  return fault;
}

FaultResult found_after(std::int64_t after_ms, std::int64_t band_after_ms) {
  FaultResult fault = off_at_noon();
  fault.found_ms = fault.planned.start_ms + after_ms;
  fault.named_first = fault.named_ever = true;
  fault.band_ms = fault.planned.start_ms + band_after_ms;
  return fault;
}

TEST(Table, CountsWhatWasFound) {
  EpisodeResult faulty;
  faulty.enclosure_years = 2.0;
  faulty.faults = {found_after(30 * minute_ms, hour_ms), off_at_noon()};
  FaultResult without_effect = off_at_noon();
  without_effect.counts = false;
  faulty.faults.push_back(without_effect);
  const std::string table = whole_table({}, {faulty});
  // One of two: Wilson's interval by hand, z squared over four n ... 9.5 to 90.5 %.
  EXPECT_THAT(table,
              HasSubstr("| not-heating | 2 | 50.0 % (9.5-90.5) | 0.50 / 0.50 | 0.33 / 0.33 | 100.0 %"));
  EXPECT_THAT(table, HasSubstr("found | 99 % | 2 | 50.0 % (9.5-90.5) |"));
  EXPECT_THAT(table, HasSubstr("3 faults, 1 of them without enough effect to count"));
  EXPECT_THAT(table, HasSubstr("2.0 enclosure-years with faults, 0.0 healthy"));
}

TEST(Table, HoldsOurTimeAgainstTheBands) {
  EpisodeResult faulty;
  faulty.faults = {found_after(10 * minute_ms, 40 * minute_ms), found_after(20 * minute_ms, 40 * minute_ms),
                   found_after(60 * minute_ms, 50 * minute_ms)};
  FaultResult on_already = found_after(minute_ms, minute_ms);
  on_already.band_at_start = true;  // tells nothing of the lead
  faulty.faults.push_back(on_already);
  const std::string table = whole_table({}, {faulty});
  // Two of three came first; medians 20 and 40 min.
  EXPECT_THAT(table, HasSubstr("of these before the plain band alarm | 95 % | 3 | 66.7 %"));
  EXPECT_THAT(table, HasSubstr("| 0.50 (3) |"));
}

TEST(Table, CountsFalseAlarmsOverTheTimeWatched) {
  EpisodeResult healthy;
  healthy.healthy = true;
  healthy.watched_years = 4.0;
  FalseAlarm wrong;
  wrong.said.kind = AlarmKind::heating_weak;
  wrong.said.priority = Priority::high;
  healthy.false_alarms = {wrong, wrong};
  healthy.naive_false = 10;
  const std::string table = whole_table({}, {healthy});
  // Garwood's limits of a count of 2, 0.242 and 7.225 (from memory), over 4.
  EXPECT_THAT(table, HasSubstr("| healthy rooms | 4.0 | 0.500 (0.061-1.806) | 0.000 (0.000-0.922) |"));
  EXPECT_THAT(table, HasSubstr("| 2.5 |"));
  EXPECT_THAT(table, HasSubstr("| heating-weak | room | 2 | 0 |"));
  EXPECT_THAT(table, Not(HasSubstr("healthy time of faulty rooms")));
}

TEST(Table, ShowsWhatWasMistakenForWhat) {
  EpisodeResult faulty;
  FaultResult mistaken = found_after(hour_ms, 2 * hour_ms);
  mistaken.found_as = AlarmKind::heating_weak;
  mistaken.named_first = false;
  faulty.faults = {mistaken, off_at_noon()};
  const std::string table = whole_table({}, {faulty});
  EXPECT_THAT(table, HasSubstr("| not-heating | | | 1 | | | | | | | | | | | 1 |\n"));
  EXPECT_THAT(table, HasSubstr("named rightly at first, of those found | 95 % | 1 | 0.0 %"));
}

// Two units of one enclosure each, on two circuits; 40 days from 0.
class Judging : public testing::Test {
 protected:
  Judging() {
    for (int i = 0; i < 2; ++i) {
      drawn_.sim.circuits.push_back("circuit-" + std::to_string(i + 1));
      demoroom::HeaterSpec heater;
      heater.circuit = i;
      drawn_.sim.heaters.push_back(heater);
      drawn_.sim.thermostats.emplace_back();
      DrawnUnit unit;
      unit.heater = unit.thermostat = i;
      unit.enclosures = unit.hot_probes = {i};
      drawn_.units.push_back(unit);
    }
    drawn_.sim.air.circuit = 5;
    drawn_.probed_enclosures = 2;
    result_.enclosures = 2;
  }
  void say(int unit, AlarmKind kind, std::int64_t at_ms, std::optional<AlarmKind> other = {}) {
    SaidAlarm alarm;
    alarm.unit = unit;
    alarm.kind = kind;
    alarm.other = other;
    alarm.at_ms = at_ms;
    said_.heat.push_back(alarm);
  }
  const EpisodeResult& judged() {
    judge_said(drawn_, plan_, said_, 40 * day_ms, result_);
    return result_;
  }

  DrawnRoom drawn_;
  Plan plan_;
  Said said_;
  EpisodeResult result_;
};

TEST_F(Judging, FindsAFaultByAnAlarmOnItsOwnUnit) {
  result_.faults = {off_at_noon()};
  const std::int64_t start_ms = result_.faults[0].planned.start_ms;
  say(1, AlarmKind::not_heating, start_ms + minute_ms);  // the neighbour: false
  say(0, AlarmKind::heating_weak, start_ms + hour_ms, AlarmKind::not_heating);
  say(0, AlarmKind::not_heating, start_ms - minute_ms);              // before: false
  say(0, AlarmKind::not_heating, start_ms + day_ms + 25 * hour_ms);  // after the time to recover: false
  const FaultResult& fault = judged().faults[0];
  EXPECT_EQ(fault.found_ms, start_ms + hour_ms);
  EXPECT_EQ(fault.found_as, AlarmKind::heating_weak);
  EXPECT_TRUE(fault.named_first);  // as the second of two
  EXPECT_EQ(result_.false_alarms.size(), 3U);
}

TEST_F(Judging, TakesAWrongNameForFoundButNotForNamed) {
  result_.faults = {off_at_noon()};
  const std::int64_t start_ms = result_.faults[0].planned.start_ms;
  say(0, AlarmKind::thermostat_hunting, start_ms + hour_ms);
  say(0, AlarmKind::not_heating, start_ms + 2 * hour_ms);
  const FaultResult& fault = judged().faults[0];
  EXPECT_EQ(fault.found_ms, start_ms + hour_ms);
  EXPECT_FALSE(fault.named_first);
  EXPECT_TRUE(fault.named_ever);
  EXPECT_TRUE(result_.false_alarms.empty());
}

TEST_F(Judging, ExcusesTooLittleHeatInAnOutageOfItsCircuitOnly) {
  plan_.outages = {{20 * day_ms, 20 * day_ms + hour_ms, 0}};
  say(0, AlarmKind::not_heating, 20 * day_ms + 30 * minute_ms);
  say(1, AlarmKind::not_heating, 20 * day_ms + 30 * minute_ms);       // has power: false
  say(0, AlarmKind::heating_stuck_on, 20 * day_ms + 30 * minute_ms);  // no outage makes this: false
  EXPECT_EQ(judged().false_alarms.size(), 2U);
}

TEST_F(Judging, CountsTheTimeWithoutFaults) {
  result_.faults = {off_at_noon()};  // a day, and a day to recover, of one of two units
  const EpisodeResult& result = judged();
  EXPECT_NEAR(result.watched_years * 365.25, 60.0, 0.1);
  EXPECT_NEAR(result.watched_free_years * 365.25, 58.0, 0.1);
  EXPECT_NEAR(result.enclosure_years * 365.25, 80.0, 0.1);
}

}  // namespace
}  // namespace baskwell::scenarios
