#pragma once
// The inside of HeatWatch, for the files of core/heat only.

#include <array>
#include <limits>
#include <string>
#include <vector>

#include "core/heat/heat_watch.h"
#include "core/heat/statistics/control_charts.h"
#include "core/heat/track.h"
#include "core/heat/unit.h"

namespace baskwell::heat {

inline constexpr double not_known = std::numeric_limits<double>::quiet_NaN();
inline constexpr UtcMs never{INT64_MIN};

// Sums of degrees beyond a margin, times the minutes they lasted; what the figures rest on: decisions/0012.
// Within the normal range they are reset, so the run length in control is that of a single excursion.
inline constexpr CusumPlan beyond_plan{
    .target = 0, .allowance = 0.25, .threshold = 1.0, .side = Side::high, .clip = 4.0};
inline constexpr CusumPlan room_plan{
    .target = 0, .allowance = 1.3, .threshold = 20.0, .side = Side::high, .clip = 12.0};
// One sample's value for such a sum: it grows by what is beyond the margin, for each minute.
[[nodiscard]] inline double value_for(const CusumPlan& plan, double beyond_k, double margin_k,
                                      double minutes) {
  return plan.allowance + (beyond_k - margin_k) * minutes;
}

// A change at one stroke of one probe, while it is not yet known whether it lasts.
struct StepSeen {
  UtcMs at = never;     // never: none
  double before_k = 0;  // residual before it
  double size_k = 0;
  double others_k = 0;  // what the other probe of the enclosure did at the same time
};

struct Probe {
  Index channel = none;
  Index unit = none;  // none: the room's air, or an enclosure without heating
  SpotKey spot;
  Track track;
  StepSeen step;
  std::size_t moved_point = SIZE_MAX;
  UtcMs learn_from = never;  // after a note: it counts as new from here
};

// What holds at one point, so that only changes are reported.
struct Held {
  bool present = false;
  bool harm_near = false;
  std::optional<AlarmKind> other;
  UtcMs since = never;
  std::string detail;
};

// Means of an hour over ten days, held phases only; NaN where there was none.
struct HourLevels {
  static constexpr std::size_t size = 240;
  std::array<float, size> level_k{};
  std::size_t count = 0;  // ever, kept small
  double sum = 0;
  int n = 0;
  std::int64_t hour = INT64_MIN;  // since 1970, UTC
  void add(std::int64_t hour_now, double residual_k, bool counts);
  [[nodiscard]] double at(std::size_t hours_ago) const;  // 0: the newest whole hour; NaN: none
  [[nodiscard]] double mean(std::size_t from_hours_ago, std::size_t to_hours_ago) const;  // both included
  [[nodiscard]] double median_of_day(std::size_t days_ago) const;  // NaN: fewer than five hours
  void clear() { *this = HourLevels(); }
};

struct UnitState {
  Unit unit;
  std::size_t lead = SIZE_MAX;  // index into probes
  std::size_t cool = SIZE_MAX;
  std::vector<std::size_t> probes;
  std::array<std::size_t, alarm_kind_count> point{};  // by kind; SIZE_MAX: none

  // Evidence that runs from sample to sample.
  Cusum below{beyond_plan};  // K min beyond the normal range and its margin
  Cusum above{beyond_plan};
  UtcMs below_since = never;
  UtcMs above_since = never;
  UtcMs last_normal = never;  // newest sample within the normal range
  UtcMs last_above = never;
  UtcMs last_below = never;
  double dips = 0.6;   // falls that came to nothing, of late; some are believed until a week shows none
  double bumps = 0.6;  // rises likewise: what a thermostat overshoots after a door
  bool bump_waits = false;
  bool dip_waits = false;          // one goes on that would be told if there were no doors
  UtcMs fast_at = never;           // it fell faster than its own cooling
  double agreed_degc = not_known;  // what was expected when it last was as expected
  UtcMs level_since = never;       // it keeps another level since
  UtcMs level_looked = never;
  double level_k = 0;
  UtcMs recovering_since = never;  // after an outage or a gap
  UtcMs outage_to = never;
  HourLevels levels;
  std::array<float, bins_per_day> last_day{};  // mean of each quarter of an hour, newest
  std::array<std::int64_t, bins_per_day> last_day_at{};
  double quarter_sum = 0;
  int quarter_n = 0;
  int quarter = -1;
  std::int64_t hour = INT64_MIN;
  UtcMs held_since = never;    // no change of day and night goes on
  int wide_hours = 0;          // in a row with a swing beyond the usual
  UtcMs narrow_since = never;  // the ends are close together since
  Wanted wanted;               // of the lead's spot, now
  int shift_min = 0;           // by which the day's course is late, once found
  int shift_agrees = 0;
  std::vector<Belief::Change> changes;  // newest last, at most 12
};

struct HeatWatch::Inside {
  const Room& room;
  std::vector<Point> points;
  std::vector<Held> held;
  std::vector<UnitState> units;
  std::vector<Probe> probes;
  std::vector<std::size_t> probe_of_channel;  // SIZE_MAX: none
  std::size_t room_probe = SIZE_MAX;
  std::size_t room_cold_point = SIZE_MAX, room_hot_point = SIZE_MAX;
  Cusum room_below{room_plan}, room_above{room_plan};
  std::vector<Fact>* facts = nullptr;

  explicit Inside(const Room& the_room);

  // heat_watch.cpp
  void set(std::size_t point, bool present, bool harm_near, std::optional<AlarmKind> other, double value,
           UtcMs at, std::string detail);
  [[nodiscard]] bool holds(std::size_t point) const { return point != SIZE_MAX && held[point].present; }
  [[nodiscard]] double room_deviation_k(UtcMs at) const;  // 0: not known
  [[nodiscard]] double around_degc(const UnitState& unit, UtcMs at) const;
  [[nodiscard]] const Probe* fresh(std::size_t probe, UtcMs at) const;

  // judge_unit.cpp: minutes
  struct Witness {       // what the other probes say of a fall or rise of the leading one
    bool alone = false;  // other tubs on the same thermostat do not move with it
    bool together = false;
    double cool_k_per_h = not_known;
    double cool_k = not_known;  // its residual
  };
  struct Look {
    double around = not_known;
    double margin_k = 0;
    double below_k = 0, above_k = 0;  // beyond the normal range
    double slope = not_known;         // K/h
    double of_free = not_known;       // pace of the last minutes as a share of its own free cooling
    double below_min = 0;             // minutes since it was normal
    double drop_k = not_known;        // within minutes
    bool fast = false;                // it fell faster than its own cooling a little while ago
    bool was_fast = false;
    bool overshoots = false;  // it comes back from a fall
    Witness witness;
  };
  [[nodiscard]] Witness witness_of(const UnitState& unit, double drop_k) const;
  void follow(UnitState& unit, Look& now);
  void count_dips(UnitState& unit);
  void judge_cold(UnitState& unit, const Look& now);
  void judge_warm(UnitState& unit, const Look& now);
  void judge_unit(UnitState& unit);
  // judge_slow.cpp: hours and days
  void judge_hourly(UnitState& unit);
  void judge_level(UnitState& unit);
  void name_level(UnitState& unit, double level_k, bool swings, bool same_swing, double ratio);
  void judge_drift(UnitState& unit);
  void judge_swing(UnitState& unit);
  void judge_shift(UnitState& unit);
  void judge_gradient(UnitState& unit);
  // judge_probe.cpp
  void judge_probe(Probe& probe);
  void judge_room(Probe& probe);
};

[[nodiscard]] inline std::size_t point_of(const UnitState& unit, AlarmKind kind) {
  return unit.point[static_cast<std::size_t>(kind)];
}

[[nodiscard]] std::string whole_text(double value);  // "97"
[[nodiscard]] std::string degc_text(double degc);    // "31.4 °C"
[[nodiscard]] std::string k_text(double kelvin);     // "1.4 °C", never negative
[[nodiscard]] std::string duration_words(double minutes);
[[nodiscard]] std::string clock_words(const ZoneRules& zone, UtcMs at);  // "04:10"

}  // namespace baskwell::heat
