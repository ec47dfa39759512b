// The readings of the last hours at one place.

#include <algorithm>
#include <cmath>

#include "core/heat/outage_inside.h"

namespace baskwell::heat {

void Ring::push(ElapsedMs at, double degc, double expected_degc) {
  constexpr std::int64_t least_apart_ms = 20 * second_ms;  // fast probes are thinned: the ring is for hours
  if (count_ > 0 && at.ms - at_e_[(count_ - 1) % size] < least_apart_ms) return;
  at_e_[count_ % size] = at.ms;
  degc_[count_ % size] = static_cast<float>(degc);
  expected_degc_[count_ % size] = static_cast<float>(expected_degc);
  ++count_;
}

void Ring::values_between(std::int64_t from_e, std::int64_t to_e, std::vector<TimedValue>& out) const {
  for (std::size_t i = count_ > size ? count_ - size : 0; i < count_; ++i) {
    const std::int64_t at_e = at_e_[i % size];
    if (at_e < from_e || at_e > to_e) continue;
    out.push_back({static_cast<double>(at_e) / second_ms, static_cast<double>(degc_[i % size])});
  }
}

void Ring::residuals_between(std::int64_t from_e, std::int64_t to_e, std::vector<TimedValue>& out) const {
  for (std::size_t i = count_ > size ? count_ - size : 0; i < count_; ++i) {
    const std::int64_t at_e = at_e_[i % size];
    const double k = static_cast<double>(degc_[i % size]) - static_cast<double>(expected_degc_[i % size]);
    if (at_e < from_e || at_e > to_e || std::isnan(k)) continue;
    out.push_back({static_cast<double>(at_e) / second_ms, k});
  }
}

std::int64_t Ring::interval_ms() const {
  const std::size_t n = std::min(count_, size);
  if (n < 3) return 30 * second_ms;
  const std::size_t back = std::min<std::size_t>(n - 1, 20);
  return (at_e_[(count_ - 1) % size] - at_e_[(count_ - 1 - back) % size]) / static_cast<std::int64_t>(back);
}

bool Ring::rises_by(double k, std::int64_t from_e, std::int64_t to_e) const {
  double lowest = 1e9;
  for (std::size_t i = count_ > size ? count_ - size : 0; i < count_; ++i) {
    if (at_e_[i % size] < from_e || at_e_[i % size] > to_e) continue;
    const auto degc = static_cast<double>(degc_[i % size]);
    lowest = std::min(lowest, degc);
    if (degc >= lowest + k) return true;
  }
  return false;
}

double Ring::slope_k_per_h(std::int64_t from_e, std::int64_t to_e) const {
  double n = 0, st = 0, sy = 0, stt = 0, sty = 0;
  for (std::size_t i = count_ > size ? count_ - size : 0; i < count_; ++i) {
    if (at_e_[i % size] < from_e || at_e_[i % size] > to_e) continue;
    const double t = static_cast<double>(at_e_[i % size] - from_e) / hour_ms;
    const auto y = static_cast<double>(degc_[i % size]);
    n += 1;
    st += t;
    sy += y;
    stt += t * t;
    sty += t * y;
  }
  const double spread = n * stt - st * st;
  if (n < 4 || spread <= 0) return OutageLine::unknown;
  return (n * sty - st * sy) / spread;
}

}  // namespace baskwell::heat
