#pragma once
// What the decoder tests share: a decoder opened through the host, and everything one payload gave, in words
// that are easy to compare: "0: 23.50 degC", "1: not a number", with " @ms" behind it when the payload had a
// time.

#include <gtest/gtest.h>

#include <string>
#include <string_view>
#include <vector>

#include "plugin_host/decoder.h"

namespace baskwell::plugin_host {

struct Outcomes {
  Decoded decoded = Decoded::unreadable;
  std::vector<std::string> readings;
  std::string problem;
};

inline std::string in_words(const bw_decimal& value) {
  std::string digits = std::to_string(value.digits);
  const bool negative = digits[0] == '-';
  if (negative) digits.erase(0, 1);
  const auto places = static_cast<std::size_t>(value.places);
  if (digits.size() <= places) digits.insert(0, places + 1 - digits.size(), '0');
  if (places > 0) digits.insert(digits.size() - places, ".");
  return (negative ? "-" : "") + digits;
}

inline std::string in_words(const bw_reading& reading) {
  static constexpr const char* units[] = {"?", "degC", "degF", "K", "%RH", "lux", "W", "V"};
  std::string words = std::to_string(reading.wanted_index) + ": ";
  words += reading.not_a_number == 1 ? "not a number" : in_words(reading.value) + " " + units[reading.unit];
  if (reading.has_time == 1) words += " @" + std::to_string(reading.measured_utc_ms);
  return words;
}

inline Outcomes decode(Decoder& decoder, std::string_view payload) {
  Outcomes outcomes;
  outcomes.decoded = decoder.decode(
      payload,
      [](void* context, const bw_reading& reading) {
        static_cast<Outcomes*>(context)->readings.push_back(in_words(reading));
      },
      &outcomes, outcomes.problem);
  return outcomes;
}

inline Result<Decoder> open(std::string_view plugin, const DecoderSettings& settings,
                            const std::string& folder = BASKWELL_PLUGINS) {
  const Result<DecoderPlugin> loaded = DecoderPlugin::load(plugin, {folder});
  if (!loaded) return loaded.error();
  return loaded.value().open(settings);
}

}  // namespace baskwell::plugin_host
