#include "demoroom/room_air.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/check.h"
#include "demoroom/device_clock.h"
#include "demoroom/moist_air.h"

namespace baskwell::demoroom {

Weather::Weather(const WeatherSpec& spec, const Rng& rng) : spec_(spec), rng_(rng) {
  CHECK(spec.wander_days > 0);
  wander_k_ = spec.wander_k * rng_.normal();
  cloud_ = rng_.normal();
}

void Weather::step(std::int64_t utc_s, std::int64_t local_offset_s, double step_s) {
  constexpr double kTurn = 2.0 * std::numbers::pi;
  constexpr double kCloud_s = 4.0 * 3600.0;
  // Two Ornstein-Uhlenbeck walks, exact for any step.
  const double keep = std::exp(-step_s / (spec_.wander_days * static_cast<double>(kDay_s)));
  wander_k_ = keep * wander_k_ + spec_.wander_k * std::sqrt(1.0 - keep * keep) * rng_.normal();
  const double keep_cloud = std::exp(-step_s / kCloud_s);
  cloud_ = keep_cloud * cloud_ + std::sqrt(1.0 - keep_cloud * keep_cloud) * rng_.normal();

  const double year_day = std::fmod(static_cast<double>(utc_s) / static_cast<double>(kDay_s), 365.2425);
  const double season = std::cos(kTurn * (year_day - spec_.warmest_day) / 365.2425);  // 1 in summer
  const double hour = static_cast<double>(day_second(utc_s + local_offset_s)) / 3600.0;
  const double swing_k =
      spec_.day_swing_winter_k + (spec_.day_swing_summer_k - spec_.day_swing_winter_k) * 0.5 * (1.0 + season);
  const double mean_degc = spec_.yearly_mean_degc + spec_.half_range_k * season + wander_k_;
  outdoor_degc_ = mean_degc + swing_k * std::cos(kTurn * (hour - 15.0) / 24.0);
  // The dew point lies a little under the night's low.
  vapour_pa_ = saturation_pa(std::min(mean_degc - 3.0, outdoor_degc_));
  const double day_half_h = 6.0 + 2.2 * season;
  const double height = std::cos(0.5 * std::numbers::pi * (hour - 12.5) / day_half_h);
  const bool up = std::abs(hour - 12.5) < day_half_h;
  const double clear = std::clamp(0.5 + 0.35 * cloud_, 0.1, 1.0);
  sun_share_ = up ? height * clear * (0.6 + 0.4 * season) : 0.0;
}

RoomAir::RoomAir(const RoomAirSpec& spec, double start_degc)
    : spec_(spec),
      fabric_j_per_k_(spec.building_tau_h * 3600.0 * spec.loss_w_per_k),
      air_degc_(start_degc),
      fabric_degc_(start_degc - 1.0) {
  CHECK(spec.loss_w_per_k > 0 && spec.building_tau_h > 0 && spec.air_j_per_k > 0);
}

void RoomAir::step(const Weather& weather, double enclosures_w, std::int64_t local_second, bool powered,
                   double step_s) {
  const double outdoor = weather.outdoor_degc();
  const double setting =
      within_day_span(local_second, spec_.day_from_s, spec_.day_to_s) ? spec_.day_degc : spec_.night_degc;
  heating_w_ = 0.0;
  if (powered && !heating_off) {
    heating_w_ += spec_.heater_w * std::clamp((setting - air_degc_) / spec_.heating_band_k + 0.5, 0.0, 1.0);
  }
  if (powered && !cooling_off) {
    heating_w_ -=
        spec_.cooler_w * std::clamp((air_degc_ - spec_.cool_above_degc) / spec_.heating_band_k, 0.0, 1.0);
  }
  // A third of the loss is windows and air, the rest goes through the fabric.
  const double straight_w = spec_.loss_w_per_k / 3.0 * (air_degc_ - outdoor);
  const double fabric_w = spec_.air_fabric_w_per_k * (air_degc_ - fabric_degc_);
  const double through_w = spec_.loss_w_per_k * 2.0 / 3.0 * (fabric_degc_ - outdoor);
  const double sun_w = spec_.window_sun_w * weather.sun_share();
  air_degc_ += step_s / spec_.air_j_per_k * (heating_w_ + enclosures_w + 0.5 * sun_w - straight_w - fabric_w);
  fabric_degc_ += step_s / fabric_j_per_k_ * (0.5 * sun_w + fabric_w - through_w);
  step_moisture(weather, powered, step_s);
}

void RoomAir::step_moisture(const Weather& weather, bool powered, double step_s) {
  const double humidity_pct = relative_humidity_pct(vapour_pa_, air_degc_);
  const double over_pct = std::clamp(humidity_pct - spec_.drier_above_pct, 0.0, 10.0);
  const double under_pct = std::clamp(spec_.humidifier_below_pct - humidity_pct, 0.0, 10.0);
  constexpr double kLiving_kg_per_s = 1.5e-5;  // water bowls, plants, people: about 50 g an hour
  const double made_kg_per_s =
      kLiving_kg_per_s + (powered ? spec_.moisture_kg_per_s_pct * (under_pct - over_pct) : 0.0);
  const double kg_per_pa =
      5.0 * spec_.volume_m3 / (kVapourGas * (air_degc_ + kKelvin));  // walls and paper take part
  const double exchange_kg_per_s = spec_.volume_m3 * spec_.air_changes_per_h / 3600.0 /
                                   (kVapourGas * (air_degc_ + kKelvin)) * (weather.vapour_pa() - vapour_pa_);
  vapour_pa_ += step_s / kg_per_pa * (made_kg_per_s + exchange_kg_per_s);
}

}  // namespace baskwell::demoroom
