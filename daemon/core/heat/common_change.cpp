#include "core/heat/common_change.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

namespace baskwell::heat {
namespace {

// Moments tried in the first, wide search and in the narrow ones after it.
constexpr double coarse_s = 20;
constexpr double fine_s = 10;
constexpr double narrow_s = 300;
// The most that one place may say against a moment, in units of log likelihood. Proposal: chosen on simulated
// outages (seeds below 1000, kept for tuning); 4 to 12 do about as well.
constexpr double largest_say = 8;
constexpr double same_moment_s = 90;

// Step responses of three lags in a row: of the element, of the probe and of the place. Common practice, no
// source: probes 30 to 120 s, elements from a bare lamp (30 s) to a thick panel (7 min), places 10 min to 2
// h.
constexpr double probe_lag_s = 60;
constexpr std::array<double, 3> element_lags_s{30, 150, 420};
constexpr std::array<double, 3> place_lags_s{600, 2400, 7200};

double step_response(double s, double a, double b, double c) {
  if (s <= 0) return 0;
  return 1 - a * a * std::exp(-s / a) / ((a - b) * (a - c)) - b * b * std::exp(-s / b) / ((b - a) * (b - c)) -
         c * c * std::exp(-s / c) / ((c - a) * (c - b));
}

// Responses at every five seconds, so that the search needs no exponentials.
class Shapes {
 public:
  static constexpr std::size_t count = element_lags_s.size() * place_lags_s.size();
  explicit Shapes(double longest_s) {
    const auto cells = static_cast<std::size_t>(longest_s / cell_s) + 3;
    for (std::size_t k = 0; k < count; ++k) {
      std::vector<double>& table = table_[k];
      table.reserve(cells);
      for (std::size_t i = 0; i < cells; ++i) {
        table.push_back(step_response(static_cast<double>(i) * cell_s,
                                      element_lags_s[k % element_lags_s.size()], probe_lag_s,
                                      place_lags_s[k / element_lags_s.size()]));
      }
    }
  }
  [[nodiscard]] double at(std::size_t shape, double s) const {
    if (s <= 0) return 0;
    const double cell = s / cell_s;
    const auto i = static_cast<std::size_t>(cell);
    const std::vector<double>& table = table_[shape];
    if (i + 1 >= table.size()) return table.back();
    return table[i] + (cell - static_cast<double>(i)) * (table[i + 1] - table[i]);
  }

 private:
  static constexpr double cell_s = 5;
  std::array<std::vector<double>, count> table_;
};

// Least squares of level, slope and size of the bend; kept in units near 1.
struct Fit {
  std::array<double, 3> coefficient{};
  double squares = 0;  // of what is left
};

class Search {
 public:
  Search(const std::vector<TimedValue>& all, double from_s, double to_s, const Shapes& shapes, Bend bend)
      : shapes_(shapes), downwards_(bend == Bend::downwards) {
    for (const TimedValue& one : all) {
      if (one.at_s >= from_s && one.at_s <= to_s) values_.push_back(one);
    }
  }
  [[nodiscard]] std::size_t count() const { return values_.size(); }

  // The best of all shapes for a bend at this moment; empty where none bends the right way.
  [[nodiscard]] std::optional<double> squares_at(double at_s, std::size_t* shape = nullptr) const {
    std::optional<double> best;
    for (std::size_t k = 0; k < Shapes::count; ++k) {
      const auto fit = fit_at(at_s, k);
      if (!fit || (fit->coefficient[2] > 0) == downwards_ || (best && fit->squares >= *best)) continue;
      best = fit->squares;
      if (shape != nullptr) *shape = k;
    }
    return best;
  }

  // Readings that say something new: what the line leaves over goes together from one to the next.
  [[nodiscard]] double independent(double at_s, std::size_t shape) const {
    const auto n = static_cast<double>(values_.size());
    const auto fit = fit_at(at_s, shape);
    if (!fit) return n;
    double sum = 0, together = 0, before = 0;
    for (std::size_t i = 0; i < values_.size(); ++i) {
      const auto row = row_of(values_[i], at_s, shape);
      double rest = values_[i].degc - values_.front().degc;
      for (std::size_t j = 0; j < row.size(); ++j) rest -= fit->coefficient[j] * row[j];
      sum += rest * rest;
      if (i > 0) together += rest * before;
      before = rest;
    }
    const double rho = sum > 0 ? std::clamp(together / sum, 0.0, 0.97) : 0.0;
    return n * (1 - rho) / (1 + rho);
  }

 private:
  [[nodiscard]] std::array<double, 3> row_of(const TimedValue& one, double at_s, std::size_t shape) const {
    constexpr double slope_unit_s = 600;
    constexpr double bend_unit = 10;
    const double s = one.at_s - at_s;
    return {1, s / slope_unit_s, shapes_.at(shape, s) * bend_unit};
  }

  [[nodiscard]] std::optional<Fit> fit_at(double at_s, std::size_t shape) const {
    std::array<std::array<double, 4>, 3> m{};
    double squares = 0;
    for (const TimedValue& one : values_) {
      const auto row = row_of(one, at_s, shape);
      const double y = one.degc - values_.front().degc;
      squares += y * y;
      for (std::size_t i = 0; i < 3; ++i) {
        for (std::size_t j = 0; j < 3; ++j) m[i][j] += row[i] * row[j];
        m[i][3] += row[i] * y;
      }
    }
    const auto normal = m;
    for (std::size_t i = 0; i < 3; ++i) {
      if (!(m[i][i] > 1e-9)) return std::nullopt;
      for (std::size_t k = i + 1; k < 3; ++k) {
        const double factor = m[k][i] / m[i][i];
        for (std::size_t j = i; j < 4; ++j) m[k][j] -= factor * m[i][j];
      }
    }
    Fit fit;
    for (std::size_t i = 3; i-- > 0;) {
      double value = m[i][3];
      for (std::size_t j = i + 1; j < 3; ++j) value -= m[i][j] * fit.coefficient[j];
      fit.coefficient[i] = value / m[i][i];
      squares -= fit.coefficient[i] * normal[i][3];
    }
    fit.squares = std::max(squares, 1e-6 * static_cast<double>(values_.size()));
    return fit;
  }

  const Shapes& shapes_;
  bool downwards_;
  std::vector<TimedValue> values_;
};

struct Window {
  double before_s;
  double after_s;
  double step_s;
};

CommonChange search(const std::vector<std::vector<TimedValue>>& places, double from_s, double to_s,
                    const Window& window, const Shapes& shapes, Bend bend) {
  CommonChange change;
  const auto moments = static_cast<std::size_t>((to_s - from_s) / window.step_s) + 1;
  const auto moment = [&](std::size_t i) { return from_s + window.step_s * static_cast<double>(i); };
  std::vector<double> against(moments, 0);
  std::vector<double> own_best;
  std::vector<std::optional<double>> squares(moments);
  for (const std::vector<TimedValue>& place : places) {
    const Search one(place, from_s - window.before_s, to_s + window.after_s, shapes, bend);
    constexpr std::size_t fewest = 8;
    if (one.count() < fewest) continue;
    std::size_t best = moments, shape = 0;
    for (std::size_t i = 0; i < moments; ++i) {
      std::size_t found = 0;
      squares[i] = one.squares_at(moment(i), &found);
      if (!squares[i] || (best < moments && *squares[i] >= *squares[best])) continue;
      best = i;
      shape = found;
    }
    if (best == moments) continue;
    const double weight = 0.5 * one.independent(moment(best), shape);
    for (std::size_t i = 0; i < moments; ++i) {
      const double says = squares[i] ? weight * std::log(*squares[i] / *squares[best])
                                     : std::numeric_limits<double>::infinity();
      against[i] += std::min(says, largest_say);
    }
    own_best.push_back(moment(best));
  }
  if (own_best.empty()) return change;
  const auto best =
      static_cast<std::size_t>(std::min_element(against.begin(), against.end()) - against.begin());
  // Two units of log likelihood: about 95 % of a normal error.
  std::size_t first = best, last = best;
  while (first > 0 && against[first - 1] < against[best] + 2) --first;
  while (last + 1 < moments && against[last + 1] < against[best] + 2) ++last;
  change.found = true;
  change.at_s = moment(best);
  change.within_s = std::max(window.step_s, 0.5 * (moment(last) - moment(first)));
  change.places = own_best.size();
  for (const double at_s : own_best) change.agree += std::abs(at_s - change.at_s) <= same_moment_s ? 1 : 0;
  return change;
}

}  // namespace

CommonChange find_common_change(const std::vector<std::vector<TimedValue>>& places, double from_s,
                                double to_s, double interval_s, Bend bend) {
  // A short stretch after the change is enough and keeps the next thing that happens out of it; a rise at
  // full power is steep, a fall is not. Slow instruments need a longer one for as many readings.
  const double before_s = std::max(600.0, 10 * interval_s);
  const double after_s = std::max(bend == Bend::downwards ? 400.0 : 200.0, 5 * interval_s);
  const Shapes shapes(to_s - from_s + before_s + after_s + 2 * narrow_s);
  CommonChange change =
      search(places, from_s, to_s, {before_s, std::max(after_s, 400.0), coarse_s}, shapes, bend);
  for (int pass = 0; pass < 2 && change.found; ++pass) {
    const CommonChange closer =
        search(places, std::max(from_s, change.at_s - narrow_s), std::min(to_s, change.at_s + narrow_s),
               {before_s, after_s, fine_s}, shapes, bend);
    if (!closer.found) break;
    change = closer;
  }
  return change;
}

}  // namespace baskwell::heat
