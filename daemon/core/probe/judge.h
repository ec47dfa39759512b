#pragma once
// What one reading of one channel is worth, from what the instrument and the medium can be and from what came
// before. Values in the judged unit (degC, %RH, lux, W, V). Pure; one thread. Limits and their sources are in
// judge.cpp.

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

struct ProbeState {
  bool heard = false;        // a good reading has come
  bool has_suspect = false;  // `suspect` waits for a second reading that agrees with it
  double last_good = 0;
  double suspect = 0;
  UtcMs last_measured{INT64_MIN};        // of the newest reading judged good
  ElapsedMs last_good_at{0};             // when it was measured, by the elapsed clock
  Decimal same_value;                    // frozen: this exact value ...
  UtcMs same_since;                      // ... has come since then ...
  std::uint32_t same_count = 0;          // ... so many times
  std::int64_t learned_interval_ms = 0;  // 0: not yet
};

// Judges and, where the reading is good, takes it in. `value` in the judged unit, calibrated.
[[nodiscard]] Quality judge(ProbeState& probe, const PlausibleRange& range, const ReadingEvent& event,
                            double value, bool clock_trusted);

// How long a channel may say nothing good before it is silent.
[[nodiscard]] std::int64_t silence_limit_ms(const ProbeState& probe, const Instrument& instrument);
[[nodiscard]] std::int64_t long_silence_limit_ms(const ProbeState& probe, const Instrument& instrument);

// Whether the same exact value has come for suspiciously long.
[[nodiscard]] bool is_frozen(const ProbeState& probe, Quantity quantity);

}  // namespace baskwell
