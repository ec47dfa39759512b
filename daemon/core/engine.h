#pragma once
// The domain in one object: step(event) -> effects. Facts (probe/, care/) and decisions (alarm/) meet here
// and nowhere else. Pure: no I/O, no clock, no threads; decisions are functions of (state, event with its own
// stamp). Delays that end between two events are decided at the moment they end, so the outcome does not
// depend on how often time is told. One thread; the Room must outlive the Engine.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/alarm/words.h"
#include "core/effects.h"
#include "core/event.h"
#include "core/heat/belief.h"
#include "core/result.h"
#include "core/room.h"

namespace baskwell {

// One line of the room as people look at it.
struct SpotView {
  std::string enclosure_id, enclosure, animal;
  std::string zone, medium;  // for people
  Zone zone_key = Zone::room;
  Quantity quantity = Quantity::temperature;
  std::string channel;
  double value = 0;                                                     // NaN: nothing good heard yet
  double target_low = 0, target_high = 0, harm_low = 0, harm_high = 0;  // NaN where there is no limit
  std::int64_t age_ms = -1;  // since the last good reading; -1: never
  bool fresh = false;
  bool day = false;           // lights are on
  Level level = Level::none;  // of the worst open alarm on it
  std::string alarm;          // kind of that alarm, or ""
};

// A note's grace time that runs at a place; see core/note.h.
struct GraceView {
  std::string place_id, place;
  UtcMs until;  // the latest, where several run
};

struct RoomView {
  UtcMs at;
  std::string name;
  bool broker_connected = false;
  std::vector<SpotView> spots;
  std::vector<AlarmView> alarms;  // every alarm not in normal, worst first
  std::vector<GraceView> graces;
};

class Engine {
 public:
  Engine(std::shared_ptr<const Room> room, Stamp start);
  ~Engine();
  Engine(Engine&&) noexcept;
  Engine& operator=(Engine&&) noexcept;

  // Adds to `effects` (does not clear it).
  void step(const Event& event, Effects& effects);
  // The same for the one event that comes by the million, without a variant.
  void step_reading(const ReadingEvent& event, Effects& effects);

  // When a tick could next change something; INT64_MAX: never.
  [[nodiscard]] ElapsedMs next_due() const;
  // How many moments wait to be looked at: at most one for each alarm point and channel.
  [[nodiscard]] std::size_t pending_dues() const;

  [[nodiscard]] RoomView view(Stamp now) const;
  [[nodiscard]] const Room& room() const;
  // What is believed of an enclosure's heating; empty where nothing heats it or no probe lies in it.
  [[nodiscard]] std::optional<heat::Belief> heat_belief(Index enclosure, Stamp now) const;

  // All that must survive a crash: one block of text, versioned, by permanent ids, so that it also carries
  // what did not change over to an engine with other settings.
  [[nodiscard]] std::string snapshot(Stamp now, std::string_view boot_id) const;
  // On a fresh engine. Ids that the room no longer has are left out; their open alarms end as `returns` with
  // the reason "no longer in the settings" in `effects`, those of kinds that are switched off now likewise.
  // On an error nothing is changed.
  [[nodiscard]] Outcome restore(std::string_view snapshot, Stamp now, std::string_view boot_id,
                                Effects& effects);
  // On a fresh engine without a snapshot, over a record that has one: names of alarms, messages and outages
  // go on after these, so that none is given twice.
  void count_on_from(std::uint64_t last_occurrence, std::uint64_t last_message,
                     std::uint64_t last_outage = 0);
  // What is learned of the heating, apart from the snapshot because it is large (about 2 KB a probe) and may
  // be an hour old. take_learned(): on a fresh engine, after restore() where there is a snapshot. What the
  // room no longer has, and what lies elsewhere now, is left out; on an error nothing is changed.
  // A restart loses what hours teach again: the samples of the last hours with their slopes and sums of
  // evidence, a change that was being watched and not told yet, the hour that was gathering, the list of
  // latest changes. So a finding about the heating may come later by as much. What was found stays found, and
  // ends.
  [[nodiscard]] std::string learned() const;
  [[nodiscard]] Outcome take_learned(std::string_view text);
  // After restore(): what was stored last shows that this service was alive later than its snapshot says.
  void service_was_alive_until(UtcMs at);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace baskwell
