#pragma once
// Finds out, from what fell silent, went dark and cooled together, what was away from when to when (mains,
// one circuit, the room's heating, network, broker, this service's own machine), and checks every enclosure
// afterwards. Facts come in as they happen, judge() is called about once a minute; it says what is new.
// Delays run by the elapsed clock. What is kept in UTC follows a step of the clock where this boot stamped
// it, and stays where an earlier boot did. degC, lux, W. Pure; one thread; the Room must outlive it. Bounded:
// about 4 KB a unit, 200 bytes a light, 8 outages at a time.
//
// How it judges: docs/outages.md.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "core/heat/heat_watch.h"
#include "core/heat/outage_record.h"
#include "core/heat/unit.h"
#include "core/room.h"
#include "core/time.h"

namespace baskwell::heat {

// What one enclosure's own probe shows against its course. NaN: not known.
struct EnclosureCourse {
  bool judged = false;
  double degc = OutageLine::unknown;
  double expected_degc = OutageLine::unknown;
  double low_k = OutageLine::unknown;  // as far below as it normally strays, 0 or less
  double day_degc = OutageLine::unknown;
  double night_degc = OutageLine::unknown;
  double swing_k = OutageLine::unknown;
};

struct OutageNews {
  std::vector<OutageRecord> changed;  // opened, ended, settled, closed: the newest state of each
  struct Ended {
    Index unit = none;
    UtcMs from, to;
  };
  std::vector<Ended> ended;           // what was without heat, for the heat watch
  std::vector<OutageRecord> to_tell;  // a person is to hear of it now
};

class OutageWatch {
 public:
  explicit OutageWatch(const Room& room);
  ~OutageWatch();
  OutageWatch(OutageWatch&&) noexcept;
  OutageWatch& operator=(OutageWatch&&) noexcept;

  // ---- Facts, in the order of time
  // A good, fresh value of any channel, in the judged unit.
  void heard(Index channel, double value, Stamp at);
  void broker(bool connected, std::string_view detail, Stamp at);
  void presence(Index instrument, bool present, Stamp at);
  // This service was away from `last_alive` until now. `new_boot`: its machine started anew in between.
  void service_away(UtcMs last_alive, Stamp now, bool new_boot);
  // Better known after all: it was alive until then.
  void service_alive_until(UtcMs last_alive);
  void clock(bool trusted, bool sure, std::int64_t step_ms);
  // Indexes of units_of(room).
  void unit(Index unit, const UnitCourse& course);
  void enclosure(Index enclosure, const EnclosureCourse& course);

  // ---- Judgement
  [[nodiscard]] const std::vector<Unit>& units() const;
  // The temperature channel that an enclosure is judged by; none: it has no such probe.
  [[nodiscard]] Index probe_of(Index enclosure) const;
  // Something is watched more closely: an outage that is not closed.
  [[nodiscard]] bool busy() const;
  // Names go on after this one.
  void count_on_from(std::uint64_t last_number);
  void judge(Stamp now, OutageNews& news);

  // Lines of the engine's snapshot, by permanent ids; each begins with "outage ".
  void save(std::string& out) const;
  // One line without its "outage ". False: it cannot be read; nothing is changed by it. What the room no
  // longer has is left out. `same_boot`: it was saved since the machine's start.
  [[nodiscard]] bool load(std::string_view line, bool same_boot);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace baskwell::heat
