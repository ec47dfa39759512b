// Any bytes as a payload of the json decoder: no crash, and every reading within what the interface promises.
// The first byte chooses the settings, the rest is the payload.

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <iterator>

#include "baskwell/plugin.h"

namespace {

constexpr bw_wanted probes[] = {{"/t", BW_UNIT_DEGC}, {"/a/0", BW_UNIT_RH_PERCENT}, {"/a/b/c", BW_UNIT_LUX}};
constexpr bw_wanted whole[] = {{"", BW_UNIT_WATT}, {"/0", BW_UNIT_VOLT}, {"/~1~0", BW_UNIT_KELVIN}};
constexpr bw_decoder_settings choices[] = {{probes, std::size(probes), "/w", nullptr, 0},
                                           {whole, std::size(whole), nullptr, nullptr, 0}};

void require(bool promise) {
  if (!promise) std::abort();
}

struct Taken {
  std::uint32_t wanted_count;
  std::uint32_t readings;
};

void take(void* context, const bw_reading* reading) {
  auto& taken = *static_cast<Taken*>(context);
  ++taken.readings;
  require(reading->wanted_index < taken.wanted_count);
  require(reading->unit >= BW_UNIT_DEGC && reading->unit <= BW_UNIT_VOLT);
  require(reading->value.places >= 0 && reading->value.places <= 18);
  require(reading->not_a_number <= 1 && reading->has_time <= 1);
  require(reading->measured_utc_ms >= 0);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const bw_decoder& decoder = *baskwell_plugin(BASKWELL_PLUGIN_INTERFACE)->decoder;
  static void* const opened[] = {decoder.open(&choices[0], nullptr, 0),
                                 decoder.open(&choices[1], nullptr, 0)};
  if (size == 0) return 0;
  const std::size_t chosen = data[0] % std::size(opened);
  char error[200];
  Taken taken{static_cast<std::uint32_t>(choices[chosen].wanted_count), 0};
  const int said = decoder.decode(opened[chosen], data + 1, size - 1, take, &taken, error, sizeof error);
  require(said >= BW_DECODED && said <= BW_DECODED_IN_PART);
  require((said == BW_UNREADABLE) == (taken.readings == 0));
  require(said == BW_DECODED || error[0] != '\0');
  return 0;
}
