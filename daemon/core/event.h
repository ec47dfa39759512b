#pragma once
// Everything that core may hear of. Each event carries its own stamp; core has no clock. Values only: an
// event can be written down and stepped through again with the same outcome (live, in replay and in
// simulation).

#include <cstdint>
#include <string>
#include <variant>

#include "core/note.h"
#include "core/room.h"
#include "core/time.h"
#include "core/units.h"

namespace baskwell {

// One value of one channel, as a decoder found it.
struct ReadingEvent {
  Stamp at;  // when it arrived here
  Index channel = none;
  Decimal value;           // as it came
  Unit unit = Unit::degc;  // as it came; same quantity as the channel's
  bool not_a_number = false;
  bool has_own_time = false;  // `measured` is the payload's own time; else it is `at.utc`
  bool retained = false;      // the broker kept it: its age is unknown
  bool queued = false;        // came out of the broker's queue after a reconnect: has no time but its own
  UtcMs measured;
};

struct TickEvent {  // nothing happened; time did
  Stamp at;
};

struct BrokerEvent {
  Stamp at;
  bool connected = false;
  std::string detail;  // for people: "connection refused"
};

struct PresenceEvent {  // an instrument's presence topic
  Stamp at;
  Index instrument = none;
  bool present = false;
};

// Intake is in trouble otherwise: queue full, payloads that nobody can read. `bad` false: it is over.
struct IntakeTroubleEvent {
  Stamp at;
  bool bad = false;
  std::string detail;
};

struct StoreEvent {
  Stamp at;
  bool working = true;
  std::string detail;
};

struct DeliveryEvent {  // what a delivery channel did with a message
  Stamp at;
  std::string channel;     // id of the delivery channel; "": the message was given up, by no channel
  std::string person;      // id
  std::string occurrence;  // "" for a drill
  bool delivered = false;
  bool acknowledged = false;  // the person answered through the channel
  std::string detail;
};

struct ClockEvent {          // the wall clock became trustworthy or stopped being so, or stepped
  Stamp at;                  // after the step
  bool trusted = true;       // false: evidently wrong; what instruments say of time is not held against it
  bool sure = true;          // false: nothing vouches for it (`clock-unsure`)
  std::int64_t step_ms = 0;  // 0: no step
  std::string detail;
};

// What a person asks of an alarm or a subject.
struct RequestEvent {
  enum class What : std::uint8_t { acknowledge, shelve, unshelve, out_of_service, return_to_service };
  Stamp at;
  What what = What::acknowledge;
  std::string
      target;  // an occurrence id ("A1042"), or for out_of_service: an enclosure, instrument or channel id
  std::string who;
  std::string why;
  std::int64_t duration_ms = 0;  // shelve: how long
};

// What a person did to something, or saw. Kept for ever; some types open a grace time (note.h).
struct NoteEvent {
  Stamp at;
  NoteType type = NoteType::other;
  std::string subject;  // id of an enclosure, rack, animal, heater, thermostat, cut-out, lamp, instrument or
                        // channel, or "room"
  std::string text;     // as it was written; one line
  std::string who;
};

using Event = std::variant<ReadingEvent, TickEvent, BrokerEvent, PresenceEvent, IntakeTroubleEvent,
                           StoreEvent, DeliveryEvent, ClockEvent, RequestEvent, NoteEvent>;

}  // namespace baskwell
