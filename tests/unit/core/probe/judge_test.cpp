// What one reading is worth.

#include "core/probe/judge.h"

#include <gtest/gtest.h>

#include <cmath>
#include <set>
#include <string>

#include "room_builder.h"
#include "seed.h"

namespace baskwell {
namespace {

using test::utc;

// One probe and two clocks that a test moves on.
struct Bench {
  explicit Bench(ProbeType type = ProbeType::digital_bus, Medium medium = Medium::air,
                 Quantity quantity = Quantity::temperature) {
    instrument.type = type;
    channel.quantity = quantity;
    channel.unit = judged_unit(quantity);
    range = plausible_range(instrument, channel, medium);
  }

  [[nodiscard]] ReadingEvent event(std::string_view value) const {
    ReadingEvent made;
    made.at = now;
    made.unit = channel.unit;
    if (const auto decimal = decimal_from(value)) {
      made.value = *decimal;
    } else {
      made.not_a_number = true;
    }
    return made;
  }
  Quality judge(const ReadingEvent& event) {
    return baskwell::judge(probe, range, event, judged_value(event.value, event.unit), trusted);
  }
  Quality hear(std::string_view value) { return judge(event(value)); }
  // With the instrument's own stamp, `age_ms` old.
  Quality hear_stamped(std::string_view value, std::int64_t age_ms = 0) {
    ReadingEvent made = event(value);
    made.has_own_time = true;
    made.measured = now.utc - age_ms;
    return judge(made);
  }
  void pass(std::int64_t ms) { now = {now.utc + ms, now.elapsed + ms}; }

  Instrument instrument;
  Channel channel;
  PlausibleRange range;
  ProbeState probe;
  Stamp now{utc("2026-06-10T12:00:00Z"), ElapsedMs{100 * hour_ms}};
  bool trusted = true;
};

TEST(Quality, HasANameForEach) {
  std::set<std::string_view> names;
  for (int i = 0; i < quality_count; ++i) names.insert(name_of(static_cast<Quality>(i)));
  EXPECT_EQ(names.size(), static_cast<std::size_t>(quality_count));
  EXPECT_EQ(names.count(""), 0U);
}

TEST(Judge, NotFiniteNeverRefreshes) {
  Bench bench;
  EXPECT_EQ(bench.hear("25"), Quality::good);
  const ElapsedMs last = bench.probe.last_good_at;
  for (int i = 0; i < 100; ++i) {
    bench.pass(minute_ms);
    EXPECT_EQ(bench.hear("nan"), Quality::not_finite);
  }
  EXPECT_EQ(bench.probe.last_good_at, last);
  EXPECT_EQ(bench.probe.last_good, 25.0);
}

// Digital one-wire sensor: -55..125 degC (data sheet of the common one). Its disconnect value is -127.
TEST(Judge, OutsideTheInstrument) {
  Bench bench(ProbeType::digital_bus, Medium::surface);
  EXPECT_EQ(bench.hear("125.0625"), Quality::outside_instrument);
  EXPECT_EQ(bench.hear("-55.0625"), Quality::outside_instrument);
  EXPECT_EQ(bench.hear("-127"), Quality::fault_code);
  Bench humid(ProbeType::capacitive_rh, Medium::air, Quantity::humidity);
  EXPECT_EQ(humid.hear("100.1"), Quality::outside_instrument);
  EXPECT_EQ(humid.hear("-0.1"), Quality::outside_instrument);
  EXPECT_EQ(humid.hear("100"), Quality::good);
}

TEST(Judge, DeclaredRangeGoesBeforeTheKinds) {
  Bench bench(ProbeType::thermistor);
  bench.channel.measures_low = 0;
  bench.channel.measures_high = 50;
  bench.range = plausible_range(bench.instrument, bench.channel, Medium::air);
  EXPECT_EQ(bench.hear("50.1"), Quality::outside_instrument);
  EXPECT_EQ(bench.hear("-0.1"), Quality::outside_instrument);
  EXPECT_EQ(bench.hear("50"), Quality::good);
}

TEST(Judge, OutsideTheMedium) {
  Bench water(ProbeType::generic, Medium::water);
  EXPECT_EQ(water.hear("-5"), Quality::outside_medium);
  EXPECT_EQ(water.hear("70"), Quality::outside_medium);
  Bench air(ProbeType::generic, Medium::air);
  EXPECT_EQ(air.hear("95"), Quality::outside_medium);
  Bench surface(ProbeType::generic, Medium::surface);
  EXPECT_EQ(surface.hear("95"), Quality::good);  // a surface under a lamp can be
}

TEST(Judge, PowerOnValueIsolatedOrLedUpTo) {
  Bench first(ProbeType::digital_bus, Medium::surface);
  EXPECT_EQ(first.hear("85"), Quality::fault_code);  // nothing before it
  Bench isolated(ProbeType::digital_bus, Medium::surface);
  EXPECT_EQ(isolated.hear("40"), Quality::good);
  // However often it comes and however long it lasts: the probe has restarted and says nothing.
  for (int i = 0; i < 200; ++i) {
    isolated.pass(minute_ms);
    EXPECT_EQ(isolated.hear("85.0"), Quality::fault_code) << i;
  }
  EXPECT_EQ(isolated.hear("40"), Quality::good);

  Bench rising(ProbeType::digital_bus, Medium::surface);
  for (const char* value : {"74", "77", "80", "82.5", "85.0000", "87"}) {
    EXPECT_EQ(rising.hear(value), Quality::good) << value;
    rising.pass(minute_ms);
  }
  Bench fahrenheit(ProbeType::digital_bus, Medium::surface);
  fahrenheit.channel.unit = Unit::degf;
  EXPECT_EQ(fahrenheit.hear("104"), Quality::good);
  fahrenheit.pass(minute_ms);
  EXPECT_EQ(fahrenheit.hear("185.0"), Quality::fault_code);
  EXPECT_EQ(fahrenheit.hear("-196.6"), Quality::fault_code);  // -127 degC

  Bench thermistor(ProbeType::thermistor, Medium::surface);
  EXPECT_EQ(thermistor.hear("85"), Quality::good);  // means nothing to other kinds
}

TEST(Judge, AJumpNeedsTwoReadingsThatAgree) {
  Bench bench;
  EXPECT_EQ(bench.hear("25"), Quality::good);
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("28"), Quality::good);  // 3 degC between two samples is still believed
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("40"), Quality::jump);
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("28.1"), Quality::good);  // it was a spike
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("40"), Quality::jump);  // the first spike does not vouch for the second
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("50"), Quality::jump);  // nor do two that differ
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear("51"), Quality::good);
  EXPECT_EQ(bench.probe.last_good, 51.0);
}

TEST(Judge, OneMessageDeliveredTwiceIsOneReading) {
  Bench bench;
  EXPECT_EQ(bench.hear_stamped("25"), Quality::good);
  EXPECT_EQ(bench.hear_stamped("25"), Quality::duplicate);
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear_stamped("40"), Quality::jump);
  EXPECT_EQ(bench.hear_stamped("40"), Quality::duplicate);  // a spike does not confirm itself
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear_stamped("40", 10 * second_ms), Quality::duplicate);
  EXPECT_EQ(bench.hear_stamped("40"), Quality::good);
}

TEST(Judge, AfterAPauseMoreIsBelieved) {
  Bench bench;
  EXPECT_EQ(bench.hear("25"), Quality::good);
  bench.pass(20 * minute_ms);
  EXPECT_EQ(bench.hear("35"), Quality::good);
}

TEST(Judge, OutOfOrderAndFromTheFuture) {
  Bench bench;
  EXPECT_EQ(bench.hear_stamped("25"), Quality::good);
  EXPECT_EQ(bench.hear_stamped("25.1", minute_ms), Quality::out_of_order);
  EXPECT_EQ(bench.hear_stamped("25.1", -2 * minute_ms), Quality::good);  // a little ahead is forgiven
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear_stamped("25.1", -2 * minute_ms - 1), Quality::from_future);
  // The same moment with another value is another reading.
  bench.pass(3 * minute_ms);
  EXPECT_EQ(bench.hear_stamped("25.2"), Quality::good);
  EXPECT_EQ(bench.hear_stamped("25.3"), Quality::good);
}

TEST(Judge, OurUnsureClockHoldsNothingAgainstAnInstrument) {
  Bench bench;
  bench.trusted = false;
  bench.now.utc = utc("1970-01-01T00:10:00Z");
  ReadingEvent event = bench.event("25");
  event.has_own_time = true;
  event.measured = utc("2026-06-10T12:00:00Z");
  EXPECT_EQ(bench.judge(event), Quality::good);
  EXPECT_EQ(bench.probe.last_good_at, bench.now.elapsed);
}

TEST(Judge, OurClockSetBackPutsNothingOutOfOrder) {
  Bench bench;
  for (const std::int64_t step_ms : {-hour_ms, hour_ms, -3650 * day_ms}) {
    EXPECT_EQ(bench.hear("25"), Quality::good);
    bench.pass(10 * second_ms);
    bench.now.utc = bench.now.utc + step_ms;
    EXPECT_EQ(bench.hear("25.1"), Quality::good) << step_ms;
    bench.pass(10 * second_ms);
    EXPECT_EQ(bench.hear("40"), Quality::jump) << step_ms;  // nor does it make a jump likelier
    bench.pass(10 * second_ms);
  }
  // Readings came 10 or, around a jump, 20 s apart; no step was learned.
  EXPECT_GE(bench.probe.learned_interval_ms, 10 * second_ms);
  EXPECT_LE(bench.probe.learned_interval_ms, 20 * second_ms);
}

TEST(Judge, QueuedWithoutATimeAndRetainedAreNeverJudged) {
  Bench bench;
  ReadingEvent queued = bench.event("25");
  queued.queued = true;
  EXPECT_EQ(bench.judge(queued), Quality::no_time);
  ReadingEvent retained = bench.event("25");
  retained.retained = true;
  EXPECT_EQ(bench.judge(retained), Quality::retained);
  retained.has_own_time = true;
  retained.measured = bench.now.utc;
  EXPECT_EQ(bench.judge(retained), Quality::retained);
  EXPECT_FALSE(bench.probe.heard);
  queued.has_own_time = true;
  queued.measured = bench.now.utc - hour_ms;
  EXPECT_EQ(bench.judge(queued), Quality::good);
  EXPECT_EQ(bench.probe.last_good_at, bench.now.elapsed - hour_ms);  // as old as it is
}

TEST(Judge, ExtremeStampsAreHeldWithinTheCalendar) {
  for (const std::int64_t ms : {INT64_MIN, INT64_MIN + 1, INT64_MAX, INT64_MAX - 1}) {
    for (const bool trusted : {true, false}) {
      Bench bench;
      bench.trusted = trusted;
      ReadingEvent event = bench.event("25");
      event.has_own_time = true;
      event.measured = UtcMs{ms};
      const Quality quality = bench.judge(event);
      EXPECT_EQ(quality, trusted && ms > 0 ? Quality::from_future : Quality::good);
      bench.pass(second_ms);
      EXPECT_EQ(bench.hear("25.1"), Quality::good);
      EXPECT_LE(silence_limit_ms(bench.probe, bench.instrument), 10 * hour_ms);
    }
  }
}

TEST(Freshness, IntervalIsDeclaredOrLearned) {
  Bench bench;
  EXPECT_EQ(silence_limit_ms(bench.probe, bench.instrument), 15 * minute_ms);
  EXPECT_EQ(long_silence_limit_ms(bench.probe, bench.instrument), hour_ms);
  for (int i = 0; i < 50; ++i) {
    EXPECT_EQ(bench.hear(i % 2 == 0 ? "25" : "25.1"), Quality::good);
    bench.pass(10 * minute_ms);
  }
  EXPECT_EQ(silence_limit_ms(bench.probe, bench.instrument), 50 * minute_ms);
  bench.pass(5 * hour_ms);  // an outage is not a habit
  EXPECT_EQ(bench.hear("25"), Quality::good);
  EXPECT_EQ(silence_limit_ms(bench.probe, bench.instrument), 50 * minute_ms);
  bench.instrument.interval_ms = 30 * minute_ms;
  EXPECT_EQ(silence_limit_ms(bench.probe, bench.instrument), 150 * minute_ms);
  EXPECT_EQ(long_silence_limit_ms(bench.probe, bench.instrument), 600 * minute_ms);
}

// An instrument whose clock stands at 1970 until it finds the time.
TEST(Freshness, OneWrongStampIsNotLearned) {
  Bench bench;
  ReadingEvent first = bench.event("25");
  first.has_own_time = true;
  first.measured = UtcMs{5000};
  EXPECT_EQ(bench.judge(first), Quality::good);
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear_stamped("25"), Quality::good);
  bench.pass(10 * second_ms);
  EXPECT_EQ(bench.hear_stamped("25"), Quality::good);
  EXPECT_EQ(silence_limit_ms(bench.probe, bench.instrument), 15 * minute_ms);
}

TEST(Frozen, SameDigitsForHours) {
  Bench bench;
  for (std::int64_t ms = 0; ms <= 4 * hour_ms; ms += minute_ms) {
    EXPECT_FALSE(is_frozen(bench.probe, Quantity::temperature)) << ms;
    EXPECT_EQ(bench.hear("24.50"), Quality::good);
    bench.pass(minute_ms);
  }
  EXPECT_TRUE(is_frozen(bench.probe, Quantity::temperature));
  EXPECT_FALSE(is_frozen(bench.probe, Quantity::humidity));  // stands still for longer
  EXPECT_FALSE(is_frozen(bench.probe, Quantity::light));     // all night, rightly
  EXPECT_EQ(bench.hear("24.56"), Quality::good);
  EXPECT_FALSE(is_frozen(bench.probe, Quantity::temperature));
}

TEST(Frozen, TheSmallestStepIsMovement) {
  Bench bench;
  for (int i = 0; i < 600; ++i) {
    EXPECT_EQ(bench.hear(i % 60 == 0 ? "24.5625" : "24.5000"), Quality::good);
    EXPECT_FALSE(is_frozen(bench.probe, Quantity::temperature));
    bench.pass(minute_ms);
  }
}

TEST(Frozen, AGapIsNoProofOfStandingStill) {
  Bench bench;
  for (int i = 0; i < 60; ++i) {
    EXPECT_EQ(bench.hear("24.5"), Quality::good);
    bench.pass(minute_ms);
  }
  bench.pass(5 * hour_ms);
  EXPECT_EQ(bench.hear("24.5"), Quality::good);
  EXPECT_FALSE(is_frozen(bench.probe, Quantity::temperature));
}

TEST(Frozen, AFewReadingsAreNoProof) {
  Bench bench;
  bench.instrument.interval_ms = 30 * minute_ms;
  for (int i = 0; i < 19; ++i) {
    EXPECT_EQ(bench.hear("24.5"), Quality::good);
    EXPECT_FALSE(is_frozen(bench.probe, Quantity::temperature));
    bench.pass(14 * minute_ms);
  }
}

// A probe of 1/16 degC under a slow change, one reading in 10 s: nothing of it is a jump or frozen.
TEST(Judge, SixteenthsOfADegreeAreGoodReadings) {
  std::mt19937_64 random(test::announced_seed());
  Bench bench;
  std::int64_t sixteenths = 400;
  for (int i = 0; i < 20000; ++i) {
    sixteenths += test::between(random, -2, 2);
    sixteenths = std::clamp<std::int64_t>(sixteenths, 0, 960);
    ASSERT_EQ(bench.hear(to_text({sixteenths * 625, 4})), Quality::good);
    ASSERT_EQ(bench.probe.last_good, static_cast<double>(sixteenths) / 16.0);
    bench.pass(10 * second_ms);
  }
}

// Whatever comes: no state is lost, only good readings move it, and time told to it never runs back.
TEST(Judge, RandomStreamsKeepTheRules) {
  std::mt19937_64 random(test::announced_seed());
  for (int round = 0; round < 100; ++round) {
    Bench bench(test::one_in(random, 2) ? ProbeType::digital_bus : ProbeType::generic);
    for (int i = 0; i < 500; ++i) {
      bench.pass(test::between(random, 0, 5 * minute_ms));
      ReadingEvent event = bench.event(test::one_in(random, 20) ? "nan" : "0");
      event.value = {test::one_in(random, 10) ? 850 : test::between(random, -1400, 1600), 1};
      event.has_own_time = test::one_in(random, 2);
      event.measured = bench.now.utc + test::between(random, -hour_ms, 10 * minute_ms);
      event.queued = test::one_in(random, 10);
      event.retained = test::one_in(random, 20);
      bench.trusted = !test::one_in(random, 10);
      const ProbeState before = bench.probe;
      const Quality quality = bench.judge(event);
      ASSERT_GE(bench.probe.last_good_at, before.last_good_at);
      if (quality != Quality::good) {
        ASSERT_EQ(bench.probe.last_good, before.last_good);
        ASSERT_EQ(bench.probe.last_good_at, before.last_good_at);
        ASSERT_EQ(bench.probe.same_count, before.same_count);
        continue;
      }
      ASSERT_FALSE(event.retained || (event.queued && !event.has_own_time) || event.not_a_number);
      const double value = judged_value(event.value, event.unit);
      ASSERT_EQ(bench.probe.last_good, value);
      ASSERT_TRUE(value >= bench.range.low && value <= bench.range.high);
      ASSERT_TRUE(value >= bench.range.medium_low && value <= bench.range.medium_high);
      ASSERT_GE(bench.probe.learned_interval_ms, 0);
    }
  }
}

}  // namespace
}  // namespace baskwell
