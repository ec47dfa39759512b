#pragma once
// What one reading of one channel is worth, from what the instrument and the medium can be and from what came
// before. Values in the judged unit (degC, %RH, lux, W, V). Pure; one thread. Limits and their sources are in
// judge.cpp.

#include <algorithm>
#include <cstdint>

#include "core/event.h"
#include "core/probe/quality.h"
#include "core/room.h"
#include "core/time.h"

namespace baskwell {

// What is believed possible of one channel in one medium; made once per channel and placement.
struct PlausibleRange {
  double low = 0;
  double high = 0;
  double medium_low = 0;
  double medium_high = 0;
  double jump = 0;             // a step that needs a second reading before it is believed
  double jump_per_minute = 0;  // and how much more a pause allows
  bool power_on_code = false;  // 85.0 degC may be a power-on value
};
[[nodiscard]] PlausibleRange plausible_range(const Instrument& instrument, const Channel& channel,
                                             Medium medium);

// Intervals and ages are by the elapsed clock, or by the instrument's own where both readings have its stamp;
// so a step of our wall clock changes nothing here.
struct ProbeState {
  bool heard = false;        // a good reading has come
  bool has_suspect = false;  // `suspect` waits for a second reading that agrees with it
  bool by_own_time = false;  // `last_measured` is the instrument's stamp, not ours
  double last_good = 0;
  double suspect = 0;
  UtcMs suspect_measured{INT64_MIN};
  UtcMs last_measured{INT64_MIN};        // of the newest reading judged good
  ElapsedMs last_good_at{0};             // when it was measured, by the elapsed clock
  Decimal same_value;                    // frozen: this exact value ...
  ElapsedMs same_since;                  // ... has come since then without a long pause ...
  std::uint32_t same_count = 0;          // ... so many times
  std::int64_t learned_interval_ms = 0;  // 0: not yet
};

// When it was measured: its own time, held within what can be a date at all, or its arrival.
[[nodiscard]] inline UtcMs measured_at(const ReadingEvent& event) {
  return event.has_own_time ? std::clamp(event.measured, earliest_utc, latest_utc) : event.at.utc;
}

// Whether its time can be used: `good`, or else retained, no_time, from_future, out_of_order or duplicate.
[[nodiscard]] Quality judge_time(const ProbeState& probe, const ReadingEvent& event, bool clock_trusted);

// Judges (judge_time() and then the value) and, where the reading is good, takes it in. `value` in the judged
// unit, calibrated.
[[nodiscard]] Quality judge(ProbeState& probe, const PlausibleRange& range, const ReadingEvent& event,
                            double value, bool clock_trusted);

// How long a channel may say nothing good before it is silent.
[[nodiscard]] std::int64_t silence_limit_ms(const ProbeState& probe, const Instrument& instrument);
[[nodiscard]] std::int64_t long_silence_limit_ms(const ProbeState& probe, const Instrument& instrument);

// Whether the same exact value has come for suspiciously long.
[[nodiscard]] bool is_frozen(const ProbeState& probe, Quantity quantity);

}  // namespace baskwell
