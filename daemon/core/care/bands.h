#pragma once
// What is wanted of one spot (enclosure, zone, medium, quantity) at a moment: target band and harm limits of
// whoever lives there, by day and night, moving as a ramp after lights-on and lights-off. Judged units (degC,
// %RH). A BandSegment holds over a stretch of time, so that the answer for a reading costs a comparison and a
// line. Pure; safe from any thread.

#include "core/room.h"
#include "core/time.h"

namespace baskwell {

struct SpotKey {
  Index enclosure = none;  // none: the room's own air
  Zone zone = Zone::room;
  Medium medium = Medium::air;
  Quantity quantity = Quantity::temperature;
  friend bool operator==(const SpotKey&, const SpotKey&) = default;
};

// Infinite where there is no limit on that side.
struct Wanted {
  double low = 0;
  double high = 0;
  double harm_low = 0;
  double harm_high = 0;
};

struct BandSegment {
  UtcMs from;
  UtcMs until;        // first moment at which it no longer holds
  Wanted begin;       // at `ramp_from`; outside ramps throughout
  Wanted end;         // at `ramp_until`; equal to `begin` outside ramps
  UtcMs ramp_from;    // the line of the whole ramp, however much of it this segment covers: the answer for a
  UtcMs ramp_until;   // moment is the same to the last bit, whenever the segment was asked for
  bool ramp = false;  // else `begin` holds throughout
  bool day = false;   // lights are on
  bool any = false;   // some animal or the keeper asks something of this spot

  [[nodiscard]] bool holds(UtcMs at) const { return from <= at && at < until; }
  [[nodiscard]] Wanted at(UtcMs moment) const;  // only where it holds
};

// `at` within earliest_utc..latest_utc. The segment holds at `at` and for as long as nothing changes after
// it.
[[nodiscard]] BandSegment segment_at(const Room& room, const SpotKey& spot, UtcMs at);

// Where the lights of an enclosure are in their day. Where the clock skips both edges in spring, the later
// one of the day counts.
struct LightPhase {
  bool day = false;
  UtcMs since;  // the edge that began it
  UtcMs until;  // the next edge
};
[[nodiscard]] LightPhase light_phase(const LightPlan& lights, const ZoneRules& clock, UtcMs at);

}  // namespace baskwell
