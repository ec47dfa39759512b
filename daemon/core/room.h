#pragma once
// The room as core sees it: all that one daemon watches, with permanent ids, already checked and resolved by
// settings/. Units are in the names. Plain values; references between things are indexes into the vectors of
// Room (`none` where there is no such thing). Built once by settings/, then read only, so it may be read from
// any thread.

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/climate/zone_rules.h"
#include "core/time.h"
#include "core/units.h"

namespace baskwell {

using Index = std::uint32_t;
inline constexpr Index none = 0xffffffff;

// `room` is the room's own air; the others are zones of an enclosure.
enum class Zone : std::uint8_t { hot, middle, cool, hide, water, eggs, room };
inline constexpr int zone_count = 7;
enum class Medium : std::uint8_t { air, surface, substrate, water, eggs };
inline constexpr int medium_count = 5;
[[nodiscard]] std::string_view name_of(Zone zone);
[[nodiscard]] std::string_view name_of(Medium medium);
[[nodiscard]] std::optional<Zone> zone_from(std::string_view name);
[[nodiscard]] std::optional<Medium> medium_from(std::string_view name);

// Half-open span of time; open ends are the extremes of int64.
struct Span {
  UtcMs from{INT64_MIN};
  UtcMs to{INT64_MAX};
  [[nodiscard]] bool holds(UtcMs at) const { return from <= at && at < to; }
};

// ---- What animals need
// -----------------------------------------------------------------------------------------

// NaN: no limit on that side.
struct Range {
  double low;
  double high;
};

// What one animal (or a keeper's override) asks of one zone, one quantity.
struct Band {
  Zone zone;
  Quantity quantity;
  std::optional<Medium>
      medium;  // set: the figure is for this medium only (basking figures are surface figures)
  Range day;   // target band by day, in the judged unit (degC, %RH)
  Range night;
  Range harm;  // beyond it the animal is in danger; by day and night
  std::string source;
};

// Fixed lights of an enclosure, by the wall clock of the room.
struct LightPlan {
  int on_minute = 8 * 60;    // local minute of lights-on
  int off_minute = 20 * 60;  // local minute of lights-off; equal to on_minute: no lights, always night
  int ramp_min = 60;         // the band moves over this time after each edge
};

struct Animal {
  std::string id;
  std::string name;
  std::string species;       // id of the care sheet, "royal-python"
  std::string species_name;  // for people: "royal python"
  std::string life_stage;
  std::string sex;                          // "", "male", "female"
  std::optional<std::int64_t> hatched_day;  // days since 1970-01-01
  int count = 1;                            // a group counts more
  std::vector<Band> bands;                  // sheet with this animal's own overrides applied
};

struct Occupancy {
  Index animal;
  Index enclosure;
  Span span;
};

// ---- Things of the room
// ------------------------------------------------------------------------------------------

struct Enclosure {
  std::string id;
  std::string name;
  std::array<double, 3> size_cm{};  // width, depth, height; 0: not told
  int hides = 0;
  std::string material;
  Index rack = none;
  LightPlan lights;
  std::vector<Band> overrides;  // replace the animals' bands for the same zone, quantity and medium
};

struct Rack {
  std::string id;
  std::string name;
  std::vector<Index> tubs;  // enclosures
};

struct Circuit {
  std::string id;
  std::string name;
};

struct Heater {
  std::string id;
  std::string name;
  std::string
      kind;  // "mat", "cable", "tape", "ceramic", "panel", "halogen", "incandescent", "tubular", "other"
  std::optional<double> power_w;
  std::string socket;             // what the keeper calls the plug
  std::vector<Index> enclosures;  // what it heats
  Index circuit = none;
};

struct Lamp {
  std::string id;
  std::string name;
  std::string kind;  // "uvb", "led", "fluorescent", "metal-halide", "mercury-vapour", "other"
  std::vector<Index> enclosures;
  Index circuit = none;
};

enum class ThermostatKind : std::uint8_t { on_off, pulse_proportional, dimming };

struct Thermostat {
  std::string id;
  std::string name;
  ThermostatKind kind = ThermostatKind::on_off;
  std::optional<double> set_day_degc;
  std::optional<double> set_night_degc;
  std::vector<Index> heaters;
  Index probe_enclosure = none;  // where its own probe lies
  Zone probe_zone = Zone::hot;
};

struct CutOut {  // an independent high cut-out
  std::string id;
  std::string name;
  std::optional<double> set_degc;
  std::vector<Index> heaters;
};

// ---- Probes
// --------------------------------------------------------------------------------------------------------

// What the instrument can measure at all, and known fault values of its kind.
enum class ProbeType : std::uint8_t {
  generic,
  digital_bus,
  capacitive_rh,
  thermistor,
  platinum,
  thermocouple
};

struct Instrument {
  std::string id;
  std::string name;
  ProbeType type = ProbeType::generic;
  std::optional<std::int64_t> interval_ms;  // declared; else learned
};

struct Placement {
  Index enclosure = none;  // none: the room's own air
  Zone zone = Zone::room;
  Medium medium = Medium::air;
  Span span;
};

// value_out = value_in + offset, from `from` on; version counts up from 1 (0: none).
struct Calibration {
  UtcMs from;
  double offset = 0;
  std::uint16_t version = 0;
};

struct Channel {
  std::string id;  // "instrument/name"
  Index instrument = none;
  Unit unit = Unit::degc;
  Quantity quantity = Quantity::temperature;
  std::vector<Placement> placements;      // ascending, not overlapping
  std::vector<Calibration> calibrations;  // ascending
  std::optional<double> measures_low;     // judged unit; what the instrument can measure, where declared
  std::optional<double> measures_high;
  bool expected = true;  // false: nothing is to come from it (a file being replayed does not hold it)
};

// ---- People
// ---------------------------------------------------------------------------------------------------------

struct PersonChannel {
  std::string channel;  // id of a delivery channel of settings
  std::string address;
};

struct Person {
  std::string id;
  std::string name;
  std::vector<PersonChannel> channels;  // in the order they are tried
  int wakes_minute = 7 * 60;            // `medium` is told between these local minutes, `high` always
  int sleeps_minute = 22 * 60;
};

struct Room {
  std::string id;
  std::string name;
  ZoneRules clock;
  std::optional<double> latitude_deg;
  std::optional<double> longitude_deg;

  std::vector<Enclosure> enclosures;
  std::vector<Rack> racks;
  std::vector<Animal> animals;
  std::vector<Occupancy> occupancies;
  std::vector<Circuit> circuits;
  std::vector<Heater> heaters;
  std::vector<Lamp> lamps;
  std::vector<Thermostat> thermostats;
  std::vector<CutOut> cut_outs;
  std::vector<Instrument> instruments;
  std::vector<Channel> channels;
  std::vector<Person> people;
  std::vector<std::string> delivery_channels;  // ids, for delivery-failed

  AlarmSettingsTable alarm_settings = default_alarm_settings();  // per kind, with the keeper's changes
  std::vector<Band> room_air_bands;  // only `harm` and target of the room's own air, if asked

  std::uint64_t version = 0;  // of the settings, from the store; 0: not stored
};

}  // namespace baskwell
