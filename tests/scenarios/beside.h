#pragma once
// What runs beside core on the same readings, to be compared with: the plain band alarm that anybody has, and
// a naive detector of heating faults by rate of change. degC; times UTC ms. Pure; one object, one thread.

#include <cstdint>
#include <optional>
#include <vector>

#include "core/care/bands.h"
#include "core/room.h"

namespace baskwell::scenarios {

// Outside the same bands for ten minutes: alarm. Over when back inside by half a degree.
class PlainBandAlarm {
 public:
  PlainBandAlarm(const Room& room, const SpotKey& spot) : room_(&room), spot_(spot) {}

  // True at the moment it is raised.
  bool take(std::int64_t at_ms, double value_degc);
  [[nodiscard]] bool raised() const { return raised_; }

  static constexpr std::int64_t kOnDelay_ms = 10 * minute_ms;

 private:
  const Room* room_;
  SpotKey spot_;
  BandSegment segment_{};
  std::int64_t beyond_since_ms_ = -1;
  bool raised_ = false;
};

// Compares the mean of the latest window with that of the window before it: fallen by more than a threshold
// is "not heating", risen is "stuck on". It knows when lights change and holds back there, and it waits for
// two such results in a row. Tuned in good faith on the tuning seeds (README.md).
struct NaiveSettings {
  std::int64_t window_ms = 40 * minute_ms;
  double threshold_k = 1.5;
  std::int64_t before_edge_ms = 45 * minute_ms;
  std::int64_t after_edge_ms = 180 * minute_ms;
};

class NaiveDetector {
 public:
  NaiveDetector(const NaiveSettings& settings, const Room& room, Index enclosure);

  // The kind, at the moment it is raised.
  std::optional<AlarmKind> take(std::int64_t at_ms, double value_degc);

 private:
  struct Bin {
    double sum = 0;
    int count = 0;
  };
  [[nodiscard]] bool near_edge(std::int64_t at_ms);
  [[nodiscard]] std::optional<double> change_k() const;

  static constexpr std::int64_t kBin_ms = 5 * minute_ms;
  NaiveSettings settings_;
  const Room* room_;
  Index enclosure_;
  std::vector<Bin> bins_;  // ring over two windows
  std::int64_t bin_number_ = -1;
  LightPhase phase_{false, UtcMs{0}, UtcMs{0}};
  int in_a_row_ = 0;
  int quiet_bins_ = 0;
  bool raised_ = false;
};

}  // namespace baskwell::scenarios
