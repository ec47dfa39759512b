#pragma once
// What an instrument makes of the truth: lag, noise, calibration error, steps of its converter, jitter of its
// reports, lost messages, a battery that runs down; and its faults. Values leave in the instrument's own unit
// as a whole number of steps, so that 0.0625 and 0.1 are exact. Times are UTC ms. Threads: one object, one
// thread.

#include <cstdint>
#include <optional>
#include <string>

#include "demoroom/enclosure.h"
#include "demoroom/rng.h"

namespace baskwell::demoroom {

enum class Quantity { temperature, humidity, light, power };
enum class Unit { degc, degf, rh_pct, lux, w };
enum class Zone { hot, middle, cool, room };
enum class Medium { air, surface, none };

[[nodiscard]] const char* name(Quantity quantity);
[[nodiscard]] const char* name(Zone zone);
[[nodiscard]] const char* name(Medium medium);

struct Step {  // of the converter, num/den of the unit
  int num = 1;
  int den = 10;
  int decimals = 1;  // needed to print any multiple exactly
};
inline constexpr Step kSixteenth{1, 16, 4};
inline constexpr Step kTenth{1, 10, 1};
inline constexpr Step kWhole{1, 1, 0};

struct ProbeSpec {
  int instrument = 0;
  int enclosure = -1;  // -1: the room
  Zone zone = Zone::hot;
  Medium medium = Medium::air;
  Quantity quantity = Quantity::temperature;
  Unit unit = Unit::degc;
  Step step = kTenth;
  double lag_s = 60.0;
  double noise = 0.05;             // standard deviation, in the quantity's own unit (degC, %RH, lux, W)
  double calibration_error = 0.0;  // added, same unit
  double radiation_k_per_w = 0.0;  // a bare probe under a lamp reads high
  int heater = -1;                 // for power
  std::string label;               // topic level or JSON pointer, as the payload needs it
  std::string channel;  // its name within the instrument, in files of readings; empty: after the label
};

struct InstrumentSpec {
  std::string id;
  std::string topic;
  bool json = false;
  double interval_s = 30.0;
  double jitter_share = 0.1;  // each interval within +- this share
  double loss_share = 0.002;  // of messages that never arrive
  double battery_v = 3.0;
  double battery_v_per_day = -0.0008;
  std::string battery_topic;  // plain instruments: empty = does not tell
  int circuit = -1;           // fed by this circuit and silent while it is cut; -1: by its battery
};

enum class ValueKind { number, missing, not_a_number };

struct ProbeValue {
  ValueKind kind = ValueKind::missing;
  std::int64_t steps = 0;  // number: value = steps * num / den
  double value = 0.0;      // the same as a double, in the probe's unit
};

struct ProbeFaults {
  double out_of_place = 0.0;  // share of the way to the cool end
  bool fell_out = false;      // hangs in the room
  bool dead = false;
  bool frozen = false;
  bool animal = false;
  std::optional<double> bad_value;  // may be NaN
};

class Probe {
 public:
  Probe(const ProbeSpec& spec, double start, double step_s, const Rng& rng);

  // The truth at the probe's own place now; the probe lags behind it.
  void step(double truth);
  [[nodiscard]] ProbeValue read();
  [[nodiscard]] double felt() const { return felt_; }

  ProbeFaults faults;

 private:
  ProbeSpec spec_;
  Rng rng_;
  double lag_share_;
  double animal_share_;
  double felt_;
  ProbeValue last_;
};

}  // namespace baskwell::demoroom
