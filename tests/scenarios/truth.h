#pragma once
// The truth of one fault while it runs: the difference to the healthy twin, minute by minute, and whether
// that is enough for the fault to count as one that can be found. K. One object, one thread.

#include <array>
#include <vector>

#include "demoroom/demo_room.h"
#include "scenarios/episode.h"

namespace baskwell::scenarios {

// What has no effect cannot be found: the limits from which a fault counts.
// Two on-off thermostats drift out of step within a day without being at fault, so the twin's swing is
// allowed for, or the mean of an hour is taken.
inline constexpr double kEffect_k = 0.5;         // any zone against the twin
inline constexpr double kRoomEffect_k = 2.5;     // the room's air against the twin
inline constexpr double kNightShift_min = 60.0;  // a clock less wrong than this is no fault
inline constexpr double kNightEffect_k = 1.0;    // temperatures at the wrong hour
inline constexpr double kProbeMoved_k = 0.7;     // of wrong reading
inline constexpr double kHuntingTimes = 2.0;     // swing against the twin's
inline constexpr double kHuntingSwing_k = 0.8;   // and at least this
inline constexpr double kGradientLeft = 0.6;     // share of the twin's gradient

class RunningTruth {
 public:
  RunningTruth(FaultResult& result, const DrawnRoom& drawn);

  // Once a minute while the fault lasts.
  void look(const demoroom::DemoRoom& room, const demoroom::DemoRoom& twin);
  // At its end: whether it counts.
  void finish();

 private:
  struct Hour {
    double low = 1e9, high = -1e9, twin_low = 1e9, twin_high = -1e9;
    double gradient_sum = 0, twin_gradient_sum = 0;
    int minutes = 0;
  };
  // Of one place, over the last hour, minute by minute.
  struct Hourly {
    std::array<double, 60> minutes{};
    double sum = 0;
    int count = 0;
  };
  // How much of it counts: of the most changed place.
  [[nodiscard]] double difference_k(const demoroom::DemoRoom& room, const demoroom::DemoRoom& twin);
  [[nodiscard]] double displaced_k(const demoroom::DemoRoom& room) const;

  FaultResult* result_;
  const DrawnRoom* drawn_;
  std::vector<Hour> hours_;
  std::vector<Hourly> places_;
  double displaced_sum_k_ = 0;
  int displaced_minutes_ = 0;
};

}  // namespace baskwell::scenarios
