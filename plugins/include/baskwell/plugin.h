/* Baskwell plugin interface, version 1. Plain C: a plugin may be written in any language that can export one
 * function.
 *
 * A plugin is a shared object that exports `baskwell_plugin`. The host passes the interface version it
 * speaks; the plugin answers with its own description, or NULL if it cannot serve that version. The host
 * refuses, in words, a description whose `interface_version` differs from its own.
 *
 * Two kinds: a DECODER turns one payload into readings; a CHANNEL hands one message to one person.
 *
 * Memory: whatever is passed in belongs to the caller and is valid during the call only. A plugin frees what
 * it allocates, in its own `close`. Threads: one instance is never called from two threads at once. Decoders
 * are called on the domain thread and must not block; channels are called on a delivery thread, may block,
 * and must return within `timeout_ms`. Errors: a function that fails writes one line for a person into
 * `error` (always terminated, cut to `error_size`). Exceptions must not leave a plugin.
 */
#ifndef BASKWELL_PLUGIN_H
#define BASKWELL_PLUGIN_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define BASKWELL_PLUGIN_INTERFACE 1u
#define BASKWELL_PLUGIN_SYMBOL "baskwell_plugin"
#define BW_EXPORT __attribute__((visibility("default")))

/* Units by which a value may be declared. The unit tells the quantity. */
typedef enum bw_unit {
  BW_UNIT_DEGC = 1,       /* degree Celsius */
  BW_UNIT_DEGF = 2,       /* degree Fahrenheit */
  BW_UNIT_KELVIN = 3,     /* kelvin */
  BW_UNIT_RH_PERCENT = 4, /* relative humidity, percent */
  BW_UNIT_LUX = 5,
  BW_UNIT_WATT = 6,
  BW_UNIT_VOLT = 7 /* battery voltage */
} bw_unit;

/* A decimal exactly as it came: digits / 10^places. 23.50 is {2350, 2}; -1e3 is {-1000, 0}. places: 0..18. */
typedef struct bw_decimal {
  int64_t digits;
  int32_t places;
} bw_decimal;

/* One key and its value from the settings. Secrets arrive resolved; a plugin never prints a value it was
 * given. A list in the settings arrives as the same key once for each element, in order; a table `header`
 * with an entry `X` arrives as the key `header.X`; true and false arrive as these words, numbers as they were
 * written. */
typedef struct bw_setting {
  const char* key;
  const char* value;
} bw_setting;

/* One quantity that a decoder is asked to find in each payload. */
typedef struct bw_wanted {
  const char* pointer; /* where it is in the payload (RFC 6901 for json); "" for the whole payload */
  uint32_t unit;       /* bw_unit as declared */
} bw_wanted;

typedef struct bw_decoder_settings {
  const bw_wanted* wanted;
  size_t wanted_count;
  const char* time_pointer; /* where the payload's own time is; NULL: the payload has none */
  const bw_setting* extra;
  size_t extra_count;
} bw_decoder_settings;

/* One reading found in a payload. */
typedef struct bw_reading {
  uint32_t wanted_index; /* which of bw_decoder_settings.wanted */
  uint32_t unit;         /* bw_unit; as declared, unless the payload itself names another */
  bw_decimal value;
  uint32_t not_a_number; /* 1: the payload said NaN, infinity or null; `value` means nothing */
  uint32_t has_time;     /* 1: `measured_utc_ms` is the payload's own time (years 1970 to 9999) */
  int64_t measured_utc_ms;
} bw_reading;

typedef void (*bw_reading_sink)(void* context, const bw_reading* reading);

/* What became of a payload. */
typedef enum bw_decoding {
  BW_DECODED = 0,    /* all that is wanted and present was handed to the sink */
  BW_UNREADABLE = 1, /* nothing of it can be used: not in the format, or nothing that is wanted is in it */
  BW_DECODED_IN_PART =
      2 /* some was handed to the sink; `error` says what else was there and could not be used */
} bw_decoding;

typedef struct bw_decoder {
  /* NULL on failure, with the cause in `error`. */
  void* (*open)(const bw_decoder_settings* settings, char* error, size_t error_size);
  void (*close)(void* self);
  /* Returns a bw_decoding. Calls `sink` once for each wanted quantity that is present. A wanted quantity that
   * is absent is no error unless all are. Unless BW_DECODED is returned `error` says why, and at which byte
   * where that is known. */
  int (*decode)(void* self, const uint8_t* payload, size_t size, bw_reading_sink sink, void* context,
                char* error, size_t error_size);
} bw_decoder;

/* One message for one person. All strings are UTF-8. */
typedef struct bw_message {
  const char*
      id; /* the same for every attempt at the same message, so that a receiver can drop a second one */
  const char* person;   /* display name */
  const char* address;  /* where: as the settings give it for this person; may be "" */
  const char* priority; /* "high", "medium", "low" */
  const char* headline; /* one line; its first 100 characters can be acted on */
  const char* body;     /* several lines; begins with the headline */
  const char* json;     /* the same as one JSON object, for machines */
  int64_t utc_ms;       /* when it was written */
} bw_message;

typedef enum bw_delivery {
  BW_DELIVERED = 0,   /* the other side took responsibility */
  BW_TRY_AGAIN = 1,   /* may work later: no answer, a temporary refusal */
  BW_REFUSED = 2,     /* will not work until somebody changes something: wrong password, unknown mailbox */
  BW_ACKNOWLEDGED = 3 /* delivered, and the person answered that they are on it */
} bw_delivery;

typedef struct bw_channel {
  void* (*open)(const bw_setting* settings, size_t count, char* error, size_t error_size);
  void (*close)(void* self);
  /* Returns a bw_delivery; `answer` gets one line: what the other side said, or the cause of the failure. */
  int (*deliver)(void* self, const bw_message* message, uint32_t timeout_ms, char* answer,
                 size_t answer_size);
} bw_channel;

typedef struct bw_plugin {
  uint32_t interface_version; /* BASKWELL_PLUGIN_INTERFACE */
  const char* name;           /* as settings call it: "json", "email" */
  const char* version;
  /* The keys it understands in its settings, NULL-terminated; an unknown key is an error. A key that ends in
   * ".*", as "header.*", stands for every key that begins with what is before the star. */
  const char* const* keys;
  const bw_decoder* decoder; /* exactly one of the two is not NULL */
  const bw_channel* channel;
} bw_plugin;

typedef const bw_plugin* (*bw_plugin_entry)(uint32_t host_interface);

BW_EXPORT const bw_plugin* baskwell_plugin(uint32_t host_interface);

#ifdef __cplusplus
}
#endif
#endif
