/* A decoder that returns nonsense, the kind chosen by the payload's first letter. */
#include <limits.h>
#include <string.h>

#include "baskwell/plugin.h"

static int nothing;

static void* open_decoder(const bw_decoder_settings* settings, char* error, size_t error_size) {
  (void)settings;
  (void)error;
  (void)error_size;
  return &nothing;
}

static void close_decoder(void* self) {
  (void)self;
}

static int decode(void* self, const uint8_t* payload, size_t size, bw_reading_sink sink, void* context,
                  char* error, size_t error_size) {
  (void)self;
  const bw_reading good = {0, BW_UNIT_DEGC, {215, 1}, 0, 0, 0};
  bw_reading bad = good;
  switch (size > 0 ? payload[0] : 0) {
    case 'i': /* index */
      bad.wanted_index = UINT_MAX;
      break;
    case 'u': /* unit */
      bad.unit = 99;
      break;
    case 'q': /* another quantity */
      bad.unit = BW_UNIT_LUX;
      break;
    case 'p': /* places */
      bad.value.places = 19;
      break;
    case 'n': /* negative places */
      bad.value.places = INT_MIN;
      break;
    case 't': /* time */
      bad.has_time = 1;
      bad.measured_utc_ms = INT64_MIN;
      break;
    case 'f': /* flag */
      bad.not_a_number = 7;
      break;
    case '2': /* twice the same */
      sink(context, &good);
      break;
    case '0': /* a null reading */
      sink(context, NULL);
      return BW_DECODED;
    case 's': /* success without a reading */
      return BW_DECODED;
    case 'a': /* an answer that does not exist */
      return -42;
    case 'e': /* an error text without an end, and no UTF-8 */
      memset(error, 0xFF, error_size);
      return BW_UNREADABLE;
    case 'c': /* an error without a cause */
      return BW_UNREADABLE;
    default:
      break;
  }
  sink(context, &bad);
  return BW_DECODED;
}

static const char* const keys[] = {NULL};
static const bw_decoder decoder = {open_decoder, close_decoder, decode};
static const bw_plugin plugin = {BASKWELL_PLUGIN_INTERFACE, "garbage", "1.0", keys, &decoder, NULL};

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  (void)host_interface;
  return &plugin;
}
