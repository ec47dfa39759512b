#pragma once
// What headline (words.cpp) and body (words_body.cpp) of a message share; for these two only.

#include <cmath>
#include <cstddef>
#include <string>

#include "core/alarm/heating_words.h"
#include "core/alarm/words.h"

namespace baskwell {

inline constexpr std::size_t detail_characters = 120;
inline constexpr std::size_t check_characters = 120;
inline constexpr std::size_t forecast_characters = 80;

[[nodiscard]] inline bool has_number(const AlarmView& alarm) {
  return std::isfinite(alarm.value);
}

// Whether Level::harm says that a harm limit is passed; of heating it says that it is near by the forecast.
[[nodiscard]] bool is_harm_passed(AlarmKind kind);
[[nodiscard]] std::string trend_text(const AlarmView& alarm);  // "rising 4.0 °C an hour"; "": not known
[[nodiscard]] std::string detail_of(const AlarmView& alarm);
// The one check that tells the two explanations apart, or makes the one sure; "" where none is known.
[[nodiscard]] std::string check_of(const AlarmView& alarm, const HeatingDetail& detail);

[[nodiscard]] std::string body_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                                   const ZoneRules& clock);

}  // namespace baskwell
