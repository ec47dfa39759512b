// The `plain` decoder: the whole payload is one number with an optional unit behind it, as " 74.3 F" or "55
// %RH". Units: as declared, or the payload's own of the same quantity. Errors: one line, with the byte where
// known.

#include <string_view>

#include "baskwell/plugin.hpp"
#include "value_text.h"

namespace {

using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Sink;

constexpr std::size_t payload_bytes_max = 256;

class Plain {
 public:
  explicit Plain(const bw_decoder_settings& settings) {
    if (settings.wanted_count != 1) {
      throw BadSetting("plain: a payload holds one number, so exactly one quantity can be wanted");
    }
    if (*settings.wanted[0].pointer != '\0')
      throw BadSetting("plain: a pointer has no meaning here; leave it out");
    if (settings.time_pointer != nullptr) throw BadSetting("plain: the payload has no time of its own");
    unit_ = settings.wanted[0].unit;
  }

  bw_decoding decode(std::string_view payload, Sink sink, Line& error) const {
    if (payload.size() > payload_bytes_max) {
      error.set("the payload is longer than ").add_number(payload_bytes_max).add(" bytes");
      return BW_UNREADABLE;
    }
    bw_reading reading{};
    if (!baskwell::decoders::read_value(payload, unit_, reading, error)) return BW_UNREADABLE;
    sink(reading);
    return BW_DECODED;
  }

 private:
  std::uint32_t unit_ = 0;
};

constexpr const char* keys[] = {nullptr};
constexpr bw_plugin description = {
    BASKWELL_PLUGIN_INTERFACE, "plain", "1.0", keys, &baskwell::plugin::decoder_functions<Plain>, nullptr};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
