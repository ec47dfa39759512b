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

// A pause longer than this is not learned as a habit: an instrument that reports so rarely must declare it.
// Else one wrong clock (a first stamp of 1970) would excuse years of silence. Proposal, no source.
constexpr std::int64_t longest_learned_ms = 2 * hour_ms;

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

// `surprising`: nothing before it led to this value.
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

// While our own clock is unsure an instrument's time cannot be held against it.
bool counts_by_own_time(const ReadingEvent& event, bool clock_trusted) {
  return event.has_own_time && (clock_trusted || event.queued);
}

void learn_interval(ProbeState& probe, std::int64_t gap_ms) {
  if (gap_ms > longest_learned_ms) return;
  if (probe.learned_interval_ms == 0) {
    probe.learned_interval_ms = gap_ms;
  } else if (gap_ms < 10 * probe.learned_interval_ms) {
    // Long gaps are outages, not the instrument's habit.
    probe.learned_interval_ms += (gap_ms - probe.learned_interval_ms) / 8;
  }
}

// Of one reading that is being judged.
struct Times {
  bool by_own_time;
  UtcMs measured;
  ElapsedMs elapsed;    // when it was measured
  std::int64_t gap_ms;  // since the last good one; 0: there is none
};

Times times_of(const ProbeState& probe, const ReadingEvent& event, bool clock_trusted) {
  Times times{};
  times.by_own_time = counts_by_own_time(event, clock_trusted);
  times.measured = times.by_own_time ? measured_at(event) : event.at.utc;
  const std::int64_t age_ms = std::max<std::int64_t>(0, event.at.utc - times.measured);
  times.elapsed = event.at.elapsed - age_ms;
  if (!probe.heard) return times;
  times.gap_ms = times.by_own_time && probe.by_own_time
                     ? times.measured - probe.last_measured
                     : std::max<std::int64_t>(0, times.elapsed - probe.last_good_at);
  return times;
}

void take_in(ProbeState& probe, const ReadingEvent& event, double value, const Times& times) {
  // What was not seen proves nothing about having stood still.
  const bool went_on = probe.heard && times.gap_ms <= std::max(silence_floor_ms,
                                                               silence_intervals * probe.learned_interval_ms);
  if (probe.heard) learn_interval(probe, times.gap_ms);
  probe.last_good_at = std::max(probe.last_good_at, times.elapsed);
  if (went_on && event.value == probe.same_value) {
    if (probe.same_count < std::numeric_limits<std::uint32_t>::max()) ++probe.same_count;
  } else {
    probe.same_value = event.value;
    probe.same_since = probe.last_good_at;
    probe.same_count = 1;
  }
  probe.heard = true;
  probe.has_suspect = false;
  probe.by_own_time = times.by_own_time;
  probe.last_good = value;
  probe.last_measured = times.measured;
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

Quality judge_time(const ProbeState& probe, const ReadingEvent& event, bool clock_trusted) {
  if (event.retained) return Quality::retained;
  if (event.queued && !event.has_own_time) return Quality::no_time;
  // What arrives now without a time of its own is of now, whatever our wall clock said before.
  if (!counts_by_own_time(event, clock_trusted)) return Quality::good;
  const UtcMs measured = measured_at(event);
  if (measured - event.at.utc > future_tolerance_ms) return Quality::from_future;
  if (!probe.heard || !probe.by_own_time) return Quality::good;
  if (measured < probe.last_measured) return Quality::out_of_order;
  if (measured == probe.last_measured && event.value == probe.same_value) return Quality::duplicate;
  return Quality::good;
}

Quality judge(ProbeState& probe, const PlausibleRange& range, const ReadingEvent& event, double value,
              bool clock_trusted) {
  const Quality by_time = judge_time(probe, event, clock_trusted);
  if (by_time != Quality::good) return by_time;
  const Times times = times_of(probe, event, clock_trusted);

  const double step = std::abs(value - probe.last_good);
  const double pause_min = static_cast<double>(times.gap_ms) / minute_ms;
  const bool jumped = probe.heard && step > range.jump + range.jump_per_minute * pause_min;
  // A pause does not make a fault value likelier to be true, so it is allowed none.
  const bool surprising = !probe.heard || step > range.jump;
  const Quality quality = judge_value(range, event, value, surprising);
  if (quality != Quality::good) return quality;
  if (jumped) {
    // The broker may deliver one message twice; that is still one reading.
    if (probe.has_suspect && times.by_own_time && times.measured <= probe.suspect_measured)
      return value == probe.suspect ? Quality::duplicate : Quality::out_of_order;
    const bool agrees = probe.has_suspect && std::abs(value - probe.suspect) <= range.jump;
    if (!agrees) {
      // One spike is a fault of the line; two readings that agree are the truth, however far away.
      probe.suspect = value;
      probe.suspect_measured = times.by_own_time ? times.measured : UtcMs{INT64_MIN};
      probe.has_suspect = true;
      return Quality::jump;
    }
  }
  take_in(probe, event, value, times);
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
  const std::int64_t same_ms = probe.last_good_at - probe.same_since;
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
