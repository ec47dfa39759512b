// A decoder that breaks the rule that exceptions must not leave a plugin.
#include <cstring>
#include <stdexcept>

#include "baskwell/plugin.h"

namespace {

int nothing = 0;

void* open_decoder(const bw_decoder_settings* settings, char* /*error*/, size_t /*error_size*/) {
  if (settings->extra_count > 0) throw std::runtime_error("open");
  return &nothing;
}

void close_decoder(void* /*self*/) {}

int decode(void* /*self*/, const uint8_t* /*payload*/, size_t size, bw_reading_sink sink, void* context,
           char* /*error*/, size_t /*error_size*/) {
  if (size > 1) {
    const bw_reading reading{0, BW_UNIT_DEGC, {1, 0}, 0, 0, 0};
    sink(context, &reading);
  }
  throw std::runtime_error("decode");
}

constexpr const char* keys[] = {"open", nullptr};
constexpr bw_decoder decoder = {open_decoder, close_decoder, decode};
constexpr bw_plugin plugin = {BASKWELL_PLUGIN_INTERFACE, "throws", "1.0", keys, &decoder, nullptr};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t /*host_interface*/) {
  return &plugin;
}
