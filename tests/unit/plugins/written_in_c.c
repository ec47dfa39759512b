/* A decoder in plain C: the payload is one byte, a whole number of degC. Shows that the interface needs no
 * C++. */
#include <stdio.h>
#include <stdlib.h>

#include "baskwell/plugin.h"

struct one_byte {
  uint32_t unit;
};

static void* open_decoder(const bw_decoder_settings* settings, char* error, size_t error_size) {
  if (settings->wanted_count != 1) {
    snprintf(error, error_size, "exactly one quantity can be wanted, not %zu", settings->wanted_count);
    return NULL;
  }
  struct one_byte* self = malloc(sizeof *self);
  if (self != NULL) self->unit = settings->wanted[0].unit;
  return self;
}

static void close_decoder(void* self) {
  free(self);
}

static int decode(void* self, const uint8_t* payload, size_t size, bw_reading_sink sink, void* context,
                  char* error, size_t error_size) {
  if (size != 1) {
    snprintf(error, error_size, "%zu bytes instead of one", size);
    return BW_UNREADABLE;
  }
  bw_reading reading = {0};
  reading.unit = ((struct one_byte*)self)->unit;
  reading.value.digits = payload[0];
  sink(context, &reading);
  return BW_DECODED;
}

static const char* const keys[] = {"flavour", "note.*", NULL};
static const bw_decoder decoder = {open_decoder, close_decoder, decode};
static const bw_plugin plugin = {BASKWELL_PLUGIN_INTERFACE, "written-in-c", "1.0", keys, &decoder, NULL};

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return host_interface == BASKWELL_PLUGIN_INTERFACE ? &plugin : NULL;
}
