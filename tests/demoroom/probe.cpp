#include "demoroom/probe.h"

#include <algorithm>
#include <cmath>

#include "core/check.h"

namespace baskwell::demoroom {

const char* name(Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      return "temperature";
    case Quantity::humidity:
      return "humidity";
    case Quantity::light:
      return "light";
    case Quantity::power:
      return "power";
  }
  CHECK(false);
}

const char* name(Zone zone) {
  switch (zone) {
    case Zone::hot:
      return "hot";
    case Zone::middle:
      return "middle";
    case Zone::cool:
      return "cool";
    case Zone::room:
      return "room";
  }
  CHECK(false);
}

const char* name(Medium medium) {
  switch (medium) {
    case Medium::air:
      return "air";
    case Medium::surface:
      return "surface";
    case Medium::none:
      return "";
  }
  CHECK(false);
}

Probe::Probe(const ProbeSpec& spec, double start, double step_s, const Rng& rng)
    : spec_(spec),
      rng_(rng),
      lag_share_(1.0 - std::exp(-step_s / std::max(spec.lag_s, 0.1))),
      // An animal of a few hundred grams over the probe: half an hour, section 4.3 of the husbandry
      // reference.
      animal_share_(1.0 - std::exp(-step_s / 1800.0)),
      felt_(start) {
  CHECK(spec.step.num > 0 && spec.step.den > 0 && spec.noise >= 0);
}

void Probe::step(double truth) {
  if (faults.animal) {
    felt_ += animal_share_ * (truth - felt_);
  } else {
    felt_ += lag_share_ * (truth - felt_);
  }
}

ProbeValue Probe::read() {
  // The noise is drawn whatever the fault, so that a fault leaves the later noise as it was.
  double value = felt_ + spec_.calibration_error + spec_.noise * rng_.normal();
  if (faults.dead) return ProbeValue{};
  if (faults.frozen && last_.kind == ValueKind::number) return last_;
  bool raw = false;
  if (faults.bad_value) {
    if (std::isnan(*faults.bad_value)) return ProbeValue{ValueKind::not_a_number, 0, 0.0};
    value = *faults.bad_value;
    raw = true;  // a power-on or disconnect code is what the chip says, in degC
  }
  if (spec_.quantity == Quantity::humidity && !raw) value = std::clamp(value, 0.0, 99.9);
  if (spec_.quantity == Quantity::light || spec_.quantity == Quantity::power) value = std::max(value, 0.0);
  if (spec_.unit == Unit::degf) value = value * 1.8 + 32.0;
  ProbeValue read{ValueKind::number, std::llround(value * spec_.step.den / spec_.step.num), 0.0};
  read.value = static_cast<double>(read.steps) * spec_.step.num / spec_.step.den;
  last_ = read;
  return read;
}

}  // namespace baskwell::demoroom
