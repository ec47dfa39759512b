/* A plugin whose file was renamed. */
#include "baskwell/plugin.h"

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  static const char* const keys[] = {NULL};
  static const bw_plugin plugin = {BASKWELL_PLUGIN_INTERFACE, "its-own-name", "1.0", keys, NULL, NULL};
  (void)host_interface;
  return &plugin;
}
