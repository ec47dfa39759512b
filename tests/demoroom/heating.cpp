#include "demoroom/heating.h"

#include <algorithm>
#include <cmath>

#include "core/check.h"

namespace baskwell::demoroom {
namespace {

const Enclosure& enclosure_of(const ProbePosition& position, const std::vector<Enclosure>& enclosures) {
  CHECK(position.enclosure >= 0 && static_cast<std::size_t>(position.enclosure) < enclosures.size());
  return enclosures[static_cast<std::size_t>(position.enclosure)];
}

double at_shifted_place_degc(const Enclosure& enclosure, Place place, double shift) {
  const double here = enclosure.at_degc(place);
  if (shift >= 0.0) return here + shift * (enclosure.at_degc(Place::cool_air) - here);
  // Towards a mat it touches it; under a ceramic or a lamp it is a twentieth of the way to the glowing part.
  const double to_heater_k = enclosure.nodes().heater_degc - here;
  const double share = to_heater_k > 40.0 ? 0.05 : 0.5;
  return here - shift * share * to_heater_k;
}

}  // namespace

Thermostat::Thermostat(const ThermostatSpec& spec, double start_degc, double step_s)
    : spec_(spec),
      clock_(spec.clock),
      step_s_(step_s),
      lag_share_(1.0 - std::exp(-step_s / std::max(spec.probe_lag_s, 1.0))),
      felt_degc_(start_degc),
      shows_degc_(start_degc),
      wanted_degc_(spec.day_degc) {
  CHECK(spec.differential_k > 0 && spec.gain_per_k > 0 && spec.integral_s >= 0);
}

double Thermostat::step(const std::vector<Enclosure>& enclosures, double room_degc, std::int64_t utc_s,
                        std::int64_t local_offset_s, bool powered) {
  const Enclosure& enclosure = enclosure_of(spec_.probe, enclosures);
  const double truth_degc = faults.fell_out ? room_degc
                            : faults.out_of_place == 0.0
                                ? enclosure.at_degc(spec_.probe.place)
                                : at_shifted_place_degc(enclosure, spec_.probe.place, faults.out_of_place);
  felt_degc_ += lag_share_ * (truth_degc - felt_degc_);
  if (!powered) {
    clock_.step_without_power(static_cast<std::int64_t>(step_s_));
    had_power_ = false;
    relay_on_ = false;
    integral_ = 0.0;
    return 0.0;
  }
  if (!had_power_) {
    clock_.power_back(utc_s, local_offset_s);
    had_power_ = true;
  }
  const bool day = within_day_span(clock_.shows_s(utc_s, local_offset_s), spec_.day_from_s, spec_.day_to_s);
  wanted_degc_ = faults.reset_degc.value_or((day ? spec_.day_degc : spec_.night_degc) + faults.set_by_k);
  shows_degc_ = felt_degc_;
  if (faults.drift_k_per_day != 0.0) {
    const auto days = static_cast<double>(utc_s - faults.drift_since_s) / static_cast<double>(kDay_s);
    shows_degc_ -= faults.drift_k_per_day * std::max(0.0, days);
  }
  const double error_k = wanted_degc_ - shows_degc_;
  if (spec_.kind == ThermostatKind::on_off) {
    const double half_k = 0.5 * (faults.hunting > 0.0 ? faults.hunting : spec_.differential_k);
    if (error_k > half_k) relay_on_ = true;
    if (error_k < -half_k) relay_on_ = false;
    return relay_on_ ? 1.0 : 0.0;
  }
  const double share = proportional(error_k);
  if (spec_.kind == ThermostatKind::dimming) return share;
  return pulse(share);
}

double Thermostat::pulse(double share) {
  // What the pulse before gave too little or too much is made up, so the mean is the share asked for.
  pulse_left_s_ -= step_s_;
  carried_ += share;
  if (pulse_left_s_ <= 0.0) {
    pulse_left_s_ += std::max(spec_.pulse_s, step_s_);
    pulse_on_ = carried_ >= 0.5;
  }
  if (!pulse_on_) return 0.0;
  carried_ -= 1.0;
  return 1.0;
}

double Thermostat::proportional(double error_k) {
  const double gain = spec_.gain_per_k * (faults.hunting > 0.0 ? faults.hunting : 1.0);
  const double unlimited = gain * error_k + integral_;
  const double share = std::clamp(unlimited, 0.0, 1.0);
  if (spec_.integral_s > 0.0) {
    // Wound up no further than the output reaches.
    const bool saturated = (unlimited > 1.0 && error_k > 0.0) || (unlimited < 0.0 && error_k < 0.0);
    if (!saturated) integral_ += gain * error_k * step_s_ / spec_.integral_s;
    integral_ = std::clamp(integral_, 0.0, 1.0);
  }
  return share;
}

void step_cutout(const CutoutSpec& spec, const std::vector<Enclosure>& enclosures, HeaterState& heater) {
  const double here = enclosure_of(spec.probe, enclosures).at_degc(spec.probe.place);
  if (here >= spec.opens_degc) {
    heater.cutout_open = true;
  } else if (spec.closes_by_itself && here <= spec.opens_degc - spec.closes_lower_k) {
    heater.cutout_open = false;
  }
}

}  // namespace baskwell::demoroom
