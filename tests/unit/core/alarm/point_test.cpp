// The rules of one alarm point, each by itself. OPC 10000-9 (as read): an on-delay must hold for the whole
// delay, a deadband acts on return only; the rest are rules of ours, in the head of point.h.

#include "core/alarm/point.h"

#include <gtest/gtest.h>

#include <limits>
#include <optional>
#include <ostream>

namespace baskwell {

static void PrintTo(const PointChange& change, std::ostream* out) {
  *out << name_of(change.input) << (change.level == Level::harm ? " at harm" : " at target");
}
static bool operator==(const PointChange& a, const PointChange& b) {
  return a.input == b.input && a.level == b.level;
}

namespace {

constexpr double inf = std::numeric_limits<double>::infinity();
constexpr std::int64_t utc_of_boot_ms = 1'764'000'000'000;
constexpr PointChange occurs{AlarmInput::occurs, Level::target};
constexpr PointChange occurs_at_harm{AlarmInput::occurs, Level::harm};
constexpr std::optional<PointChange> nothing;

// too-hot at target 33, harm 38: 15 and 5 minutes on, 10 off, deadband 0.5, worse by 1.
AlarmSettings hot_settings() {
  return row_of(AlarmKind::too_hot).defaults;
}

// The point with the engine's part played: the state follows every change.
class Bench {
 public:
  explicit Bench(AlarmSettings settings = hot_settings()) : settings_(settings) {}

  std::optional<PointChange> reads(double at_min, double value_degc) {
    return applied(
        update(point, settings_, {value_degc - 33, value_degc - 38, value_degc, 33}, stamp(at_min)));
  }
  std::optional<PointChange> fault(double at_min, bool there) {
    return applied(update(point, settings_, {there ? 1 : -inf, -inf, 0, 0, true}, stamp(at_min)));
  }
  std::optional<PointChange> passes(double at_min) {
    return applied(pass_time(point, settings_, stamp(at_min)));
  }
  std::optional<PointChange> goes_silent(double at_min) {
    return applied(raise_pending_harm(point, settings_, stamp(at_min)));
  }
  void person(AlarmInput input) {
    const auto to = next_state(point.state, input, condition_holds(point));
    ASSERT_TRUE(to.has_value());
    point.state = *to;
    if (input == AlarmInput::acknowledge) take_acknowledgement(point);
  }
  [[nodiscard]] double due_min() const {
    return static_cast<double>(next_due(point, settings_).ms) / minute_ms;
  }
  [[nodiscard]] bool never_due() const { return next_due(point, settings_).ms == INT64_MAX; }

  static Stamp stamp(double at_min) {
    const auto ms = static_cast<std::int64_t>(at_min * minute_ms);
    return {UtcMs{utc_of_boot_ms + ms}, ElapsedMs{ms}};
  }

  PointState point;

 private:
  std::optional<PointChange> applied(std::optional<PointChange> change) {
    if (change) {
      const auto to = next_state(point.state, change->input, condition_holds(point));
      EXPECT_TRUE(to.has_value()) << "not in the table: " << name_of(point.state);
      if (to) point.state = *to;
    }
    return change;
  }

  AlarmSettings settings_;
};

// Too hot at 34 since minute 0, told at minute 15.
Bench raised_at_34() {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 34), nothing);
  EXPECT_EQ(bench.reads(1, 34), nothing);
  EXPECT_EQ(bench.passes(15), occurs);
  return bench;
}

TEST(AlarmPoint, WaitsTheWholeOnDelayToTheMillisecond) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 34), nothing);
  EXPECT_EQ(bench.reads(1, 34), nothing);
  EXPECT_EQ(bench.due_min(), 15);
  EXPECT_EQ(bench.passes(15 - 1.0 / minute_ms), nothing);
  EXPECT_EQ(bench.passes(15), occurs);
  EXPECT_TRUE(bench.never_due());
  EXPECT_EQ(bench.point.began, Bench::stamp(0).utc);
  EXPECT_EQ(bench.point.raised, Bench::stamp(15).utc);
  EXPECT_EQ(bench.passes(60), nothing);
}

TEST(AlarmPoint, WantsTwoFactsBeyondHoweverLongTheDelay) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 34), nothing);
  EXPECT_TRUE(bench.never_due());
  EXPECT_EQ(bench.passes(60), nothing);
  EXPECT_EQ(bench.reads(61, 34), occurs);
  EXPECT_EQ(bench.point.began, Bench::stamp(0).utc);
}

TEST(AlarmPoint, TakesAFaultAtItsFirstWord) {
  Bench bench(row_of(AlarmKind::store_trouble).defaults);
  EXPECT_EQ(bench.fault(0, true), nothing);
  EXPECT_EQ(bench.due_min(), 1);
  EXPECT_EQ(bench.passes(1), occurs);
  Bench at_once(row_of(AlarmKind::delivery_failed).defaults);
  EXPECT_EQ(at_once.fault(0, true), occurs);
  EXPECT_EQ(at_once.fault(1, false), (PointChange{AlarmInput::returns, Level::target}));
}

TEST(AlarmPoint, OneFactInsideStartsTheOnDelayAnew) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 34), nothing);
  EXPECT_EQ(bench.reads(14, 34), nothing);
  EXPECT_EQ(bench.reads(14.5, 33), nothing) << "at the limit is not beyond it";
  EXPECT_TRUE(bench.never_due());
  EXPECT_EQ(bench.reads(15, 34), nothing);
  EXPECT_EQ(bench.reads(16, 34), nothing);
  EXPECT_EQ(bench.due_min(), 30);
  EXPECT_EQ(bench.passes(30), occurs);
  EXPECT_EQ(bench.point.began, Bench::stamp(15).utc);
}

TEST(AlarmPoint, DeadbandActsOnReturnOnly) {
  Bench pending;
  EXPECT_EQ(pending.reads(0, 34), nothing);
  EXPECT_EQ(pending.reads(1, 32.9), nothing);
  EXPECT_TRUE(pending.never_due()) << "inside by less than the deadband, but not yet active";

  Bench bench = raised_at_34();
  EXPECT_EQ(bench.reads(16, 32.6), nothing) << "not inside by the deadband";
  EXPECT_TRUE(bench.never_due());
  EXPECT_EQ(bench.reads(17, 32.5), nothing);
  EXPECT_EQ(bench.due_min(), 27);
}

TEST(AlarmPoint, ReturnsAfterTheWholeOffDelay) {
  Bench bench = raised_at_34();
  EXPECT_EQ(bench.reads(20, 30), nothing);
  EXPECT_EQ(bench.reads(29, 32.7), nothing) << "back within the deadband: the wait is over";
  EXPECT_TRUE(bench.never_due());
  EXPECT_EQ(bench.reads(31, 30), nothing);
  EXPECT_EQ(bench.passes(40.9), nothing);
  EXPECT_EQ(bench.passes(41), (PointChange{AlarmInput::returns, Level::target}));
  EXPECT_EQ(bench.point.state, AlarmState::returned_unacknowledged);
  EXPECT_EQ(bench.point.level, Level::target) << "kept until somebody has seen it";
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.point.level, Level::none);
}

TEST(AlarmPoint, HarmHasItsOwnShorterDelay) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 34), nothing);
  EXPECT_EQ(bench.reads(3, 39), nothing);
  EXPECT_EQ(bench.reads(4, 39), nothing);
  EXPECT_EQ(bench.passes(8), occurs_at_harm);
  EXPECT_EQ(bench.point.began, Bench::stamp(0).utc) << "it began with the target";
  EXPECT_EQ(bench.point.worst_value, 39);
  EXPECT_EQ(bench.passes(15), nothing) << "the target's delay ends in an alarm already told";
}

TEST(AlarmPoint, HarmAloneIsAnAlarmWhereThereIsNoTarget) {
  PointState point;
  const AlarmSettings settings = hot_settings();
  EXPECT_EQ(update(point, settings, {-inf, 1, 39, 0}, Bench::stamp(0)), nothing);
  EXPECT_EQ(update(point, settings, {-inf, 2, 40, 0}, Bench::stamp(5)), occurs_at_harm);
  EXPECT_EQ(point.worst_excess, 2);
}

TEST(AlarmPoint, ReachingHarmIsToldOnceWhileUnacknowledged) {
  Bench bench = raised_at_34();
  EXPECT_EQ(bench.reads(16, 36), nothing) << "a steady rise does not message every degree";
  EXPECT_EQ(bench.reads(17, 37.9), nothing);
  EXPECT_EQ(bench.reads(20, 38.5), nothing);
  EXPECT_EQ(bench.reads(21, 38.5), nothing);
  EXPECT_EQ(bench.passes(25), (PointChange{AlarmInput::worsens, Level::harm}));
  EXPECT_EQ(bench.reads(26, 45), nothing);
  EXPECT_EQ(bench.reads(30, 34), nothing);
  EXPECT_EQ(bench.passes(40), nothing) << "from harm back to target is not told";
  EXPECT_EQ(bench.point.level, Level::harm) << "the highest of the occurrence";
}

TEST(AlarmPoint, AcknowledgedTellsAgainWhenWorseOrAtHarm) {
  Bench bench = raised_at_34();
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.reads(16, 34.9), nothing);
  EXPECT_EQ(bench.reads(17, 35), (PointChange{AlarmInput::realarm, Level::target}));
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.reads(18, 35.9), nothing) << "worse than told, but not by the step";
  EXPECT_EQ(bench.reads(19, 39), (PointChange{AlarmInput::realarm, Level::target}));
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.reads(20, 39), nothing);
  EXPECT_EQ(bench.passes(24), (PointChange{AlarmInput::realarm, Level::harm}));
}

TEST(AlarmPoint, AcknowledgedTellsHarmAgainAfterItWasBack) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 39), nothing);
  EXPECT_EQ(bench.reads(5, 39), occurs_at_harm);
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.reads(6, 36), nothing);
  EXPECT_EQ(bench.passes(16), nothing) << "harm is over, the target not";
  EXPECT_EQ(bench.reads(20, 38.6), nothing);
  EXPECT_EQ(bench.reads(25, 38.6), (PointChange{AlarmInput::realarm, Level::harm}));
}

TEST(AlarmPoint, AcknowledgedBelowTheLimitCountsWorseFromTheLimit) {
  Bench bench = raised_at_34();
  EXPECT_EQ(bench.reads(16, 20), nothing);
  bench.person(AlarmInput::acknowledge);
  EXPECT_EQ(bench.reads(17, 33.5), nothing) << "13 degrees up, but hardly beyond";
  EXPECT_EQ(bench.reads(18, 34), (PointChange{AlarmInput::realarm, Level::target}));
}

TEST(AlarmPoint, RecursAfterItReturned) {
  Bench bench = raised_at_34();
  EXPECT_EQ(bench.reads(20, 30), nothing);
  EXPECT_EQ(bench.passes(30), (PointChange{AlarmInput::returns, Level::target}));
  EXPECT_EQ(bench.reads(40, 34), nothing);
  EXPECT_EQ(bench.reads(55, 34), occurs);
  EXPECT_EQ(bench.point.state, AlarmState::unacknowledged);
}

TEST(AlarmPoint, NothingShelvedOrSuppressedCoversHarm) {
  for (const bool shelve : {true, false}) {
    Bench bench = raised_at_34();
    bench.person(shelve ? AlarmInput::shelve : AlarmInput::suppress);
    EXPECT_EQ(bench.reads(16, 37), nothing) << "worse is silent";
    EXPECT_EQ(bench.reads(20, 39), nothing);
    EXPECT_EQ(bench.reads(21, 39), nothing);
    EXPECT_EQ(bench.passes(25),
              (PointChange{shelve ? AlarmInput::unshelve : AlarmInput::unsuppress, Level::harm}));
    EXPECT_EQ(bench.point.state, AlarmState::unacknowledged);
    // Put back while it lasts, it comes out again with the next fact.
    bench.person(shelve ? AlarmInput::shelve : AlarmInput::suppress);
    EXPECT_EQ(bench.reads(26, 39),
              (PointChange{shelve ? AlarmInput::unshelve : AlarmInput::unsuppress, Level::harm}));
  }
}

TEST(AlarmPoint, OutOfServiceIsSilentEvenAtHarmAndKnowsTheConditionAfterwards) {
  Bench bench;
  bench.person(AlarmInput::take_out_of_service);
  EXPECT_EQ(bench.reads(0, 39), nothing);
  EXPECT_EQ(bench.reads(1, 39), nothing);
  EXPECT_EQ(bench.passes(5), nothing);
  EXPECT_EQ(bench.passes(15), nothing);
  EXPECT_EQ(bench.point.level, Level::harm);
  bench.person(AlarmInput::return_to_service);
  EXPECT_EQ(bench.point.state, AlarmState::unacknowledged);
}

TEST(AlarmPoint, ShelvedTimersGoOnInSilence) {
  Bench bench = raised_at_34();
  bench.person(AlarmInput::shelve);
  EXPECT_EQ(bench.reads(20, 30), nothing);
  EXPECT_EQ(bench.due_min(), 30);
  EXPECT_EQ(bench.passes(30), nothing);
  EXPECT_EQ(bench.point.level, Level::none);
  bench.person(AlarmInput::unshelve);
  EXPECT_EQ(bench.point.state, AlarmState::normal);
}

TEST(AlarmPoint, PendingHarmOfASilentProbeIsRaisedAtOnce) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 39), nothing);
  EXPECT_EQ(bench.goes_silent(2), occurs_at_harm);
  EXPECT_EQ(bench.goes_silent(3), nothing) << "only once";
  Bench target_only;
  EXPECT_EQ(target_only.reads(0, 34), nothing);
  EXPECT_EQ(target_only.goes_silent(2), nothing);
}

TEST(AlarmPoint, WorstStartsAnewWithEachCondition) {
  Bench bench;
  EXPECT_EQ(bench.reads(0, 37), nothing);
  EXPECT_EQ(bench.reads(1, 30), nothing);
  EXPECT_EQ(bench.reads(2, 34), nothing);
  EXPECT_EQ(bench.reads(20, 33.5), occurs);
  EXPECT_EQ(bench.point.worst_value, 34);
  EXPECT_EQ(bench.point.worst_excess, 1);
}

TEST(AlarmPointDeath, NaNIsABrokenInvariant) {
  PointState point;
  const AlarmSettings settings = hot_settings();
  const Fact fact{std::numeric_limits<double>::quiet_NaN(), -inf, 0, 0};
  EXPECT_DEATH((void)update(point, settings, fact, Bench::stamp(0)), "isnan");
}

}  // namespace
}  // namespace baskwell
