// Times, commands, clocks of devices, payloads and CSV lines.
#include <gmock/gmock.h>

#include <cmath>

#include "demoroom/device_clock.h"
#include "demoroom/fault.h"
#include "demoroom/payload.h"
#include "demoroom/scenario_demo.h"
#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

using testing::HasSubstr;
using testing::StartsWith;

TEST(TimeText, WritesAndReadsRfc3339) {
  EXPECT_EQ(rfc3339_ms(0), "1970-01-01T00:00:00.000Z");
  EXPECT_EQ(rfc3339_ms(951'782'400'123), "2000-02-29T00:00:00.123Z");
  EXPECT_EQ(parse_rfc3339_ms("2000-02-29T00:00:00.123Z").value(), 951'782'400'123);
  // RFC 3339 section 5.8: both name the same instant.
  EXPECT_EQ(parse_rfc3339_ms("1996-12-19T16:39:57-08:00").value(),
            parse_rfc3339_ms("1996-12-20T00:39:57Z").value());
  for (const char* wrong :
       {"", "2026-11-24", "2026-13-24T00:00:00Z", "2026-11-24T00:00:00", "2026-11-24T25:00:00Z",
        "2026-11-24T00:00:00.Z", "2026-11-24T00:00:00Zx", "2025-02-29T00:00:00Z"}) {
    EXPECT_FALSE(parse_rfc3339_ms(wrong).ok()) << wrong;
  }
}

TEST(TimeText, DecimalsHaveNoMinusZero) {
  EXPECT_EQ(decimal(-0.04, 1), "0.0");
  EXPECT_EQ(decimal(21.25, 4), "21.2500");
}

TEST(DeviceClock, AMechanicalOneIsLateByTheCut) {
  DeviceClock clock(ClockKind::stops);
  for (int i = 0; i < 240; ++i) clock.step_without_power(5);
  EXPECT_EQ(clock.late_s(), 1200);
  EXPECT_EQ(clock.shows_s(10 * kHour_s, 3600), 11 * kHour_s - 1200);
}

TEST(DeviceClock, OneThatResetsShowsMidnight) {
  DeviceClock clock(ClockKind::resets);
  clock.power_back(15 * kHour_s, 0);
  EXPECT_EQ(clock.shows_s(15 * kHour_s, 0), 0);
}

TEST(Command, ReadsKindTargetValueAndDuration) {
  const auto parsed = parse_command("heater-weak shelf-2 0.4 for 90\n");
  ASSERT_TRUE(parsed.ok());
  const auto& fault = std::get<FaultCommand>(parsed.value());
  EXPECT_EQ(fault.kind, FaultKind::heater_weak);
  EXPECT_EQ(fault.target, "shelf-2");
  EXPECT_EQ(fault.value, 0.4);
  EXPECT_EQ(fault.minutes, 90.0);
}

TEST(Command, DefaultsAndMinutesAsValue) {
  const auto cut = parse_command("power-cut all 20");
  ASSERT_TRUE(cut.ok());
  EXPECT_EQ(std::get<FaultCommand>(cut.value()).minutes, 20.0);
  const auto door = parse_command("door-open shelf-1");
  ASSERT_TRUE(door.ok());
  EXPECT_EQ(std::get<FaultCommand>(door.value()).minutes, 10.0);
  const auto bad = parse_command("probe-bad-value shelf-1/hot nan");
  ASSERT_TRUE(bad.ok());
  EXPECT_TRUE(std::isnan(std::get<FaultCommand>(bad.value()).value));
}

TEST(Command, WrongOnesSayWhatIsAllowed) {
  EXPECT_THAT(parse_command("heater-of shelf-1").error().text, HasSubstr("heater-off"));
  EXPECT_THAT(parse_command("heater-off").error().text, HasSubstr("target"));
  EXPECT_THAT(parse_command("heater-off shelf-1 3").error().text, HasSubstr("no value"));
  EXPECT_THAT(parse_command("heater-weak shelf-1 7").error().text, HasSubstr("0 to 1"));
  EXPECT_THAT(parse_command("heater-off shelf-1 for ever").error().text, HasSubstr("for MINUTES"));
  EXPECT_THAT(parse_command("").error().text, HasSubstr("allowed"));
}

struct OneReport {
  RoomSpec spec = demo_scenario();
  Report report;

  explicit OneReport(std::size_t instrument) {
    report.instrument = static_cast<int>(instrument);
    report.utc_ms = parse_rfc3339_ms("2026-11-24T09:00:30.120Z").value();
    report.battery_v = 2.966;
    for (std::size_t i = 0; i < spec.probes.size(); ++i) {
      if (spec.probes[i].instrument == report.instrument) report.values.push_back({static_cast<int>(i), {}});
    }
  }
  void set(std::size_t index, double value) {
    const Step step = spec.probes[static_cast<std::size_t>(report.values[index].probe)].step;
    const auto steps = std::llround(value * step.den / step.num);
    report.values[index].read = {ValueKind::number, steps, static_cast<double>(steps) * step.num / step.den};
  }
};

TEST(Payload, PlainIsOneNumberATopicAsTheReadmeSays) {
  OneReport one(0);
  one.set(0, 31.4375);
  one.set(1, 25.5);
  one.set(2, 57.3);
  const auto messages = messages_of(one.spec, one.report);
  ASSERT_EQ(messages.size(), 4U);
  EXPECT_EQ(messages[0].topic, "demo/shelf-1/hot");
  EXPECT_EQ(messages[0].payload, "31.4375");
  EXPECT_EQ(messages[2].topic, "demo/shelf-1/rh");
  EXPECT_EQ(messages[2].payload, "57.3");
  EXPECT_EQ(messages[3].topic, "demo/shelf-1/battery");
  EXPECT_EQ(messages[3].payload, "2.97");
  one.report.lost = true;
  EXPECT_TRUE(messages_of(one.spec, one.report).empty());
}

TEST(Payload, JsonCarriesTimeBatteryAndNestedFields) {
  OneReport one(6);
  one.set(0, 40.1);
  one.set(1, 23.9);
  one.set(2, 5210);
  one.set(3, 88.4);
  const auto messages = messages_of(one.spec, one.report);
  ASSERT_EQ(messages.size(), 1U);
  EXPECT_EQ(messages[0].topic, "demo/bench-1");
  EXPECT_EQ(messages[0].payload,
            R"({"time":"2026-11-24T09:00:30.120Z","warm":{"surface":40.1},"cool":{"air":23.9},"lux":5210,)"
            R"("power_w":88.4,"battery_v":2.97})");
}

TEST(Payload, ADeadProbeLeavesItsFieldOutAndABadOneIsNull) {
  OneReport one(1);
  one.set(1, 24.9);
  one.report.values[2].read.kind = ValueKind::not_a_number;
  EXPECT_EQ(messages_of(one.spec, one.report)[0].payload,
            R"({"time":"2026-11-24T09:00:30.120Z","cool":24.9,"rh":null,"battery_v":2.97})");
  one.report.values[1].read.kind = ValueKind::missing;
  one.report.values[2].read.kind = ValueKind::missing;
  EXPECT_TRUE(messages_of(one.spec, one.report).empty());
}

TEST(Csv, LinesFollowTheHeader) {
  EXPECT_STREQ(kCsvHeader, "time,enclosure,zone,quantity,value,medium,channel");
  OneReport one(2);  // shelf-3 measures in degF
  one.set(0, 86.4);
  one.set(1, 76.1);
  one.set(2, 49);
  EXPECT_EQ(csv_lines_of(one.spec, one.report),
            "2026-11-24T09:00:30.120Z,shelf-3,hot,temperature,30.2222,surface,inst-3/hot\n"
            "2026-11-24T09:00:30.120Z,shelf-3,cool,temperature,24.5000,air,inst-3/cool\n"
            "2026-11-24T09:00:30.120Z,shelf-3,cool,humidity,49,air,inst-3/rh\n");
}

TEST(Csv, ChannelsAreCalledAsTheDemosSettingsCallThem) {
  OneReport bench(6);
  bench.set(0, 40.1);
  bench.set(3, 88.4);
  EXPECT_EQ(csv_lines_of(bench.spec, bench.report),
            "2026-11-24T09:00:30.120Z,bench-1,hot,temperature,40.1,surface,inst-7/warm-surface\n"
            "2026-11-24T09:00:30.120Z,bench-1,hot,power,88.4,,inst-7/power-w\n");
  OneReport tub(8);
  tub.set(0, 29.75);
  EXPECT_EQ(csv_lines_of(tub.spec, tub.report),
            "2026-11-24T09:00:30.120Z,rack-1,hot,temperature,29.7500,air,inst-rack-1/temperature\n");
}

TEST(Csv, TheRoomIsCalledRoom) {
  OneReport one(11);
  one.set(0, 21.4);
  EXPECT_THAT(csv_lines_of(one.spec, one.report),
              StartsWith("2026-11-24T09:00:30.120Z,room,room,temperature,21.4,air,inst-room/air\n"));
}

}  // namespace
}  // namespace baskwell::demoroom
