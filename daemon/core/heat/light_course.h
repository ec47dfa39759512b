#pragma once
// What one light probe sees of an enclosure's lights: how bright they are, when they went on and off, and how
// far from their usual minute. An edge is dated between the last reading before and the first after it, so it
// is right within half an interval. lux, UTC ms, minutes. Fixed size. Pure; one thread.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>

#include "core/care/bands.h"
#include "core/room.h"
#include "core/time.h"

namespace baskwell {
class LineReader;
class LineWriter;
}  // namespace baskwell

namespace baskwell::heat {

struct LightEdge {
  bool on = false;
  UtcMs after;          // the last reading before it
  UtcMs before;         // the first reading after it
  double late_min = 0;  // against its usual minute
  [[nodiscard]] UtcMs at() const { return after + (before - after) / 2; }
};

class LightCourse {
 public:
  // An edge is given out with the second reading that shows it.
  std::optional<LightEdge> add(double lux, UtcMs at, const LightPlan& plan, const ZoneRules& clock);

  [[nodiscard]] bool known() const;  // what is lit and what is dark has been seen
  [[nodiscard]] bool lit() const { return lit_; }
  // The edge is what the plan and the days before let expect; only such edges are learned from.
  [[nodiscard]] static bool is_usual(const LightEdge& edge);
  // Whether the lights should be on, by their plan and their usual minutes.
  [[nodiscard]] bool should_be_lit(UtcMs at, const LightPlan& plan, const ZoneRules& clock) const;
  void learn(const LightEdge& edge);

  void shift_clock(std::int64_t step_ms);
  void save(LineWriter& line) const;
  void load(LineReader& line);

 private:
  static constexpr std::size_t days_kept = 5;
  struct Usual {  // minutes from the plan's edge, of the latest days
    std::array<float, days_kept> minutes{};
    std::uint32_t count = 0;  // ever
    void add(double minute);
    [[nodiscard]] double median() const;  // 0 while nothing is known
  };
  void follow_levels(double lux);
  [[nodiscard]] double late_min(bool on, UtcMs at, const LightPlan& plan, const ZoneRules& clock) const;

  double dark_lux_ = 0;
  double lit_lux_ = 0;
  bool any_ = false;
  bool lit_ = false;
  bool turning_ = false;  // one reading has shown the other side
  UtcMs last_at_{INT64_MIN};
  UtcMs turn_after_, turn_before_;
  Usual on_, off_;
};

}  // namespace baskwell::heat
