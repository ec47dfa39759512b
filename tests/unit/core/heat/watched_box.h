#pragma once
// A HeatedBox in a room of its own, watched by a HeatWatch, and all facts that came of it. What it learned in
// its first days is kept, so that many tests may start from it. Pure; one thread.

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "core/heat/heat_watch.h"
#include "heat/heated_box.h"
#include "room_builder.h"

namespace baskwell::test {

struct SeenFact {
  UtcMs at;
  AlarmKind kind = AlarmKind::not_heating;
  std::string subject;
  heat::Fact fact;
};

class WatchedBox {
 public:
  explicit WatchedBox(const BoxPlan& plan = {}, int every_s = 60, bool thermostat = true);

  // A healthy box after `days` days, ending at midnight UTC; the days are run once for each plan and kept.
  static WatchedBox learned(const BoxPlan& plan = {}, int days = 12, int every_s = 60);

  void run_for(std::int64_t ms);
  void run_to_local(int hour, int minute = 0);  // the next time the clock on the wall shows this
  void note(NoteType type, std::string_view subject);
  void step_clock(std::int64_t ms);  // our wall clock is put forward (back) by so much

  [[nodiscard]] bool holds(AlarmKind kind) const;
  [[nodiscard]] const SeenFact* first(AlarmKind kind) const;  // present, the first of it
  [[nodiscard]] int told(AlarmKind kind) const;               // present, how often
  [[nodiscard]] std::string all() const;                      // a line for each fact, for failures
  [[nodiscard]] bool quiet() const { return facts.empty(); }

  RoomBuilder builder;
  Index enclosure = none, hot = none, cool = none, room_probe = none;
  std::shared_ptr<const Room> room;
  std::unique_ptr<heat::HeatWatch> watch;
  std::unique_ptr<HeatedBox> box;
  std::vector<SeenFact> facts;
  int every_s;
  bool silent = false;  // nothing is heard of it
  std::int64_t clock_off_ms = 0;

 private:
  void hear(Index channel, Zone zone, double degc);
};

inline std::string local_text(const Room& room, UtcMs at) {
  const int minute = local_minute(room.clock, at);
  const auto two = [](int value) { return (value < 10 ? "0" : "") + std::to_string(value); };
  return two(minute / 60) + ":" + two(minute % 60);
}

}  // namespace baskwell::test
