#include "core/probe/judge.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

namespace baskwell {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

// Own time further ahead of ours than this is a wrong clock, not a quick network. Proposal, no source.
constexpr std::int64_t future_tolerance_ms = 2 * minute_ms;

// Silence: 15 min (proposal, husbandry defaults), or five intervals for an instrument that reports more
// rarely.
constexpr std::int64_t silence_floor_ms = 15 * minute_ms;
constexpr std::int64_t long_silence_floor_ms = 60 * minute_ms;
constexpr int silence_intervals = 5;
constexpr int long_silence_intervals = 20;

// Frozen: common practice, no source, says 2 h without 0.1 degC of change; a cool end in a steady room does
// that, so we wait twice as long, and longer for humidity. Light and power are rightly constant all night.
constexpr std::int64_t frozen_temperature_ms = 4 * hour_ms;
constexpr std::int64_t frozen_humidity_ms = 12 * hour_ms;
constexpr std::uint32_t frozen_count = 20;

struct Limits {
  double low;
  double high;
};

// What each kind of instrument can measure. Digital bus probe: -55..125 degC (data sheet of the common
// one-wire sensor). Platinum and thermocouple: far beyond any enclosure. Generic: the widest of the common
// sensors.
Limits instrument_limits(ProbeType type, Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      switch (type) {
        case ProbeType::digital_bus:
          return {-55.0, 125.0};
        case ProbeType::capacitive_rh:
          return {-40.0, 125.0};
        case ProbeType::thermistor:
          return {-40.0, 150.0};
        case ProbeType::platinum:
        case ProbeType::thermocouple:
          return {-200.0, 600.0};
        case ProbeType::generic:
          return {-55.0, 150.0};
      }
      break;
    case Quantity::humidity:
      return {0.0, 100.0};
    case Quantity::light:
      return {0.0, 200000.0};  // full sun is about 100,000 lux; from memory
    case Quantity::power:
      return {-10.0, 20000.0};  // meters show small negative values at no load
    case Quantity::battery:
      return {0.0, 30.0};
  }
  return {-infinity, infinity};
}

// What a medium in a room with animals can be, wide enough that a fire is still a reading. Proposal, no
// source.
Limits medium_limits(Medium medium, Quantity quantity) {
  if (quantity != Quantity::temperature) return {-infinity, infinity};
  switch (medium) {
    case Medium::air:
      return {-30.0, 90.0};
    case Medium::surface:
      return {-30.0, 150.0};
    case Medium::substrate:
      return {-20.0, 100.0};
    case Medium::water:
      return {-2.0, 60.0};
    case Medium::eggs:
      return {-2.0, 60.0};
  }
  return {-infinity, infinity};
}

struct Jump {
  double step;
  double per_minute;
};

// Common practice, no source: more than 3 degC between two samples in air is suspect. Surfaces under a lamp
// move faster, substrate, water and eggs more slowly.
Jump jump_limits(Medium medium, Quantity quantity) {
  if (quantity == Quantity::humidity) return {25.0, 20.0};
  if (quantity != Quantity::temperature) return {infinity, infinity};
  switch (medium) {
    case Medium::air:
      return {3.0, 2.0};
    case Medium::surface:
      return {6.0, 6.0};
    case Medium::substrate:
    case Medium::water:
    case Medium::eggs:
      return {2.0, 1.0};
  }
  return {infinity, infinity};
}

Quality judge_value(const PlausibleRange& range, const ReadingEvent& event, double value, bool surprising) {
  if (event.not_a_number || !std::isfinite(value)) return Quality::not_finite;
  if (range.power_on_code) {
    constexpr double disconnected_degc = -127.0;
    constexpr double power_on_degc = 85.0;
    const double raw_degc = judged_value(event.value, event.unit);
    if (raw_degc == disconnected_degc) return Quality::fault_code;
    // 85.0 is also a legal reading: it is a fault only where nothing before it led there.
    if (raw_degc == power_on_degc && surprising) return Quality::fault_code;
  }
  if (value < range.low || value > range.high) return Quality::outside_instrument;
  if (value < range.medium_low || value > range.medium_high) return Quality::outside_medium;
  return Quality::good;
}

void take_in(ProbeState& probe, const ReadingEvent& event, double value, UtcMs measured,
             ElapsedMs measured_at) {
  if (probe.heard) {
    const std::int64_t gap_ms = measured - probe.last_measured;
    if (probe.learned_interval_ms == 0) {
      probe.learned_interval_ms = gap_ms;
    } else if (gap_ms < 10 * probe.learned_interval_ms) {
      // Long gaps are outages, not the instrument's habit.
      probe.learned_interval_ms += (gap_ms - probe.learned_interval_ms) / 8;
    }
  }
  if (probe.heard && event.value == probe.same_value) {
    if (probe.same_count < std::numeric_limits<std::uint32_t>::max()) ++probe.same_count;
  } else {
    probe.same_value = event.value;
    probe.same_since = measured;
    probe.same_count = 1;
  }
  probe.heard = true;
  probe.has_suspect = false;
  probe.last_good = value;
  probe.last_measured = measured;
  probe.last_good_at = std::max(probe.last_good_at, measured_at);
}

}  // namespace

PlausibleRange plausible_range(const Instrument& instrument, const Channel& channel, Medium medium) {
  const Limits can = instrument_limits(instrument.type, channel.quantity);
  const Limits may = medium_limits(medium, channel.quantity);
  const Jump jump = jump_limits(medium, channel.quantity);
  PlausibleRange range;
  range.low = channel.measures_low.value_or(can.low);
  range.high = channel.measures_high.value_or(can.high);
  range.medium_low = may.low;
  range.medium_high = may.high;
  range.jump = jump.step;
  range.jump_per_minute = jump.per_minute;
  range.power_on_code =
      instrument.type == ProbeType::digital_bus && channel.quantity == Quantity::temperature;
  return range;
}

Quality judge(ProbeState& probe, const PlausibleRange& range, const ReadingEvent& event, double value,
              bool clock_trusted) {
  if (event.retained) return Quality::retained;
  if (event.queued && !event.has_own_time) return Quality::no_time;
  // While our own clock is unsure an instrument's time cannot be held against it.
  const bool by_own_time = event.has_own_time && (clock_trusted || event.queued);
  const UtcMs measured = by_own_time ? event.measured : event.at.utc;
  if (by_own_time && measured - event.at.utc > future_tolerance_ms) return Quality::from_future;
  if (probe.heard && measured < probe.last_measured) return Quality::out_of_order;
  if (probe.heard && by_own_time && measured == probe.last_measured && event.value == probe.same_value) {
    return Quality::duplicate;
  }

  const double minutes = probe.heard ? static_cast<double>(measured - probe.last_measured) / minute_ms : 0.0;
  const double allowed = range.jump + range.jump_per_minute * minutes;
  const bool jumped = probe.heard && std::abs(value - probe.last_good) > allowed;
  const Quality quality = judge_value(range, event, value, !probe.heard || jumped);
  if (quality != Quality::good) return quality;
  if (jumped && !(probe.has_suspect && std::abs(value - probe.suspect) <= range.jump)) {
    // One spike is a fault of the line; two readings that agree are the truth, however far away.
    probe.suspect = value;
    probe.has_suspect = true;
    return Quality::jump;
  }
  const std::int64_t age_ms = std::max<std::int64_t>(0, event.at.utc - measured);
  take_in(probe, event, value, measured, event.at.elapsed - (by_own_time ? age_ms : 0));
  return Quality::good;
}

std::int64_t silence_limit_ms(const ProbeState& probe, const Instrument& instrument) {
  const std::int64_t interval_ms = instrument.interval_ms.value_or(probe.learned_interval_ms);
  return std::max(silence_floor_ms, silence_intervals * interval_ms);
}

std::int64_t long_silence_limit_ms(const ProbeState& probe, const Instrument& instrument) {
  const std::int64_t interval_ms = instrument.interval_ms.value_or(probe.learned_interval_ms);
  return std::max(long_silence_floor_ms, long_silence_intervals * interval_ms);
}

bool is_frozen(const ProbeState& probe, Quantity quantity) {
  if (probe.same_count < frozen_count) return false;
  const std::int64_t same_ms = probe.last_measured - probe.same_since;
  if (quantity == Quantity::temperature) return same_ms >= frozen_temperature_ms;
  if (quantity == Quantity::humidity) return same_ms >= frozen_humidity_ms;
  return false;
}

std::string_view name_of(Quality quality) {
  static constexpr std::array<std::string_view, quality_count> names{
      "good",      "not-finite",   "outside-instrument", "outside-medium", "fault-code", "jump",
      "duplicate", "out-of-order", "from-future",        "no-time",        "retained",   "unplaced"};
  return names[static_cast<std::size_t>(quality)];
}

}  // namespace baskwell
