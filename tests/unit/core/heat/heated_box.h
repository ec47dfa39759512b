#pragma once
// A heated enclosure by hand for the tests of core/heat: one first-order body of air that a thermostat heats
// against the room, a cool end at a fixed share of the way, and three probes. Exact between switchings, no
// randomness: the probe's noise is a fixed sequence. degC, K, minutes, UTC ms. Deliberately not the
// detector's own picture of an enclosure, which is a learned course of the day.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <utility>

#include "core/climate/zone_rules.h"
#include "core/time.h"

namespace baskwell::test {

struct BoxPlan {
  double room_degc = 21;
  double room_daily_k = 0.5;  // amplitude over the day, warmest at 15:00
  double tau_min = 50;        // cooling
  double gain_k = 20;         // above the room with the heater always on
  double set_day_degc = 31.5;
  double set_night_degc = 27;
  double swing_k = 1.0;  // of the on-off thermostat, highest - lowest
  int day_from_min = 8 * 60, day_to_min = 20 * 60;
  double step_degc = 0.0625;
  double noise_k = 0.03;
  double cool_share = 0.3;  // of the way from the room to the hot end
};

class HeatedBox {
 public:
  HeatedBox(const BoxPlan& the_plan, ZoneRules the_clock, UtcMs start)
      : plan(the_plan), hot_degc(the_plan.set_night_degc), clock_(std::move(the_clock)), now_(start) {}

  void run_to(UtcMs to) {
    constexpr std::int64_t step_ms = 10 * second_ms;
    while (now_ < to) {
      const std::int64_t ms = std::min(step_ms, to - now_);
      now_ = now_ + ms;
      switch_heater();
      double towards = room_degc() + (on_ ? plan.gain_k * heater_share : 0.0);
      double tau_min = plan.tau_min;
      if (door_open) towards = room_degc() + 0.25 * (towards - room_degc()), tau_min = 5.0;
      hot_degc = towards + (hot_degc - towards) * std::exp(-static_cast<double>(ms) / (tau_min * minute_ms));
      const double body = animal_on_probe ? 0.55 : 0.0;
      animal_share_ +=
          (body - animal_share_) * (1.0 - std::exp(-static_cast<double>(ms) / (4.0 * minute_ms)));
    }
  }

  [[nodiscard]] double room_degc() const {
    const double hour = local_minute(clock_, now_) / 60.0;
    return plan.room_degc + room_off_k +
           plan.room_daily_k * std::cos((hour - 15.0) * 3.14159265358979 / 12.0);
  }
  [[nodiscard]] double cool_degc() const { return room_degc() + plan.cool_share * (hot_degc - room_degc()); }
  [[nodiscard]] double read_hot() {
    return read((1 - animal_share_) * hot_degc + animal_share_ * animal_degc + hot_probe_off_k);
  }
  [[nodiscard]] double read_cool() { return read(cool_degc() + cool_probe_off_k); }
  [[nodiscard]] double read_room() { return read(room_degc()); }
  [[nodiscard]] UtcMs now() const { return now_; }

  BoxPlan plan;
  double hot_degc;
  // What may be wrong, or is going on.
  bool heater_off = false;
  bool stuck_on = false;
  double heater_share = 1.0;
  double setting_off_k = 0;
  int timer_late_min = 0;
  double room_off_k = 0;
  double hot_probe_off_k = 0;
  double cool_probe_off_k = 0;
  bool door_open = false;
  bool animal_on_probe = false;
  double animal_degc = 30.0;  // of its skin

 private:
  void switch_heater() {
    const int minute = (local_minute(clock_, now_) - timer_late_min + 1440) % 1440;
    const bool day = minute >= plan.day_from_min && minute < plan.day_to_min;
    const double set = (day ? plan.set_day_degc : plan.set_night_degc) + setting_off_k;
    if (hot_degc < set - 0.5 * plan.swing_k) on_ = true;
    if (hot_degc > set + 0.5 * plan.swing_k) on_ = false;
    if (stuck_on) on_ = true;
    if (heater_off) on_ = false;
  }

  double read(double degc) {
    noise_ = noise_ * 6364136223846793005U + 1442695040888963407U;  // Knuth's MMIX sequence, from memory
    const double part = static_cast<double>(noise_ >> 11) / 9007199254740992.0;  // 0..1
    const double noisy = degc + plan.noise_k * (2.0 * part - 1.0);
    return std::round(noisy / plan.step_degc) * plan.step_degc;
  }

  ZoneRules clock_;
  UtcMs now_;
  bool on_ = false;
  double animal_share_ = 0;
  std::uint64_t noise_ = 1;
};

}  // namespace baskwell::test
