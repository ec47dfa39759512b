#pragma once
// A random room for one seed: as the simulator builds it, and as core's settings would describe it. Every
// heat unit is measured before it is taken (calibrate.h), so that the ranges of the evaluation hold for what
// the physics does, not for what was asked of it. Pure; one room, one thread.

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/room.h"
#include "demoroom/demo_room.h"
#include "scenarios/calibrate.h"
#include "scenarios/swarm.h"

namespace baskwell::scenarios {

enum class HeaterClass { mat_on_off, cable_on_off, ceramic_pulse, halogen_dimming, rack };
inline constexpr int kHeaterClasses = 5;
[[nodiscard]] const char* name(HeaterClass one);

struct DrawnUnit {
  HeaterClass heater_class = HeaterClass::mat_on_off;
  std::vector<int> enclosures;
  int thermostat = 0;
  int heater = 0;
  bool has_cutout = false;
  std::string subject;  // as core names the unit in alarms
  std::string target;   // as the simulator's commands name it
  demoroom::Place logged = demoroom::Place::hot_surface;
  Needs needs;
  Held held;
  int ramp_min = 60;             // of its bands, after the lights change
  bool starts_early = false;     // heats for the day before the lights come on
  int hot_probe = -1;            // index into the simulator's probes; of the thermostat's enclosure
  std::vector<int> hot_probes;   // of all its enclosures
  std::vector<int> cool_probes;  // may be empty
};

struct DrawnRoom {
  demoroom::RoomSpec sim;
  std::shared_ptr<const Room> core;
  std::vector<DrawnUnit> units;
  std::vector<Index> channel_of_probe;  // by the simulator's probe
  std::vector<int> unit_of_enclosure;
  int room_probe = -1;  // -1: the room's air is not measured
  int probed_enclosures = 0;
  std::int64_t start_ms = 0;
  std::int64_t local_offset_s = 0;
  bool own_time = false;  // the instruments stamp their readings
};

inline constexpr std::int64_t kReporting_interval_s = 30;

[[nodiscard]] DrawnRoom draw_room(std::uint64_t seed, const Swarm& swarm);

// The same room as settings would hand it to core. `drawn` without its `core`.
[[nodiscard]] std::shared_ptr<const Room> core_room(const DrawnRoom& drawn, const demoroom::Rng& root);

}  // namespace baskwell::scenarios
