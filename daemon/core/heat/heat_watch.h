#pragma once
// The heating of a room: learns what is normal for every heated enclosure from its own readings, and says
// what is wrong with it, with the evidence, the confidence and a forecast. Facts only: what they lead to is
// decided by alarm/. Everything goes by the readings' own time on a grid of a minute or more. degC, K, UTC
// ms. Pure; one thread; the Room must outlive it. Bounded: about 5.5 KB a probe and 3 KB a unit.
//
// How it judges: decisions/0012 (which statistics and where every threshold comes from), docs/heating.md.

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/alarm/kinds.h"
#include "core/care/bands.h"
#include "core/heat/belief.h"
#include "core/note.h"
#include "core/result.h"
#include "core/room.h"
#include "core/time.h"

namespace baskwell::heat {

// Something that can be found: the engine makes an alarm point of each.
struct Point {
  AlarmKind kind = AlarmKind::not_heating;
  std::string subject;     // "shelf-2/heating", "shelf-2/gradient", a channel id, "room"
  Index unit = none;       // of units_of(room)
  Index enclosure = none;  // whose animal it is about first
  Index channel = none;    // whose reading is shown
};

struct Fact {
  std::size_t point = 0;  // index into points()
  bool present = false;
  bool harm_near = false;  // the forecast reaches the harm limit within the time people need
  std::optional<AlarmKind> other;
  double value = 0;    // degC
  std::string detail;  // evidence, confidence, forecast, the check that would tell; "" when not present
};

// How long people may take to respond; a forecast that reaches a harm limit within it is `high`. Proposal, no
// source: an hour is asked of beyond-harm cold in the alarm kinds table.
inline constexpr std::int64_t respond_ms = hour_ms;

// How one unit's leading probe stands now; for the outage watch.
struct UnitCourse {
  bool judged = false;  // its normal course is known
  bool below = false;   // below all that is normal for it at this hour
  UtcMs falls_since;    // top of the fall that goes on or has just ended; INT64_MIN: none
  double fell_from_degc = 0;
  double lowest_degc = 0;  // of that fall
  UtcMs at;                // of the newest sample; INT64_MIN: none
  double degc = 0;
  double expected_degc = 0;
  double warming_k_per_h = 0;        // slope of the last 20 min; NaN: not known
  double usual_warming_k_per_h = 0;  // of its usual warm-up; NaN: not learned
};

class HeatWatch {
 public:
  explicit HeatWatch(const Room& room);
  ~HeatWatch();
  HeatWatch(HeatWatch&&) noexcept;
  HeatWatch& operator=(HeatWatch&&) noexcept;

  [[nodiscard]] const std::vector<Point>& points() const;

  // A good, fresh temperature reading. Adds what changed to `facts`.
  void reading(Index channel, const SpotKey& spot, double degc, UtcMs measured, const Wanted& wanted,
               std::vector<Fact>& facts);

  // What the keeper wrote down: some notes make a part be learned anew.
  void note(NoteType type, std::string_view subject, UtcMs at, std::vector<Fact>& facts);

  // Power or heating was away until `to`: what follows is a recovery, and clocks may be late.
  void outage_ended(Index unit, UtcMs from, UtcMs to);

  [[nodiscard]] UnitCourse course(Index unit) const;

  void clock_stepped(std::int64_t step_ms);

  // Empty: nothing heats this enclosure, or it has no temperature probe.
  [[nodiscard]] std::optional<Belief> belief(Index enclosure, UtcMs now) const;

  // All that was learned, as one block of text by permanent ids, about 2 KB a probe: kept by the store now
  // and then (an hour of it may be lost), apart from the engine's snapshot, which is small and often written.
  [[nodiscard]] std::string learned() const;
  // Into a fresh watch. What the room no longer has, and what lies elsewhere now, is left out. On an error
  // nothing is changed.
  [[nodiscard]] Outcome take_learned(std::string_view text);

  // After a restart: this is what was found last at this point, so its end is to be told too.
  void hold(const Fact& found, UtcMs since);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace baskwell::heat
