#pragma once
// The inside of OutageWatch, for the outage_*.cpp files of core/heat only. Moments named ..._e are by the
// elapsed clock of this boot.

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "core/heat/common_change.h"
#include "core/heat/light_course.h"
#include "core/heat/outage_watch.h"
#include "core/heat/unit.h"

namespace baskwell::heat {

// ---- Figures that several files use. Proposals without a source unless said otherwise.
// A shorter gap is a restart or a hiccup: nothing cools measurably in it.
inline constexpr std::int64_t shortest_outage_ms = 2 * minute_ms;
// An on-off thermostat may have been off for as long when the heating went: issue 3, periods up to 40 min.
inline constexpr std::int64_t longest_cycle_ms = 45 * minute_ms;
// What a gap has caused shows by then.
inline constexpr std::int64_t after_gap_ms = 90 * minute_ms;
// Settled at the latest: issue 3's outages helper brief, 6 h.
inline constexpr std::int64_t settled_by_ms = 6 * hour_ms;
// Lights-on and lights-off come once a day; two hours for timers that are late.
inline constexpr std::int64_t closed_after_ms = 26 * hour_ms;
inline constexpr std::size_t most_episodes = 8;

// Readings of the last hours at one place.
class Ring {
 public:
  static constexpr std::size_t size = 256;  // two hours of half-minute readings
  void push(ElapsedMs at, double degc, double expected_degc);
  void values_between(std::int64_t from_e, std::int64_t to_e, std::vector<TimedValue>& out) const;
  // The same, less what its course expected; nothing where that was not known.
  void residuals_between(std::int64_t from_e, std::int64_t to_e, std::vector<TimedValue>& out) const;
  [[nodiscard]] std::int64_t interval_ms() const;  // usual; 30 s where not known
  // Any rise of so many K within the span: something warms.
  [[nodiscard]] bool rises_by(double k, std::int64_t from_e, std::int64_t to_e) const;
  [[nodiscard]] double slope_k_per_h(std::int64_t from_e, std::int64_t to_e) const;  // NaN: too little

 private:
  std::array<std::int64_t, size> at_e_{};
  std::array<float, size> degc_{};
  std::array<float, size> expected_degc_{};
  std::size_t count_ = 0;  // ever
};

struct UnitWatch {
  Index lead = none;  // channel: a hot spot that it heats
  std::vector<Index> circuits;
  Ring ring;
  UnitCourse course;
  bool any = false;       // a course has been given in this run
  std::uint64_t out = 0;  // number of the outage that it is out in
  std::int64_t below_since_e = INT64_MIN;
  double day_most_k_per_h = 0;
  double usual_k_per_h = OutageLine::unknown;  // of its warm-ups
  std::int64_t day_of_most = INT64_MIN;
  double lowest_degc = OutageLine::unknown;  // since it is out
  std::int64_t lowest_e = 0;
};

struct LightWatch {
  Index channel = none;
  Index enclosure = none;
  std::vector<Index> circuits;
  LightCourse course;
  bool dark = false;     // went dark when it should not have
  bool missing = false;  // rather: did not come on when it should have
  std::int64_t dark_after_e = 0, dark_before_e = 0;
  std::int64_t lit_after_e = 0, lit_before_e = 0;  // when it came back; 0: it did not
  std::uint64_t out = 0;
  std::int64_t last_e = INT64_MIN;
  double odd_on_min = OutageLine::unknown, odd_off_min = OutageLine::unknown;
};

struct PowerWatch {
  Index channel = none;
  Index enclosure = none;
  std::vector<Index> circuits;
  int drawing = 0;      // readings in a row above nothing, at most 100
  int nothing = 0;      // readings in a row at nothing
  bool steady = false;  // it drew all the time before
  double usual_w = 0;   // the most of the last days
  std::int64_t last_drawing_e = 0;
  std::int64_t went_after_e = 0, first_nothing_e = 0;  // it stopped drawing between these
  std::int64_t back_e = 0;
  std::uint64_t out = 0;
};

struct InstrumentWatch {
  std::int64_t last_e = INT64_MIN;
  std::int64_t interval_ms = 0;
  std::uint32_t heard = 0;
  std::int64_t silent_since_e = 0;  // its last word, while it is out
  std::int64_t back_e = 0;
  std::uint64_t out = 0;
};

struct EnclosureWatch {
  Index lead = none;  // channel
  double last_degc = OutageLine::unknown;
  std::int64_t last_e = INT64_MIN;
  EnclosureCourse course;
  double before_k = 0;  // what it keeps against its course, over the last day
  std::int64_t course_e = INT64_MIN;
  // The middle between day and night, crossed by what is and by what is expected.
  double smooth_k = OutageLine::unknown, smooth_expected_k = OutageLine::unknown;
  bool sides_known = false, above = false, expected_above = false;
  std::array<std::int64_t, 2> crossed_e{INT64_MIN, INT64_MIN};  // downwards, upwards
  std::array<std::int64_t, 2> expected_crossed_e{INT64_MIN, INT64_MIN};
};

struct RoomWatch {
  Index channel = none;
  std::array<float, 24> hour_degc{};  // usual mean of an hour of the day
  std::array<std::uint16_t, 24> days{};
  double air_degc = OutageLine::unknown;  // of the last ten minutes
  std::int64_t last_e = INT64_MIN;
  double colder_k = 0;                // than usual at this hour, where that is known
  std::int64_t normal_e = INT64_MIN;  // when it was last as usual
  double lowest_degc = OutageLine::unknown;
  std::int64_t lowest_e = 0;
  int hour = -1;
  double sum = 0;
  int n = 0;
  std::uint64_t out = 0;
};

struct LineWatch {
  OutageLine line;
  Index enclosure = none;
  bool back_this_boot = true;
  std::int64_t normal_since_e = 0;  // 0: it is not
  double kept_before_k = 0;
  double kept_sum_k = 0;
  int kept_n = 0;
};

struct Episode {
  std::uint64_t number = 0;
  OutageRecord record;
  bool held = false;  // not told of yet: how long it was is not known while the clock is not
  bool from_this_boot = true, to_this_boot = true;
  std::optional<OutageKind> gap;  // broker, service or network: nothing was heard
  std::string gap_words;
  bool new_boot = false;
  bool heat = false;  // something was without power or heat
  bool from_known_well = false, to_known_well = false;
  std::int64_t opened_e = 0;
  std::int64_t pivot_e = INT64_MIN;  // the moment around which it was found
  std::int64_t fit_due_e = 0, end_guess_e = 0;
  std::vector<LineWatch> lines;
  bool told = false, told_again = false;
  int looks_told = 0;
  std::int64_t look_since_e = 0;  // something new to look at; 0: nothing
  bool changed = true;
  // How each unit stood while it lasted: afterwards it cannot be told any more.
  enum class Stand : std::uint8_t { cannot_tell, undecided, holds };
  std::vector<Stand> stands;
  std::vector<std::int64_t> able_e;  // since when it would show
  std::vector<double> able_degc;     // what was expected then
  std::vector<bool> lit;             // lights, likewise
  std::vector<bool> drawn;           // meters
};

// Something that is without power, heat or voice.
struct Source {
  enum class What : std::uint8_t { unit, light, power, silence };
  What what = What::unit;
  std::size_t index = 0;
  Index place = none;  // enclosure, so that one broken lamp is not two witnesses
  bool precise = false;
  std::int64_t after_e = 0, before_e = 0;  // it went between these; for a fall both are its top
};

struct OutageWatch::Inside {
  const Room& room;
  std::vector<Unit> units;
  std::vector<UnitWatch> unit_watches;
  std::vector<LightWatch> lights;
  std::vector<PowerWatch> powers;
  std::vector<InstrumentWatch> instruments;
  std::vector<EnclosureWatch> enclosures;
  RoomWatch room_air;
  std::vector<Episode> episodes;
  std::uint64_t last_number = 0;
  bool broker_connected = true;
  std::string broker_words;
  std::int64_t broker_lost_e = 0;
  std::int64_t last_any_e = INT64_MIN;
  std::int64_t any_interval_ms = 0;
  bool trusted = true, sure = true;
  Stamp now;

  explicit Inside(const Room& the_room);
  [[nodiscard]] UtcMs utc(std::int64_t at_e) const { return now.utc - (now.elapsed.ms - at_e); }
  [[nodiscard]] std::int64_t elapsed(UtcMs at) const { return now.elapsed.ms - (now.utc - at); }
  [[nodiscard]] Episode* episode(std::uint64_t number);

  // outage_watch.cpp: facts
  void hear_power(PowerWatch& power, double watts, Stamp at) const;
  void hear_instrument(InstrumentWatch& instrument, Stamp at);
  [[nodiscard]] bool is_below(const UnitWatch& unit) const;
  Episode& add_gap(OutageKind kind, UtcMs from, UtcMs to);

  // outage_lights.cpp
  void hear_light(LightWatch& light, double lux, Stamp at);
  void note_edge(LightWatch& light, const LightEdge& edge);
  void settle_by_timer(Episode& episode, const LightWatch& light, double late_min);
  void look_for_missing_lights();
  [[nodiscard]] bool near_edge(UtcMs at, Index enclosure) const;
  [[nodiscard]] bool soon_after_edge(UtcMs at, Index enclosure) const;  // of lights-off

  // outage_room.cpp
  void hear_room(double degc, Stamp at);
  void judge_room();

  // outage_common.cpp: what went together, when
  Episode& open(UtcMs from);
  [[nodiscard]] std::vector<Source> sources() const;
  void open_if_common();
  void join(Episode& episode, const Source& source);
  void join_more(Episode& episode);
  void look_after_gap(Episode& episode);
  void find_begin(Episode& episode);
  void find_end(Episode& episode, OutageNews& news);
  void end(Episode& episode, std::int64_t at_e, std::int64_t within_ms, bool well, OutageNews& news);

  // outage_saved.cpp: lines of a snapshot
  [[nodiscard]] bool load_light(LineReader& line);
  [[nodiscard]] bool load_unit(LineReader& line);
  [[nodiscard]] bool load_room(LineReader& line);

  // outage_kind.cpp: which, and why
  void name_kind(Episode& episode);
  void see_who_holds(Episode& episode);
  [[nodiscard]] bool holds(const UnitWatch& unit, const Episode& episode, std::int64_t since_e) const;
  [[nodiscard]] bool able(const UnitWatch& unit) const;
  [[nodiscard]] std::string evidence_of(const Episode& episode) const;

  // outage_check.cpp: the enclosures afterwards
  void follow_drop(EnclosureWatch& enclosure) const;
  void follow_lines(Episode& episode);
  void follow_line(Episode& episode, LineWatch& watch);
  void follow_drop_of(const Episode& episode, LineWatch& watch) const;
  [[nodiscard]] bool within_reach(const Episode& episode, Index enclosure) const;
  void write_words(Episode& episode, LineWatch& watch, bool final_words) const;
  void move_on(Episode& episode, OutageNews& news);
  [[nodiscard]] OutageRecord record_of(Episode& episode, bool final_words) const;
};

// How far below its course is still normal; K, positive.
[[nodiscard]] double normal_below_k(const EnclosureCourse& course);
[[nodiscard]] std::string place_name_of(const Enclosure& enclosure);
[[nodiscard]] std::vector<Index> circuits_of_heaters(const Room& room, const std::vector<Index>& heaters);

}  // namespace baskwell::heat
