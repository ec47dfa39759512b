#include "core/heat/track.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/heat/statistics/robust.h"

namespace baskwell::heat {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr std::int64_t sample_ms =
    55 * second_ms;  // a minute, less the jitter of a probe that reports once in it
constexpr std::int64_t gap_ms = 12 * minute_ms;  // more than two reports of the slowest usual probe (5 min)
constexpr double minutes_per_bin = 15.0;

// How long the past counts. Days of the course: long, or a drift of 0.1 degC a day would be learned as
// normal.
constexpr double days_kept = 40.0;
constexpr std::uint32_t spread_kept = 20'000;  // samples of a minute, two weeks; then half is forgotten
constexpr double room_kept = 0.9995;           // a quarter of an hour: three weeks
// With fewer samples than this a phase's spread is not known (four hours).
constexpr std::uint32_t spread_wanted = 240;
constexpr double tail = 0.01;
// Three days see every hour of the day thrice, so that no single odd day is the rule.
constexpr double days_wanted = 3.0;

double weight_of(double seen, double kept) {
  return 1.0 / std::min(seen + 1.0, kept);
}

int wrap(int bin) {
  return (bin % bins_per_day + bins_per_day) % bins_per_day;
}

}  // namespace

// ---- the course of a day

double DayCourse::at(double minute_of_day) const {
  const double place = minute_of_day / minutes_per_bin - 0.5;
  const auto left = static_cast<int>(std::floor(place));
  const double part = place - left;
  const auto a = static_cast<std::size_t>(wrap(left));
  const auto b = static_cast<std::size_t>(wrap(left + 1));
  if (days_[a] == 0 || days_[b] == 0) return nan;
  return (1.0 - part) * static_cast<double>(used_[a]) + part * static_cast<double>(used_[b]);
}

// The first days count by their median, so that one odd day is not the rule. Later ones move the mean a
// little each, and a far one no more than a near one.
void DayCourse::learn(int bin, double degc, double kept) {
  constexpr double far_k = 0.7;
  const auto i = static_cast<std::size_t>(bin);
  const std::size_t day = days_[i];
  if (day < first_days) {
    first_[i][day] = static_cast<std::int16_t>(std::lround(std::clamp(degc, -300.0, 300.0) * 100.0));
    std::array<double, first_days> seen{};
    for (std::size_t d = 0; d <= day; ++d) seen[d] = first_[i][d] / 100.0;
    const double median = median_in_place({seen.data(), day + 1}).value_or(degc);
    mean_[i] = used_[i] = static_cast<float>(median);
  } else {
    const double step = std::clamp(degc - static_cast<double>(mean_[i]), -far_k, far_k) *
                        weight_of(static_cast<double>(day), kept);
    mean_[i] += static_cast<float>(step);
    used_[i] += static_cast<float>(step);
  }
  if (days_[i] < 255) ++days_[i];
  quarters_ = std::min(quarters_ + 1, 1'000 * bins_per_day);
  refresh_extremes();
}

void DayCourse::shift(double k) {
  low_ += k;
  high_ += k;
  for (std::size_t i = 0; i < mean_.size(); ++i) {
    mean_[i] += static_cast<float>(k);
    used_[i] += static_cast<float>(k);
  }
}

// The median over an hour to each side, of bins that are alike: the swing of a slow thermostat and an
// animal's visit are evened out where the temperature is held, while morning and evening stay where they are.
void DayCourse::smooth(double keep_edges_k) {
  for (int i = 0; i < bins_per_day; ++i) {
    const auto centre = static_cast<std::size_t>(i);
    if (days_[centre] == 0) continue;
    std::array<double, 9> near{};
    std::size_t n = 0;
    for (int side = -1; side <= 1; side += 2) {
      for (int step = side < 0 ? 0 : 1; step <= 4; ++step) {
        const auto bin = static_cast<std::size_t>(wrap(i + side * step));
        if (days_[bin] == 0 || std::fabs(static_cast<double>(mean_[bin] - mean_[centre])) > keep_edges_k)
          break;
        near[n++] = static_cast<double>(mean_[bin]);
      }
    }
    if (const auto median = median_in_place({near.data(), n})) used_[centre] = static_cast<float>(*median);
  }
  refresh_extremes();
}

void DayCourse::clear() {
  *this = DayCourse();
}

double DayCourse::share_known() const {
  const auto known = std::count_if(days_.begin(), days_.end(), [](std::uint8_t days) { return days > 0; });
  return static_cast<double>(known) / bins_per_day;
}

void DayCourse::refresh_extremes() {
  low_ = high_ = nan;
  for (std::size_t i = 0; i < used_.size(); ++i) {
    if (days_[i] == 0) continue;
    const auto here = static_cast<double>(used_[i]);
    if (!(here >= low_)) low_ = here;
    if (!(here <= high_)) high_ = here;
  }
}

// ---- how residuals spread

void Spread::add(double residual_k) {
  const double place = residual_k / cell_k + cells / 2.0;
  const auto i = static_cast<std::size_t>(std::clamp(place, 0.0, static_cast<double>(cells - 1)));
  ++cell_[i];
  if (++count_ < spread_kept) return;
  count_ = 0;
  for (std::uint16_t& cell : cell_) {
    cell /= 2;
    count_ += cell;
  }
}

double Spread::quantile(double share) const {
  if (count_ == 0) return nan;
  const double wanted = share * count_;
  double below = 0;
  for (std::size_t i = 0; i < cell_.size(); ++i) {
    const double here = cell_[i];
    if (here > 0 && below + here >= wanted)
      return (static_cast<double>(i) - cells / 2.0 + (wanted - below) / here) * cell_k;
    below += here;
  }
  return (cells / 2.0) * cell_k;
}

// ---- the latest samples

void Recent::push(UtcMs at, double degc, double residual_k) {
  constexpr std::int64_t most_ms =
      std::int64_t{1'000'000'000} * second_ms;  // what an int32 holds of seconds, amply
  if (count_ == 0 || at - base_ > most_ms || base_ - at > most_ms) {
    count_ = 0;
    base_ = at;
  }
  const std::size_t i = count_ % size;
  after_s_[i] = static_cast<std::int32_t>((at - base_) / second_ms);
  degc_[i] = static_cast<float>(degc);
  residual_[i] = static_cast<float>(residual_k);
  ++count_;
  if (count_ >= 3 * size) count_ -= size;  // stays small, keeps its place in the ring
}

void Recent::shift_residuals(double k) {
  for (float& one : residual_) one += static_cast<float>(k);
}

double Recent::slope_k_per_h(double minutes) const {
  if (count() < 3) return nan;
  const std::int64_t from = at(0).ms - static_cast<std::int64_t>(minutes * minute_ms);
  double n = 0, st = 0, sv = 0, stt = 0, stv = 0, oldest = 0;
  const double v0 = degc(0);
  for (std::size_t i = 0; i < count() && at(i).ms >= from; ++i) {
    const double t = static_cast<double>(at(i).ms - at(0).ms) / hour_ms;
    const double v = degc(i) - v0;
    n += 1, st += t, sv += v, stt += t * t, stv += t * v;
    oldest = t;
  }
  const double spread = n * stt - st * st;
  if (n < 3 || oldest > -minutes / 120.0 || spread <= 0) return nan;
  return (n * stv - st * sv) / spread;
}

double Recent::mean_degc(double from_minutes_ago, double to_minutes_ago) const {
  double n = 0, sum = 0;
  for (std::size_t i = 0; i < count(); ++i) {
    const double ago = static_cast<double>(at(0).ms - at(i).ms) / minute_ms;
    if (ago > from_minutes_ago) break;
    if (ago < to_minutes_ago) continue;
    n += 1, sum += degc(i);
  }
  return n > 0 ? sum / n : nan;
}

double Recent::mean_residual_k(double from_minutes_ago, double to_minutes_ago) const {
  double n = 0, sum = 0;
  for (std::size_t i = 0; i < count(); ++i) {
    const double ago = static_cast<double>(at(0).ms - at(i).ms) / minute_ms;
    if (ago > from_minutes_ago) break;
    if (ago < to_minutes_ago || std::isnan(residual_k(i))) continue;
    n += 1, sum += residual_k(i);
  }
  return n > 0 ? sum / n : nan;
}

double Recent::range_k(double from_minutes_ago, double to_minutes_ago) const {
  double low = nan, high = nan;
  for (std::size_t i = 0; i < count(); ++i) {
    const double ago = static_cast<double>(at(0).ms - at(i).ms) / minute_ms;
    if (ago > from_minutes_ago) break;
    if (ago < to_minutes_ago) continue;
    const double v = degc(i);
    if (!(v >= low)) low = v;
    if (!(v <= high)) high = v;
  }
  return high - low;
}

// ---- the track

bool Track::add(UtcMs at, double degc, int minute_of_day, double room_k) {
  if (at <= last_reading_) return false;
  last_reading_ = at;
  sum_ += degc;
  ++count_;
  if (last_at_.ms != INT64_MIN && at - last_at_ < sample_ms) return false;
  const bool gap = last_at_.ms == INT64_MIN || at - last_at_ > gap_ms;
  sample.at = at;
  sample.degc = gap ? degc : sum_ / count_;
  sample.minutes = gap ? 0.0 : static_cast<double>(at - last_at_) / minute_ms;
  sample.minute_of_day = minute_of_day;
  sum_ = 0;
  count_ = 0;
  last_at_ = at;
  if (gap) {
    recent.clear();
    quarter_ = -1;
  }
  residual = residual_of(sample.degc, minute_of_day, room_k);
  recent.push(at, sample.degc, residual.known ? residual.k : nan);
  follow_fall();
  follow_relevel();
  return true;
}

Phase Track::phase_at(int minute_of_day) const {
  // Moving: the course changes by more than a swing of a good thermostat within an hour (0.8 K: on-off
  // thermostats of the trade swing 1 to 3 K, their mean over days hardly; common practice, no source).
  const double before = course.at(minute_of_day - 30 < 0 ? minute_of_day - 30 + 1440 : minute_of_day - 30);
  const double after = course.at(minute_of_day + 30 >= 1440 ? minute_of_day + 30 - 1440 : minute_of_day + 30);
  if (!(std::fabs(after - before) < 0.8)) return Phase::moving;
  const double middle = 0.5 * (course.low() + course.high());
  return 0.5 * (before + after) >= middle ? Phase::day : Phase::night;
}

Residual Track::residual_of(double degc, int minute_of_day, double room_k) const {
  Residual found;
  const double usual = course.at(minute_of_day);
  if (std::isnan(usual)) return found;
  found.known = true;
  found.expected_degc = usual + room_share() * room_k;
  found.k = degc - found.expected_degc;
  found.phase = phase_at(minute_of_day);
  const auto p = static_cast<std::size_t>(found.phase);
  found.low_k = static_cast<double>(low_k_[p]);
  found.high_k = static_cast<double>(high_k_[p]);
  return found;
}

void Track::learn(bool normal, double room_k, double around_degc) {
  // With the heater off for sure: where the course of the day falls, and in the swing of an on-off
  // thermostat.
  const double ahead = course.at((sample.minute_of_day + 30) % 1440),
               behind = course.at((sample.minute_of_day + 1410) % 1440);
  const double swing = normal_swing_k(residual.phase);
  const bool off = ahead - behind < -1.0 || (residual.phase != Phase::moving && swing > 0.6 &&
                                             fall_.from_degc - sample.degc < 1.2 * swing);
  if (normal && off && !std::isnan(around_degc)) learn_fall(around_degc);
  if (normal && sample.minutes > 0) {
    const double jump_k = std::fabs(sample.degc - recent.mean_degc(7.0, 4.0));
    if (std::isfinite(jump_k)) jumps_.add(jump_k);
  }
  const int bin = sample.minute_of_day / 15;
  if (bin != quarter_) {
    close_quarter();
    quarter_ = bin;
  }
  quarter_sum_ += sample.degc;
  quarter_room_ += room_k;
  quarter_residual_ += residual.known ? residual.k : 0.0;
  ++quarter_count_;
  if (!normal) ++quarter_odd_;
  if (residual.known && normal && days_learned() >= 1.0)
    spread_[static_cast<std::size_t>(residual.phase)].add(residual.k);
}

void Track::close_quarter() {
  if (quarter_count_ >= 2 && quarter_ >= 0 && quarter_odd_ == 0) {
    const double n = quarter_count_;
    const double room = quarter_room_ / n;
    // What the room explains is taken out before the hour is learned, and learned itself.
    if (days_learned() >= days_wanted && residual.known) {
      const double rest = quarter_residual_ / n + room_share() * room;
      if (std::fabs(rest) < 6.0) {
        room_xx_ = room_kept * room_xx_ + room * room;
        room_xy_ = room_kept * room_xy_ + room * rest;
      }
    }
    // In the days after a changed setting the rest of the course follows fast.
    const bool fresh = relevelled_.ms != INT64_MIN && sample.at - relevelled_ < 4 * day_ms;
    const double kept = fresh ? 2.0 : days_learned() < 10.0 ? 10.0 : days_kept;
    course.learn(quarter_, quarter_sum_ / n - room_share() * room, kept);
    const int every = course.days() < 7 ? 8 : bins_per_day;
    if (++since_smooth_ >= every) {
      since_smooth_ = 0;
      course.smooth(1.0);
      refresh_limits();
    }
  }
  quarter_sum_ = quarter_room_ = quarter_residual_ = 0;
  quarter_count_ = quarter_odd_ = 0;
}

void Track::refresh_limits() {
  for (std::size_t p = 0; p < spread_.size(); ++p) {
    // A phase seen too little strays as far as the others do at most, and no less than a swing of the trade.
    double low = -1.5, high = 1.5;
    if (spread_[p].count() >= spread_wanted) {
      low = spread_[p].quantile(tail);
      high = spread_[p].quantile(1.0 - tail);
    }
    low_k_[p] = static_cast<float>(std::min(low, -0.1));
    high_k_[p] = static_cast<float>(std::max(high, 0.1));
  }
}

void Track::forget() {
  relevel_since_ = relevelled_ = UtcMs{INT64_MIN};
  course.clear();
  for (Spread& spread : spread_) spread.clear();
  jumps_.clear();
  fall_ = Fall();
  fall_share_ = {};
  falls_seen_ = 0;
  swing_k_ = {};
  swings_seen_ = {};
  room_xx_ = room_xy_ = 0;
  level_var_ = 0;
  levels_seen_ = 0;
  quarter_ = -1;
  quarter_sum_ = quarter_room_ = quarter_residual_ = 0;
  quarter_count_ = quarter_odd_ = since_smooth_ = 0;
  recent.clear();
  residual = Residual();
}

void Track::relevel(UtcMs at) {
  relevel_since_ = at;
  relevel_sum_ = 0;
  relevel_count_ = 0;
  recent.clear();
}

// The new level is taken from the second to the fifth hour after: before that it still moves there.
void Track::follow_relevel() {
  if (relevel_since_.ms == INT64_MIN || !residual.known) return;
  const std::int64_t since = sample.at - relevel_since_;
  if (since > 100 * minute_ms && residual.phase != Phase::moving) {
    relevel_sum_ += residual.k;
    ++relevel_count_;
  }
  if (since < 5 * hour_ms || relevel_count_ < 20) return;
  const double moved_k = relevel_sum_ / relevel_count_;
  course.shift(moved_k);
  recent.shift_residuals(-moved_k);  // or the hour before would still seem off by it
  relevelled_ = sample.at;
  relevel_since_ = UtcMs{INT64_MIN};
}

void Track::shift_clock(std::int64_t step_ms) {
  if (last_at_.ms != INT64_MIN) last_at_ = last_at_ + step_ms;
  if (last_reading_.ms != INT64_MIN) last_reading_ = last_reading_ + step_ms;
  for (UtcMs* at : {&relevel_since_, &relevelled_}) {
    if (at->ms != INT64_MIN) *at = *at + step_ms;
  }
  recent.clear();  // a slope over the step would be none
}

double Track::days_learned() const {
  return course.days();
}

double Track::days_exact() const {
  return static_cast<double>(course.quarters()) / bins_per_day;
}

bool Track::judged() const {
  return course.days() >= static_cast<int>(days_wanted) && course.share_known() > 0.95 &&
         relevel_since_.ms == INT64_MIN;
}

// A fall goes on while no sample lies above its lowest by more than noise and steps of a probe (0.15 K: a
// step of 0.1 or 0.0625 degC and some noise).
void Track::follow_fall() {
  constexpr double noise_k = 0.15;
  const double now = sample.degc;
  if (fall_.since.ms == INT64_MIN || sample.minutes <= 0 || now > fall_.lowest_degc + noise_k ||
      now > fall_.from_degc) {
    fall_.since = fall_.lowest_at = sample.at;
    fall_.from_degc = fall_.lowest_degc = now;
    fall_.at_degc.fill(std::numeric_limits<float>::quiet_NaN());
    return;
  }
  if (now < fall_.lowest_degc) {
    fall_.lowest_degc = now;
    fall_.lowest_at = sample.at;
  }
  // Held, it falls no more.
  if (sample.at - fall_.lowest_at >
      static_cast<std::int64_t>(std::max(6.0, 2.2 * sample.minutes) * minute_ms)) {
    fall_.since = fall_.lowest_at = sample.at;
    fall_.from_degc = fall_.lowest_degc = now;
    fall_.at_degc.fill(std::numeric_limits<float>::quiet_NaN());
    return;
  }
  const double minutes = static_cast<double>(sample.at - fall_.since) / minute_ms;
  // Flat at its top it does not fall yet.
  if (fall_.from_degc - now < noise_k && minutes > 2.0) {
    fall_.since = sample.at;
    return;
  }
  for (std::size_t i = 0; i < fall_minutes.size(); ++i) {
    if (std::isnan(fall_.at_degc[i]) && minutes >= fall_minutes[i])
      fall_.at_degc[i] = static_cast<float>(now);
  }
}

// Of those falls the steeper ones are the free ones: shares follow larger ones faster than smaller ones,
// which settles near their upper third.
void Track::learn_fall(double around_degc) {
  const double span_k = fall_.from_degc - around_degc;
  if (!(span_k > 2.0)) return;
  for (std::size_t i = 0; i < fall_minutes.size(); ++i) {
    if (std::isnan(fall_.at_degc[i])) continue;
    const double minutes = static_cast<double>(sample.at - fall_.since) / minute_ms;
    if (minutes - sample.minutes >= fall_minutes[i]) continue;  // learned when it was new
    const double share = (fall_.from_degc - static_cast<double>(fall_.at_degc[i])) / span_k;
    if (fall_.from_degc - static_cast<double>(fall_.at_degc[i]) < 0.4) continue;  // no fall to speak of
    const auto known = static_cast<double>(fall_share_[i]);
    const double weight = known == 0 ? 1.0 : share > known ? 0.15 : 0.075;
    fall_share_[i] += static_cast<float>(weight * (share - known));
    if (falls_seen_ < 1'000'000) ++falls_seen_;
  }
}

double Track::free_fall_share(double minutes) const {
  // Between the learned points in a straight line, from nothing at the start; beyond the last as an
  // exponential.
  double before_minutes = 0, before = 0;
  for (std::size_t i = 0; i < fall_minutes.size(); ++i) {
    const auto share = static_cast<double>(fall_share_[i]);
    if (share == 0) continue;
    if (minutes <= fall_minutes[i]) {
      const double part = (minutes - before_minutes) / (fall_minutes[i] - before_minutes);
      return before + part * (std::max(share, before) - before);
    }
    before_minutes = fall_minutes[i];
    before = std::max(share, before);
  }
  if (before == 0) return nan;
  const double rate = -std::log1p(-std::min(before, 0.99)) / before_minutes;
  return 1.0 - std::exp(-rate * minutes);
}

double Track::usual_jump_k() const {
  return jumps_.count() < 1'000 ? nan : jumps_.quantile(0.999);
}

double Track::normal_swing_k(Phase phase) const {
  return static_cast<double>(swing_k_[static_cast<std::size_t>(phase)]);
}

void Track::see_swing(Phase phase, double range_k) {
  const auto p = static_cast<std::size_t>(phase);
  const double weight = weight_of(std::min(swings_seen_[p], 1'000), 40.0);
  swing_k_[p] += static_cast<float>(weight * (range_k - static_cast<double>(swing_k_[p])));
  if (swings_seen_[p] < 1'000'000) ++swings_seen_[p];
}

void Track::see_level(double from_day_k) {
  const double square = std::min(from_day_k * from_day_k, 4.0);
  level_var_ += weight_of(std::min(levels_seen_, 1'000), 120.0) * (square - level_var_);
  if (levels_seen_ < 1'000'000) ++levels_seen_;
}

double Track::level_scatter_k() const {
  // Two days of two-hour means before it is believed; half a degree until then (proposal, no source).
  return levels_seen_ < 24 ? 0.5 : std::max(0.05, std::sqrt(level_var_));
}

}  // namespace baskwell::heat
