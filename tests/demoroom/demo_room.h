#pragma once
// The demo room: enclosures, heating, lights, circuits, the room and its weather, instruments and faults,
// stepped together.
//
// Purpose: something physical to watch, and, for evaluation, many enclosure-years with the truth known. Time
// is UTC ms and goes forward only by run_until(); nothing reads a clock, the same spec, seed and calls give
// the same output. degC, %RH, lux, W. Errors: a command that makes no sense is a Result; a spec that makes no
// sense is a broken invariant (CHECK). Threads: one object, one thread; objects share nothing.

#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.h"
#include "demoroom/device_clock.h"
#include "demoroom/enclosure.h"
#include "demoroom/fault.h"
#include "demoroom/heating.h"
#include "demoroom/probe.h"
#include "demoroom/room_air.h"

namespace baskwell::demoroom {

inline constexpr std::int64_t kStep_s = 5;

struct TimerSpec {
  std::string id;
  ClockKind clock = ClockKind::keeps;
  std::int64_t on_s = 8 * kHour_s;  // of its own clock's day
  std::int64_t off_s = 20 * kHour_s;
  int circuit = 0;
};

struct MistingSpec {  // the keeper's routine, by the wall clock
  int enclosure = 0;
  std::int64_t at_s = 9 * kHour_s;
  double water_kg = 0.05;
};

struct RoomSpec {
  std::string name;
  WeatherSpec weather;
  RoomAirSpec air;
  std::vector<std::string> circuits;
  std::vector<EnclosureSpec> enclosures;
  std::vector<TimerSpec> timers;
  std::vector<HeaterSpec> heaters;
  std::vector<ThermostatSpec> thermostats;
  std::vector<CutoutSpec> cutouts;
  std::vector<MistingSpec> mistings;
  std::vector<InstrumentSpec> instruments;
  std::vector<ProbeSpec> probes;
};

// One message of one instrument.
struct Report {
  int instrument = 0;
  std::int64_t utc_ms = 0;  // when it measured
  double battery_v = 0.0;
  std::int64_t count = 0;  // reports of this instrument since it started
  bool lost = false;       // never arrives
  struct Value {
    int probe = 0;  // index into RoomSpec::probes
    ProbeValue read;
  };
  std::vector<Value> values;
};
using ReportSink = std::function<void(const Report&)>;

class DemoRoom {
 public:
  DemoRoom(RoomSpec spec, std::uint64_t seed, std::int64_t start_utc_ms, std::int64_t local_offset_s);

  // Steps until the simulated time reaches utc_ms; every report that falls due goes to the sink, in order of
  // time.
  void run_until(std::int64_t utc_ms, const ReportSink& sink);

  // The keeper's clocks follow at once (daylight saving).
  void set_local_offset_s(std::int64_t seconds) { local_offset_s_ = seconds; }

  // One line as in README.md; answers in words. Takes effect now.
  [[nodiscard]] Result<std::string> command(std::string_view line);
  // A fault at a later time; checked now. Same-time faults in the order given.
  [[nodiscard]] Outcome schedule(std::int64_t utc_ms, const FaultCommand& command);

  [[nodiscard]] std::int64_t now_ms() const { return now_ms_; }
  [[nodiscard]] const RoomSpec& spec() const { return spec_; }
  [[nodiscard]] const std::vector<TruthEntry>& truth() const { return truth_; }
  [[nodiscard]] const std::vector<Enclosure>& enclosures() const { return enclosures_; }
  [[nodiscard]] const std::vector<Thermostat>& thermostats() const { return thermostats_; }
  [[nodiscard]] const std::vector<HeaterState>& heaters() const { return heaters_; }
  [[nodiscard]] const RoomAir& room_air() const { return air_; }
  [[nodiscard]] const Weather& weather() const { return weather_; }
  [[nodiscard]] bool light_on(std::size_t enclosure) const;
  [[nodiscard]] double lux(std::size_t enclosure) const;
  [[nodiscard]] std::int64_t timer_late_s(std::size_t timer) const { return timers_[timer].clock.late_s(); }

 private:
  struct TimerState {
    DeviceClock clock;
    bool on = false;
    bool had_power = true;
    std::int64_t late_at_cut_s = 0;
  };
  struct InstrumentState {
    Rng rng;
    std::int64_t next_ms = 0;
    std::int64_t count = 0;
    std::vector<int> probes;
  };
  struct Targets {
    std::vector<int> enclosures, heaters, thermostats, probes, circuits;
    bool room = false;
  };
  struct ActiveFault {
    FaultCommand command;
    Targets targets;
    std::int64_t ends_ms = 0;  // 0: until cleared
  };
  struct Scheduled {
    std::int64_t at_ms;
    FaultCommand command;
  };

  void step();
  void step_faults();
  void step_timers(std::int64_t utc_s);
  void step_heating(std::int64_t utc_s);
  void step_enclosures(std::int64_t utc_s);
  void step_probes();
  void report_due(const ReportSink& sink);
  [[nodiscard]] bool powered(int circuit) const;
  [[nodiscard]] double truth_at(const ProbeSpec& probe, const ProbeFaults& faults) const;

  [[nodiscard]] Result<Targets> resolve(const FaultRow& row, const std::string& target) const;
  [[nodiscard]] Result<Targets> resolve_probe(const std::string& target) const;
  [[nodiscard]] Outcome inject(const FaultCommand& command);
  [[nodiscard]] Result<std::string> clear(const std::string& target);
  void apply(const ActiveFault& fault, bool on);
  void apply_to_heaters(const ActiveFault& fault, bool on);
  void apply_to_thermostats(const ActiveFault& fault, bool on);
  void apply_to_probes(const ActiveFault& fault, bool on);
  void end_fault(std::size_t index);
  [[nodiscard]] std::string list_faults() const;
  void note_truth(bool begins, const FaultCommand& command);

  RoomSpec spec_;
  std::int64_t now_ms_;
  std::int64_t local_offset_s_;
  Weather weather_;
  RoomAir air_;
  std::vector<Enclosure> enclosures_;
  std::vector<Surroundings> around_;
  std::vector<int> doors_open_;  // counts, so that two causes may overlap
  std::vector<TimerState> timers_;
  std::vector<Thermostat> thermostats_;
  std::vector<double> shares_asked_;
  std::vector<HeaterState> heaters_;
  std::vector<Probe> probes_;
  std::vector<InstrumentState> instruments_;
  std::vector<int> circuit_cuts_;
  std::vector<ActiveFault> faults_;
  std::vector<Scheduled> scheduled_;
  std::vector<TruthEntry> truth_;
  double enclosures_w_ = 0.0;
};

}  // namespace baskwell::demoroom
