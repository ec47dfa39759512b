/* A plugin that serves only hosts of interface version 9. */
#include "baskwell/plugin.h"

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  static const bw_plugin plugin = {9, "only-version-9", "1.0", NULL, NULL, NULL};
  return host_interface == 9 ? &plugin : NULL;
}
