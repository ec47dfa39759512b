#pragma once
// The weather outside and the room around the enclosures. Room air with its furniture, and the building's
// fabric, are two nodes; a heater and a cooler with schedules, sun through a window, the heat the enclosures
// give off, and moisture with a humidifier and a drier. degC, Pa, W; UTC seconds. Deterministic from the
// random source handed in. Threads: one. Sources of the figures: README.md of this folder.

#include <cstdint>

#include "demoroom/device_clock.h"
#include "demoroom/rng.h"

namespace baskwell::demoroom {

struct WeatherSpec {
  double yearly_mean_degc = 11.0;
  double half_range_k = 6.8;        // of the daily mean over the year
  double warmest_day = 205.0;       // of the year
  double day_swing_winter_k = 3.0;  // amplitude over the day
  double day_swing_summer_k = 5.0;
  double wander_k = 3.0;  // standard deviation of the daily mean about its season
  double wander_days = 3.0;
};

class Weather {
 public:
  Weather(const WeatherSpec& spec, const Rng& rng);

  // Brings the weather forward; any step. Local offset only places noon.
  void step(std::int64_t utc_s, std::int64_t local_offset_s, double step_s);
  [[nodiscard]] double outdoor_degc() const { return outdoor_degc_ + heat_wave_k; }
  [[nodiscard]] double vapour_pa() const { return vapour_pa_; }
  [[nodiscard]] double sun_share() const { return sun_share_; }  // of a clear midsummer noon

  double heat_wave_k = 0.0;  // fault

 private:
  WeatherSpec spec_;
  Rng rng_;
  double wander_k_ = 0.0;
  double cloud_ = 0.0;  // standard normal, wandering within hours
  double outdoor_degc_ = 10.0;
  double vapour_pa_ = 900.0;
  double sun_share_ = 0.0;
};

struct RoomAirSpec {
  double loss_w_per_k = 60.0;    // to outdoors, all ways
  double building_tau_h = 20.0;  // without heating
  double air_j_per_k = 400e3;    // air and furniture
  double air_fabric_w_per_k = 150.0;
  double volume_m3 = 45.0;
  double air_changes_per_h = 0.5;
  double heater_w = 2000.0;
  double day_degc = 21.5;
  double night_degc = 20.5;
  std::int64_t day_from_s = 6 * kHour_s + 1800;
  std::int64_t day_to_s = 22 * kHour_s + 1800;
  double heating_band_k = 0.6;  // full power this far below the setting
  double cooler_w = 1800.0;
  double cool_above_degc = 22.0;
  double window_sun_w = 300.0;  // at a clear midsummer noon
  double drier_above_pct = 43.0;
  double humidifier_below_pct = 41.0;
  double moisture_kg_per_s_pct = 2.5e-5;  // either, for each %RH beyond, to ten
  int circuit = -1;                       // of heater, cooler, drier and humidifier
};

class RoomAir {
 public:
  RoomAir(const RoomAirSpec& spec, double start_degc);

  void step(const Weather& weather, double enclosures_w, std::int64_t local_second, bool powered,
            double step_s);
  [[nodiscard]] double air_degc() const { return air_degc_; }
  [[nodiscard]] double vapour_pa() const { return vapour_pa_; }
  [[nodiscard]] double heating_w() const { return heating_w_; }  // negative while it cools

  bool heating_off = false;  // faults
  bool cooling_off = false;

 private:
  void step_moisture(const Weather& weather, bool powered, double step_s);

  RoomAirSpec spec_;
  double fabric_j_per_k_;
  double air_degc_;
  double fabric_degc_;
  double vapour_pa_ = 1050.0;
  double heating_w_ = 0.0;
};

}  // namespace baskwell::demoroom
