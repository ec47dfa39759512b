#pragma once
// The demo room's simulator and an engine that watches it, for tests of core/heat: the room as its settings
// would describe it, one clock, every report judged as it comes. Pure; one thread.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "core/engine.h"
#include "demoroom/demo_room.h"

namespace baskwell::test {

// Circuits, heaters, thermostats, instruments and places of the scenario; no animals, one person.
[[nodiscard]] std::shared_ptr<const Room> core_room_of(const demoroom::RoomSpec& spec);

class WatchedDemoRoom {
 public:
  WatchedDemoRoom(demoroom::RoomSpec spec, std::uint64_t seed, UtcMs start);

  void run_until(UtcMs to);
  void run_for(std::int64_t ms) { run_until(UtcMs{sim.now_ms() + ms}); }
  void command(const std::string& line);  // throws where the simulator refuses it
  // The newest state of each outage, oldest first.
  [[nodiscard]] std::vector<OutageRecord> outages() const;
  [[nodiscard]] Stamp now() const {
    return {UtcMs{sim.now_ms() + clock_off_ms}, ElapsedMs{sim.now_ms() - boot_ms}};
  }
  void step(Event event);  // stamped now

  std::shared_ptr<const Room> room;
  demoroom::DemoRoom sim;
  std::unique_ptr<Engine> engine;
  std::vector<OutageRecord> news;  // as they came
  std::vector<MessageDraft> outage_messages;
  std::vector<TransitionRecord> transitions;
  bool listening = true;          // false: nothing reaches the engine
  std::int64_t clock_off_ms = 0;  // our wall clock is ahead by so much
  std::int64_t boot_ms = 0;       // simulated moment at which the elapsed clock was 0
  std::size_t readings = 0;

 private:
  void take(Effects& effects);
  Effects effects_;
};

}  // namespace baskwell::test
