#pragma once
// An engine, its two clocks and everything it ever wanted done, for tests.

#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/alarm/words.h"
#include "core/engine.h"
#include "core/moment.h"
#include "room_builder.h"

namespace baskwell::test {

std::string text_of(const TransitionRecord& record);
std::string text_of(const MessageDraft& message);
// Without the words: what a rate of change that is not known yet may rightly leave out.
std::string outline_of(const MessageDraft& message);

class Scene {
 public:
  explicit Scene(std::shared_ptr<const Room> room, std::string_view start = "2026-06-10T11:00:00Z");

  void pass(std::int64_t ms) { now = {now.utc + ms, now.elapsed + ms}; }
  void tick(std::int64_t after_ms = 0);
  void hear(Index channel, std::string_view value);
  // The same value every `every_ms` for `for_ms`, moved by its last digit each time: a real probe never
  // stands still. Time passes after each reading.
  void keep(Index channel, double value, std::int64_t for_ms, std::int64_t every_ms = minute_ms);
  void keep(const std::vector<std::pair<Index, double>>& values, std::int64_t for_ms,
            std::int64_t every_ms = minute_ms);
  void step(Event event);  // stamped now
  std::string ask(RequestEvent::What what, std::string_view target, std::string_view why = "test",
                  std::int64_t duration_ms = 0);
  void broker(bool connected);
  Outcome restore(std::string_view snapshot, std::string_view boot_id);

  // Transitions and messages since the last call, as lines.
  std::vector<std::string> news();
  // How many transitions of this kind to this state there ever were.
  [[nodiscard]] int count(AlarmKind kind, AlarmState to) const;
  [[nodiscard]] const TransitionRecord* last(AlarmKind kind) const;
  [[nodiscard]] int told(TellReason reason) const;
  [[nodiscard]] AlarmState state_of(AlarmKind kind) const;  // of the one open alarm of that kind

  Stamp now;
  std::unique_ptr<Engine> engine;
  Effects effects;  // all of them, gathered; what was told before stays, also where it is withdrawn later

 private:
  void gather(Effects one);
  std::size_t seen_transitions_ = 0;
  std::size_t seen_messages_ = 0;
  int flicker_ = 0;
};

// One enclosure with a probe at the hot spot, the middle and the cool end.
struct ThreeProbes {
  explicit ThreeProbes(std::vector<Band> bands = royal_python());
  RoomBuilder builder;
  Index enclosure;
  Index hot;
  Index middle;
  Index cool;
};

// Too-hot as other alarms are: `medium` beyond the target, told again hourly.
[[nodiscard]] ThreeProbes with_medium_heat();

}  // namespace baskwell::test
