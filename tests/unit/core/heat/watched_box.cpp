#include "heat/watched_box.h"

#include <map>
#include <tuple>
#include <utility>

#include "core/check.h"

namespace baskwell::test {

WatchedBox::WatchedBox(const BoxPlan& plan, int every, bool thermostat) : every_s(every) {
  enclosure = builder.enclosure("shelf-1");
  builder.animal("asha", royal_python(), enclosure);
  hot = builder.probe("hot-probe", enclosure, Zone::hot);
  cool = builder.probe("cool-probe", enclosure, Zone::cool);
  room_probe = builder.probe("room-probe", none, Zone::room);
  Heater mat;
  mat.id = mat.name = "mat-1";
  mat.kind = "mat";
  mat.enclosures = {enclosure};
  builder.room.heaters.push_back(mat);
  if (thermostat) {
    Thermostat made;
    made.id = made.name = "thermostat-1";
    made.heaters = {0};
    made.probe_enclosure = enclosure;
    builder.room.thermostats.push_back(made);
  }
  room = builder.done();
  watch = std::make_unique<heat::HeatWatch>(*room);
  box = std::make_unique<HeatedBox>(plan, room->clock, utc("2026-06-01T00:00:00Z"));
}

WatchedBox WatchedBox::learned(const BoxPlan& plan, int days, int every) {
  struct Kept {
    std::string learned;
    HeatedBox box;
  };
  using Key = std::tuple<double, double, double, double, int, int>;
  static std::map<Key, Kept> kept;  // of this program's tests, one thread
  const Key key{plan.room_degc, plan.tau_min, plan.gain_k, plan.set_day_degc + 100 * plan.swing_k,
                days,           every};
  auto found = kept.find(key);
  if (found == kept.end()) {
    WatchedBox first(plan, every);
    first.run_for(days * day_ms);
    CHECK(first.quiet());
    found = kept.emplace(key, Kept{first.watch->learned(), *first.box}).first;
  }
  WatchedBox made(plan, every);
  *made.box = found->second.box;
  const Outcome taken = made.watch->take_learned(found->second.learned);
  CHECK(taken.ok());
  return made;
}

void WatchedBox::hear(Index channel, Zone zone, double degc) {
  const SpotKey spot{zone == Zone::room ? none : enclosure, zone, Medium::air, Quantity::temperature};
  const UtcMs at = box->now() + clock_off_ms;
  std::vector<heat::Fact> news;
  watch->reading(channel, spot, degc, at, segment_at(*room, spot, at).at(at), news);
  for (heat::Fact& one : news) {
    const heat::Point& point = watch->points()[one.point];
    facts.push_back({at, point.kind, point.subject, std::move(one)});
  }
}

void WatchedBox::run_for(std::int64_t ms) {
  const UtcMs end = box->now() + ms;
  while (box->now() < end) {
    box->run_to(box->now() + every_s * second_ms);
    if (silent) continue;
    hear(room_probe, Zone::room, box->read_room());
    hear(cool, Zone::cool, box->read_cool());
    hear(hot, Zone::hot, box->read_hot());
  }
}

void WatchedBox::run_to_local(int hour, int minute) {
  const int now = local_minute(room->clock, box->now());
  const int ahead = (hour * 60 + minute - now + 1440) % 1440;
  run_for((ahead == 0 ? 1440 : ahead) * minute_ms);
}

void WatchedBox::note(NoteType type, std::string_view subject) {
  std::vector<heat::Fact> news;
  const UtcMs at = box->now() + clock_off_ms;
  watch->note(type, subject, at, news);
  for (heat::Fact& one : news) {
    const heat::Point& point = watch->points()[one.point];
    facts.push_back({at, point.kind, point.subject, std::move(one)});
  }
}

void WatchedBox::step_clock(std::int64_t ms) {
  clock_off_ms += ms;
  watch->clock_stepped(ms);
}

bool WatchedBox::holds(AlarmKind kind) const {
  bool now = false;
  for (const SeenFact& one : facts) {
    if (one.kind == kind) now = one.fact.present;
  }
  return now;
}

const SeenFact* WatchedBox::first(AlarmKind kind) const {
  for (const SeenFact& one : facts) {
    if (one.kind == kind && one.fact.present) return &one;
  }
  return nullptr;
}

int WatchedBox::told(AlarmKind kind) const {
  int n = 0;
  for (const SeenFact& one : facts) n += one.kind == kind && one.fact.present ? 1 : 0;
  return n;
}

std::string WatchedBox::all() const {
  std::string text;
  for (const SeenFact& one : facts) {
    text += std::to_string((one.at - utc("2026-06-01T00:00:00Z")) / day_ms) + "d " +
            local_text(*room, one.at) + " " + std::string(row_of(one.kind).name) + " " + one.subject +
            (one.fact.present ? " +" : " -") + (one.fact.harm_near ? " harm near " : " ") + one.fact.detail +
            "\n";
  }
  return text;
}

}  // namespace baskwell::test
