/* A plugin that hands every host a description of version 9; nothing in it may be touched. */
#include "baskwell/plugin.h"

const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  static const bw_plugin plugin = {9, (const char*)1, (const char*)1, (const char* const*)1, NULL, NULL};
  (void)host_interface;
  return &plugin;
}
