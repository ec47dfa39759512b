#pragma once
// What is normal for one temperature probe, learned from its own history: the course of a day by the room's
// wall clock, how far it strays from that (swing of the thermostat and noise), how it follows the room, how
// fast it cools. A reading becomes a sample (mean of a minute or more) and a sample a Residual: how far it is
// from what its own past leads to expect. degC, K, minutes. Fixed size: about 6 KB. Pure; one thread.
//
// Nothing here is a threshold: what a residual means is judged in unit_watch.

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>

#include "core/time.h"

namespace baskwell {
class LineReader;
class LineWriter;
}  // namespace baskwell

namespace baskwell::heat {

inline constexpr int bins_per_day = 96;  // of 15 minutes

// The course of a day. Bins are means over the days; nights and days are smoothed, edges are kept.
class DayCourse {
 public:
  [[nodiscard]] double at(double minute_of_day) const;  // NaN where not learned
  void learn(int bin, double degc, double days_kept);   // one quarter of an hour of one day
  void shift(double k);                                 // all of it by so much
  void smooth(double keep_edges_k);                     // after a day, or more often while it is young
  void clear();
  [[nodiscard]] int days() const { return quarters_ / bins_per_day; }
  [[nodiscard]] int quarters() const { return quarters_; }
  [[nodiscard]] double share_known() const;
  [[nodiscard]] double low() const { return low_; }  // of all bins; NaN: none
  [[nodiscard]] double high() const { return high_; }
  [[nodiscard]] double bin(int index) const {
    return static_cast<double>(used_[static_cast<std::size_t>(index)]);
  }

  void save(LineWriter& line) const;
  void load(LineReader& line);

 private:
  static constexpr std::size_t first_days = 5;
  std::array<float, bins_per_day> mean_{};
  std::array<float, bins_per_day> used_{};
  std::array<std::array<std::int16_t, first_days>, bins_per_day>
      first_{};  // hundredths, as they came; their median is the mean
  std::array<std::uint8_t, bins_per_day> days_{};
  int quarters_ = 0;  // learned ever, saturating
  double low_ = std::numeric_limits<double>::quiet_NaN();
  double high_ = std::numeric_limits<double>::quiet_NaN();
  void refresh_extremes();
};

// How residuals spread in one phase: a histogram with slow forgetting, so that quantiles need no shape.
class Spread {
 public:
  static constexpr int cells = 128;
  static constexpr double cell_k = 0.125;
  void add(double residual_k);
  [[nodiscard]] double quantile(double share) const;  // K; NaN while empty
  [[nodiscard]] std::uint32_t count() const { return count_; }
  void clear() { *this = Spread(); }

  void save(LineWriter& line) const;
  void load(LineReader& line);

 private:
  std::array<std::uint16_t, cells> cell_{};
  std::uint32_t count_ = 0;
};

enum class Phase : std::uint8_t { day, night, moving };  // held by day, held by night, between the two
inline constexpr int phase_count = 3;

struct Residual {
  bool known = false;  // the course of this hour is learned
  double k = 0;        // sample less what is expected
  double expected_degc = 0;
  Phase phase = Phase::moving;
  double low_k = 0;  // as far as it normally strays, 1 % and 99 %
  double high_k = 0;
};

struct Sample {
  UtcMs at;
  double degc = 0;
  double minutes = 0;  // since the sample before; 0: the first, or the first after a gap
  int minute_of_day = 0;
};

// Ring of the latest samples, for slopes and steps.
class Recent {
 public:
  static constexpr std::size_t size = 192;
  void push(UtcMs at, double degc, double residual_k);
  void clear() { count_ = 0; }
  void shift_residuals(double k);  // the course they are measured from moved by -k
  [[nodiscard]] std::size_t count() const { return count_ < size ? count_ : size; }
  // i = 0 is the latest.
  [[nodiscard]] UtcMs at(std::size_t i) const {
    return base_ + std::int64_t{after_s_[(count_ - 1 - i) % size]} * second_ms;
  }
  [[nodiscard]] double degc(std::size_t i) const {
    return static_cast<double>(degc_[(count_ - 1 - i) % size]);
  }
  [[nodiscard]] double residual_k(std::size_t i) const {
    return static_cast<double>(residual_[(count_ - 1 - i) % size]);
  }
  // Least squares over the last `minutes`; NaN with fewer than three samples or less than half the time.
  [[nodiscard]] double slope_k_per_h(double minutes) const;
  [[nodiscard]] double mean_degc(double from_minutes_ago, double to_minutes_ago) const;
  [[nodiscard]] double mean_residual_k(double from_minutes_ago, double to_minutes_ago) const;
  [[nodiscard]] double range_k(double from_minutes_ago, double to_minutes_ago) const;  // highest - lowest

 private:
  UtcMs base_;
  std::array<std::int32_t, size> after_s_{};  // whole seconds after base_
  std::array<float, size> degc_{};
  std::array<float, size> residual_{};
  std::size_t count_ = 0;
};

class Track {
 public:
  // Takes a reading in. True: it completed a sample (`sample` and `residual` are new).
  // `room_k`: the room's deviation from its own course now, 0 where not known.
  bool add(UtcMs at, double degc, int minute_of_day, double room_k);

  // The fall that goes on now: since when, from what, and how far. Empty span: it does not fall.
  struct Fall {
    UtcMs since{INT64_MIN};
    double from_degc = 0;
    double lowest_degc = 0;
    UtcMs lowest_at{INT64_MIN};
    std::array<float, 5> at_degc{};  // after fall_minutes; NaN: not yet
  };
  [[nodiscard]] const Fall& fall() const { return fall_; }

  // After the sample was judged: whether it may be learned from (nothing odd is going on). `around_degc`:
  // what it cools towards, NaN where not known.
  void learn(bool normal, double room_k, double around_degc);
  void forget();  // a note says that something changed: learn anew
  // A note says that its setting was changed: the course moves as a whole, once a few hours tell by how much.
  void relevel(UtcMs at);
  void shift_clock(std::int64_t step_ms);

  [[nodiscard]] bool judged() const;          // enough is known to judge by
  [[nodiscard]] double days_learned() const;  // whole days
  [[nodiscard]] double days_exact() const;
  [[nodiscard]] Phase phase_of(int minute_of_day) const { return phase_at(minute_of_day); }
  [[nodiscard]] double low_k(Phase phase) const {
    return static_cast<double>(low_k_[static_cast<std::size_t>(phase)]);
  }
  [[nodiscard]] double high_k(Phase phase) const {
    return static_cast<double>(high_k_[static_cast<std::size_t>(phase)]);
  }
  [[nodiscard]] int falls_seen() const { return falls_seen_; }
  // The share of the way to the room that it falls in so many minutes with the heater off; NaN: not seen yet.
  static constexpr std::array<int, 5> fall_minutes{5, 10, 20, 40, 80};
  [[nodiscard]] double free_fall_share(double minutes) const;
  // The largest change within five minutes that is usual (999 in 1,000); NaN: not known yet.
  [[nodiscard]] double usual_jump_k() const;
  [[nodiscard]] double normal_swing_k(Phase phase) const;  // highest - lowest within three hours, usual
  void see_swing(Phase phase, double range_k);
  [[nodiscard]] int swings_seen(Phase phase) const { return swings_seen_[static_cast<std::size_t>(phase)]; }
  [[nodiscard]] double room_share() const { return room_xx_ > 0 ? room_xy_ / (room_xx_ + room_prior) : 0.0; }
  [[nodiscard]] double level_scatter_k() const;  // of the mean of two hours, usual
  void see_level(double from_day_k);             // mean of two hours less that of the day around it

  Sample sample;
  Residual residual;
  DayCourse course;
  Recent recent;

  void save(LineWriter& line) const;
  void load(LineReader& line);

 private:
  static constexpr double room_prior = 40.0;  // K2 of room movement that weigh as much as "no effect"
  [[nodiscard]] Residual residual_of(double degc, int minute_of_day, double room_k) const;
  [[nodiscard]] Phase phase_at(int minute_of_day) const;
  void close_quarter();
  void follow_relevel();
  void follow_fall();
  void learn_fall(double around_degc);
  void refresh_limits();

  std::array<Spread, phase_count> spread_;
  std::array<float, phase_count> low_k_{};
  std::array<float, phase_count> high_k_{};
  std::array<float, phase_count> swing_k_{};
  std::array<int, phase_count> swings_seen_{};
  double room_xx_ = 0, room_xy_ = 0;
  Fall fall_;
  std::array<float, 5> fall_share_{};  // 0: not seen
  int falls_seen_ = 0;
  Spread jumps_;
  double level_var_ = 0;
  int levels_seen_ = 0;
  // The sample that is gathering.
  double sum_ = 0;
  int count_ = 0;
  UtcMs last_at_{INT64_MIN};
  UtcMs last_reading_{INT64_MIN};
  // The quarter of an hour that is gathering.
  int quarter_ = -1;
  double quarter_sum_ = 0, quarter_room_ = 0, quarter_residual_ = 0;
  int quarter_count_ = 0, quarter_odd_ = 0;
  int since_smooth_ = 0;
  // After relevel().
  UtcMs relevel_since_{INT64_MIN};
  UtcMs relevelled_{INT64_MIN};
  double relevel_sum_ = 0;
  int relevel_count_ = 0;
};

}  // namespace baskwell::heat
