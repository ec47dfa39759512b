#pragma once
// Heaters, thermostats of three kinds and high cut-outs: what sits between the mains and an enclosure. degC,
// W, seconds. Stepped with the enclosure; no clock and no randomness of their own. Threads: one object, one
// thread.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "demoroom/device_clock.h"
#include "demoroom/enclosure.h"

namespace baskwell::demoroom {

enum class ThermostatKind {
  on_off,              // a relay with a differential
  pulse_proportional,  // whole pulses of one step, as many as the share asked for
  dimming,             // any share of the power
};

struct ProbePosition {
  int enclosure = 0;
  Place place = Place::hot_surface;
};

struct ThermostatSpec {
  std::string id;
  ThermostatKind kind = ThermostatKind::on_off;
  ProbePosition probe;
  double probe_lag_s = 60.0;
  double day_degc = 30.0;
  double night_degc = 26.0;
  std::int64_t day_from_s = 8 * kHour_s;  // of its own clock's day
  std::int64_t day_to_s = 20 * kHour_s;
  ClockKind clock = ClockKind::keeps;
  double differential_k = 1.0;  // on-off: whole width between on and off
  double gain_per_k = 0.5;      // proportional kinds: share of power per K of error
  double integral_s = 1200.0;   // proportional kinds: 0 = none, then it keeps a droop
  double pulse_s = 0.0;         // pulse-proportional: length of one pulse; up to a step of the room: a step
  int circuit = 0;
};

struct ThermostatFaults {
  double drift_k_per_day = 0.0;  // by which the kept temperature rises
  std::int64_t drift_since_s = 0;
  std::optional<double> reset_degc;
  double hunting = 0.0;     // on-off: differential, K; others: times the gain; 0 = none
  double out_of_place = 0;  // > 0: share of the way to the cool end; < 0: towards the heater
  bool fell_out = false;    // hangs in the room
  double set_by_k = 0.0;    // the keeper turned the knob: added to day and night setting
};

class Thermostat {
 public:
  Thermostat(const ThermostatSpec& spec, double start_degc, double step_s);

  // The share of full power asked for over the next step, 0 to 1.
  double step(const std::vector<Enclosure>& enclosures, double room_degc, std::int64_t utc_s,
              std::int64_t local_offset_s, bool powered);

  [[nodiscard]] double wanted_degc() const { return wanted_degc_; }
  [[nodiscard]] double shows_degc() const { return shows_degc_; }
  [[nodiscard]] bool powered() const { return had_power_; }  // over the last step
  DeviceClock& clock() { return clock_; }
  [[nodiscard]] const DeviceClock& clock() const { return clock_; }
  ThermostatFaults faults;  // set by the fault commands

 private:
  double proportional(double error_k);
  double pulse(double share);

  ThermostatSpec spec_;
  DeviceClock clock_;
  double step_s_;
  double lag_share_;
  double felt_degc_;
  double shows_degc_;
  double wanted_degc_;
  double integral_ = 0.0;
  double carried_ = 0.0;  // pulses: the share not yet given
  double pulse_left_s_ = 0.0;
  bool pulse_on_ = false;
  bool relay_on_ = false;
  bool had_power_ = true;
};

struct HeaterSpec {
  std::string id;
  double power_w = 50.0;        // all of it
  std::vector<int> enclosures;  // fed in equal shares unless `shares` says otherwise
  std::vector<double> shares;   // empty, or one for each enclosure, sum 1
  int thermostat = -1;          // index, or -1
  int timer = -1;               // with no thermostat: on while this timer is on; neither: always on
  int circuit = 0;
};

struct CutoutSpec {
  std::string id;
  int heater = 0;
  ProbePosition probe;
  double opens_degc = 45.0;
  double closes_lower_k = 4.0;
  bool closes_by_itself = true;
};

struct HeaterState {
  double power_w = 0.0;  // over the last step
  bool off = false;      // faults
  bool stuck_on = false;
  bool forced_open = false;
  double weak_share = 1.0;
  bool cutout_open = false;
};

// Would the cut-out let power through? Keeps `open` between calls.
void step_cutout(const CutoutSpec& spec, const std::vector<Enclosure>& enclosures, HeaterState& heater);

}  // namespace baskwell::demoroom
