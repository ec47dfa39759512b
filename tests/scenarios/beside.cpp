#include "scenarios/beside.h"

#include <algorithm>
#include <cmath>

namespace baskwell::scenarios {

bool PlainBandAlarm::take(std::int64_t at_ms, double value_degc) {
  const UtcMs at{at_ms};
  if (!segment_.holds(at)) segment_ = segment_at(*room_, spot_, at);
  const Wanted wanted = segment_.at(at);
  constexpr double kDeadband_k = 0.5;
  const double give_k = raised_ ? kDeadband_k : 0.0;
  const bool beyond = value_degc < wanted.low + give_k || value_degc > wanted.high - give_k;
  if (!beyond) {
    beyond_since_ms_ = -1;
    raised_ = false;
    return false;
  }
  if (beyond_since_ms_ < 0) beyond_since_ms_ = at_ms;
  if (raised_ || at_ms - beyond_since_ms_ < kOnDelay_ms) return false;
  raised_ = true;
  return true;
}

NaiveDetector::NaiveDetector(const NaiveSettings& settings, const Room& room, Index enclosure)
    : settings_(settings), room_(&room), enclosure_(enclosure) {
  bins_.resize(static_cast<std::size_t>(2 * settings.window_ms / kBin_ms));
}

bool NaiveDetector::near_edge(std::int64_t at_ms) {
  const UtcMs at{at_ms};
  if (at < phase_.since || at >= phase_.until) {
    phase_ = light_phase(room_->enclosures[enclosure_].lights, room_->clock, at);
  }
  return at - phase_.since < settings_.after_edge_ms || phase_.until - at < settings_.before_edge_ms;
}

std::optional<double> NaiveDetector::change_k() const {
  const std::size_t half = bins_.size() / 2;
  const auto newest = static_cast<std::size_t>(bin_number_ % static_cast<std::int64_t>(bins_.size()));
  double now_sum = 0;
  double then_sum = 0;
  int now_bins = 0;
  int then_bins = 0;
  for (std::size_t back = 0; back < bins_.size(); ++back) {
    const Bin& bin = bins_[(newest + bins_.size() - back) % bins_.size()];
    if (bin.count == 0) continue;
    const double mean = bin.sum / bin.count;
    (back < half ? now_sum : then_sum) += mean;
    ++(back < half ? now_bins : then_bins);
  }
  // Half of each window must have been heard.
  const int enough = static_cast<int>(half + 1) / 2;
  if (now_bins < enough || then_bins < enough) return std::nullopt;
  return now_sum / now_bins - then_sum / then_bins;
}

std::optional<AlarmKind> NaiveDetector::take(std::int64_t at_ms, double value_degc) {
  const std::int64_t number = at_ms / kBin_ms;
  std::optional<AlarmKind> found;
  if (number != bin_number_) {
    if (bin_number_ >= 0) {
      const std::optional<double> change = near_edge(at_ms) ? std::nullopt : change_k();
      const bool beyond = change && std::abs(*change) > settings_.threshold_k;
      in_a_row_ = beyond ? in_a_row_ + 1 : 0;
      quiet_bins_ = beyond ? 0 : quiet_bins_ + 1;
      if (quiet_bins_ >= 12) raised_ = false;  // an hour
      if (in_a_row_ >= 2 && !raised_) {
        raised_ = true;
        found = *change < 0 ? AlarmKind::not_heating : AlarmKind::heating_stuck_on;
      }
    }
    // What was not heard since is emptied.
    const auto size = static_cast<std::int64_t>(bins_.size());
    for (std::int64_t one = std::max(bin_number_ + 1, number - size + 1); one <= number; ++one) {
      bins_[static_cast<std::size_t>(one % size)] = {};
    }
    bin_number_ = number;
  }
  Bin& bin = bins_[static_cast<std::size_t>(number % static_cast<std::int64_t>(bins_.size()))];
  bin.sum += value_degc;
  ++bin.count;
  return found;
}

}  // namespace baskwell::scenarios
