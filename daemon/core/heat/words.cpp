// Figures in the evidence of core/heat, one way everywhere.

#include <cmath>
#include <string>

#include "core/alarm/message_text.h"
#include "core/heat/inside.h"

namespace baskwell::heat {

std::string whole_text(double value) {
  return std::to_string(std::llround(value));
}

std::string degc_text(double degc) {
  return quantity_text(degc, Quantity::temperature);
}

std::string k_text(double kelvin) {
  return quantity_text(std::fabs(kelvin), Quantity::temperature);
}

std::string duration_words(double minutes) {
  return duration_text(static_cast<std::int64_t>(std::llround(minutes)) * minute_ms);
}

std::string clock_words(const ZoneRules& zone, UtcMs at) {
  const int minute = local_minute(zone, at);
  std::string text = "00:00";
  text[0] = static_cast<char>('0' + minute / 600);
  text[1] = static_cast<char>('0' + minute / 60 % 10);
  text[3] = static_cast<char>('0' + minute % 60 / 10);
  text[4] = static_cast<char>('0' + minute % 10);
  return text;
}

}  // namespace baskwell::heat
