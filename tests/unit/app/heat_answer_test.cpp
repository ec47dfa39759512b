// The daemon's answer about an enclosure's heating, from an engine that has watched one for some days.
#include "app/heat_answer.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "core/moment.h"
#include "test_room.h"

namespace baskwell {
namespace {

namespace json = boost::json;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

// 2026-10-20T22:00:00Z: midnight in the room, whose clock is set back on 25 October at 01:00 UTC.
const UtcMs start = *utc_from_rfc3339("2026-10-20T22:00:00Z");

Room heated_room() {
  Room room = test::python_room();
  room.clock.changes = {{UtcMs{0}, 7200}, {*utc_from_rfc3339("2026-10-25T01:00:00Z"), 3600}};
  Heater mat;
  mat.id = "mat";
  mat.name = "Mat <1>";
  mat.kind = "mat";
  mat.socket = "7";
  mat.enclosures = {0};
  room.heaters.push_back(mat);
  Thermostat thermostat;
  thermostat.id = "stat";
  thermostat.heaters = {0};
  room.thermostats.push_back(thermostat);
  Enclosure bare;
  bare.id = "bare";
  room.enclosures.push_back(bare);
  return room;
}

class HeatAnswers : public testing::Test {
 protected:
  // Hot spot 31.5 by day and 28 by night with a thermostat's swing, cool end and room steady; every minute.
  void watch(std::int64_t days) {
    const std::int64_t minutes = days * 24 * 60;
    for (std::int64_t i = 0; i < minutes; ++i) {
      now_ = {now_.utc + minute_ms, now_.elapsed + minute_ms};
      const int local = local_minute(engine_.room().clock, now_.utc);
      const double kept = local >= 8 * 60 && local < 20 * 60 ? 31.5 : 28.0;
      const double swing = 0.6 * std::sin(static_cast<double>(i) / 14 * 2 * std::numbers::pi);
      read(0, kept + swing);
      read(1, 25.0 + 0.1 * swing);
      read(2, 20.0 + 0.1 * swing);
    }
  }
  void read(Index channel, double degc) {
    ReadingEvent event;
    event.at = now_;
    event.channel = channel;
    event.value = {std::llround(degc * 100), 2};
    engine_.step_reading(event, effects_);
    effects_.clear();
  }
  HeatAnswer answer(std::string_view enclosure, std::optional<Span> window = {}) {
    auto given = heat_answer(engine_, now_, enclosure, window);
    EXPECT_TRUE(given.ok()) << (given.ok() ? "" : given.error().text);
    return given.ok() ? given.value() : HeatAnswer{};
  }

  Stamp now_{start, ElapsedMs{1'000'000}};
  Engine engine_{std::make_shared<const Room>(heated_room()), now_};
  Effects effects_;
};

TEST_F(HeatAnswers, AtFirstItSaysUntilWhenNothingIsJudged) {
  watch(1);
  const HeatAnswer given = answer("shelf-1");
  EXPECT_THAT(given.text, AllOf(HasSubstr("Shelf 1: what is believed of its heating   22 Oct 00:00"),
                                HasSubstr("Mat <1> (mat) at socket 7"), HasSubstr("thermostat       stat\n"),
                                HasSubstr("heating not judged yet, until about "),
                                HasSubstr("Nothing can be said yet.")));
  const json::object data = json::parse(given.json).as_object();
  EXPECT_FALSE(data.at("heating").at("judged").as_bool());
  const auto until = utc_from_rfc3339(std::string(data.at("heating").at("judged_from").as_string()));
  ASSERT_TRUE(until);
  EXPECT_GT(*until, now_.utc);
  EXPECT_LT(*until, now_.utc + 5 * day_ms);
}

TEST_F(HeatAnswers, AfterSomeDaysItKnowsWhatIsKeptByDayAndNight) {
  watch(7);
  const HeatAnswer given = answer("Shelf 1");  // by name as well
  EXPECT_THAT(given.text, AllOf(HasSubstr("judged           yes. Learned from "), HasSubstr("by night"),
                                HasSubstr("hot spot, surface: "), HasSubstr("cool end: "),
                                HasSubstr("Its heating does as it usually does."), Not(HasSubstr("nan"))));
  const json::object heating = json::parse(given.json).at("heating").as_object();
  EXPECT_TRUE(heating.at("judged").as_bool());
  EXPECT_TRUE(heating.at("judged_from").is_null());
  EXPECT_NEAR(heating.at("day").at("level_degc").to_number<double>(), 31.5, 0.3);
  EXPECT_NEAR(heating.at("night").at("level_degc").to_number<double>(), 28.0, 0.3);
  EXPECT_EQ(heating.at("heaters").as_array().at(0).as_string(), "mat");
  EXPECT_EQ(heating.at("probes").as_array().at(0).at("channel").as_string(), "hot/value");
  EXPECT_EQ(heating.at("probes").as_array().at(0).at("course_degc").as_array().size(), 96U);
}

TEST_F(HeatAnswers, ThePictureFollowsTheClockOverItsChange) {
  watch(7);
  const Span window{*utc_from_rfc3339("2026-10-24T12:00:00Z"), *utc_from_rfc3339("2026-10-25T12:00:00Z")};
  const json::object data = json::parse(answer("shelf-1", window).json).as_object();
  const json::object picture = data.at("picture").as_object();
  EXPECT_EQ(picture.at("from_ms").as_int64(), window.from.ms);
  EXPECT_EQ(picture.at("clock_offset_s").as_array().size(), 2U);
  // Lights from 08:00 to 20:00 by the wall clock: dark for 13 hours in that night.
  const json::array dark = picture.at("lights_off_ms").as_array();
  ASSERT_EQ(dark.size(), 1U);
  EXPECT_EQ(dark[0].at(0).as_int64(), utc_from_rfc3339("2026-10-24T18:00:00Z")->ms);
  EXPECT_EQ(dark[0].at(1).as_int64(), utc_from_rfc3339("2026-10-25T07:00:00Z")->ms);
  const json::array frames = picture.at("frames").as_array();
  ASSERT_EQ(frames.size(), 3U);  // the one judged by first, the room's air last
  EXPECT_EQ(frames[0].at("title").as_string(), "hot spot, surface");
  EXPECT_EQ(frames[1].at("title").as_string(), "cool end");
  EXPECT_EQ(frames[2].at("title").as_string(), "room air");
  EXPECT_TRUE(frames[2].at("expected").as_array().empty());
  // Expected: what was kept at that wall clock hour, with a range around it.
  const auto expected_at = [&](const char* text) {
    const std::int64_t ms = utc_from_rfc3339(text)->ms;
    for (const json::value& row : frames[0].at("expected").as_array()) {
      if (std::llabs(row.at(0).as_int64() - ms) <= 8 * minute_ms) return row.as_array();
    }
    return json::array{};
  };
  for (const auto& [at, degc] : {std::pair{"2026-10-24T14:00:00Z", 31.5},
                                 {"2026-10-24T20:00:00Z", 28.0},
                                 {"2026-10-25T05:30:00Z", 28.0},
                                 {"2026-10-25T09:00:00Z", 31.5}}) {
    const json::array row = expected_at(at);
    ASSERT_EQ(row.size(), 4U) << at;
    EXPECT_NEAR(row[1].to_number<double>(), degc, 0.3) << at;
    EXPECT_LT(row[2].to_number<double>(), row[1].to_number<double>());
    EXPECT_GT(row[3].to_number<double>(), row[1].to_number<double>());
  }
  // Limits: day and night of the animal's band, harm limits throughout, in order.
  std::int64_t last = window.from.ms;
  double lowest = 1e9;
  double highest = -1e9;
  for (const json::value& row : frames[0].at("limits").as_array()) {
    EXPECT_GE(row.at(0).as_int64(), last);
    last = row.at(0).as_int64();
    lowest = std::min(lowest, row.at(1).to_number<double>());
    highest = std::max(highest, row.at(1).to_number<double>());
    EXPECT_EQ(row.at(3).to_number<double>(), 20);
    EXPECT_EQ(row.at(4).to_number<double>(), 36);
  }
  EXPECT_EQ(last, window.to.ms);
  EXPECT_EQ(lowest, 22);
  EXPECT_EQ(highest, 30);
}

TEST_F(HeatAnswers, WithoutHeatingThereIsNothingToBelieve) {
  const HeatAnswer given = answer("bare", Span{start, start + hour_ms});
  EXPECT_THAT(given.text, HasSubstr("the settings name no heater for it"));
  const json::object data = json::parse(given.json).as_object();
  EXPECT_TRUE(data.at("heating").is_null());
  EXPECT_EQ(data.at("picture").at("frames").as_array().size(), 1U);  // the room's air
}

TEST_F(HeatAnswers, RefusesWhatItCannotShow) {
  const auto why = [&](std::string_view enclosure, std::optional<Span> window) {
    auto given = heat_answer(engine_, now_, enclosure, window);
    return given.ok() ? std::string() : given.error().text;
  };
  EXPECT_THAT(why("attic", {}), HasSubstr("no enclosure is called 'attic'"));
  EXPECT_THAT(why("shelf-1", Span{start, start}), HasSubstr("14 days"));
  EXPECT_THAT(why("shelf-1", Span{start + hour_ms, start}), HasSubstr("14 days"));
  EXPECT_THAT(why("shelf-1", Span{start, start + 15 * day_ms}), HasSubstr("14 days"));
  EXPECT_THAT(why("shelf-1", Span{earliest_utc, latest_utc}), HasSubstr("14 days"));
  EXPECT_EQ(why("shelf-1", Span{earliest_utc, earliest_utc + day_ms}), "");
  EXPECT_EQ(why("shelf-1", Span{latest_utc - day_ms, latest_utc}), "");
}

}  // namespace
}  // namespace baskwell
