/* A channel that answers with whatever number the address says, and text that is no line of UTF-8. */
#include <stdio.h>
#include <stdlib.h>

#include "baskwell/plugin.h"

static int nothing;

static void* open_channel(const bw_setting* settings, size_t count, char* error, size_t error_size) {
  for (size_t i = 0; i < count; ++i) {
    if (settings[i].value[0] == '!') {
      snprintf(error, error_size, "no");
      return NULL;
    }
  }
  return &nothing;
}

static void close_channel(void* self) {
  (void)self;
}

static int deliver(void* self, const bw_message* message, uint32_t timeout_ms, char* answer,
                   size_t answer_size) {
  (void)self;
  snprintf(answer, answer_size, "two\nlines \xC3\x28 in %u ms\r\n", (unsigned)timeout_ms);
  return (int)strtol(message->address, NULL, 10);
}

static const char* const keys[] = {"mood", NULL};
static const bw_channel channel = {open_channel, close_channel, deliver};
static const bw_plugin plugin = {BASKWELL_PLUGIN_INTERFACE, "garbage-channel", "1.0", keys, NULL, &channel};

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  (void)host_interface;
  return &plugin;
}
