#include "engine/random_room.h"

#include <string>
#include <utility>

#include "room_builder.h"
#include "seed.h"

namespace baskwell::test {
namespace {

RequestEvent random_request(std::mt19937_64& random) {
  using What = RequestEvent::What;
  RequestEvent request;
  request.what = static_cast<What>(between(random, 0, 4));
  const bool service = request.what == What::out_of_service || request.what == What::return_to_service;
  const std::vector<std::string> subjects{"shelf-0", "shelf-1", "p0", "p1/temperature", "nothing"};
  request.target = service || one_in(random, 4) ? subjects[static_cast<std::size_t>(between(random, 0, 4))]
                   : one_in(random, 3)          ? "all"
                                                : "A" + std::to_string(between(random, 1, 30));
  request.who = "Kim";
  request.why = one_in(random, 8) ? "" : "busy";
  request.duration_ms = between(random, minute_ms, 9 * hour_ms);
  return request;
}

NoteEvent random_note(std::mt19937_64& random) {
  NoteEvent note;
  note.type = static_cast<NoteType>(between(random, 0, note_type_count - 1));
  const std::vector<std::string> subjects{"shelf-0", "shelf-1", "p0", "a1", "room", "nothing"};
  note.subject = subjects[static_cast<std::size_t>(between(random, 0, 5))];
  note.text = "done";
  note.who = "Kim";
  return note;
}

Event random_trouble(std::mt19937_64& random, const Room& room) {
  switch (between(random, 0, 4)) {
    case 0: {
      StoreEvent event;
      event.working = one_in(random, 2);
      event.detail = "disk full";
      return event;
    }
    case 1: {
      DeliveryEvent event;
      event.channel = room.delivery_channels.front();
      event.person = "kim";
      event.delivered = one_in(random, 2);
      event.acknowledged = event.delivered && one_in(random, 2);
      event.occurrence = "A" + std::to_string(between(random, 1, 30));
      event.detail = "refused";
      return event;
    }
    case 2: {
      IntakeTroubleEvent event;
      event.bad = one_in(random, 2);
      event.detail = "queue full";
      return event;
    }
    case 3: {
      PresenceEvent event;
      event.instrument =
          static_cast<Index>(between(random, 0, static_cast<std::int64_t>(room.instruments.size()) - 1));
      event.present = one_in(random, 2);
      return event;
    }
    default: {
      ClockEvent event;
      event.trusted = !one_in(random, 3);
      event.sure = !one_in(random, 2);
      return event;
    }
  }
}

// What the probes of a room say: each wanders around what it should be and now and then runs away or is
// quiet.
class Probes {
 public:
  explicit Probes(std::size_t count) : value_(count, 260), drift_(count, 0), quiet_until_ms_(count, 0) {}

  ReadingEvent next(std::mt19937_64& random, const Room& room, std::int64_t elapsed_ms) {
    ReadingEvent event;
    event.channel = static_cast<Index>(between(random, 0, static_cast<std::int64_t>(value_.size()) - 1));
    const std::size_t i = event.channel;
    if (one_in(random, 60)) drift_[i] = between(random, -6, 6);
    if (one_in(random, 15)) drift_[i] = 0;
    value_[i] = std::min<std::int64_t>(
        450, std::max<std::int64_t>(100, value_[i] + drift_[i] + between(random, -1, 1)));
    if (drift_[i] == 0 && value_[i] != 260 && one_in(random, 3)) value_[i] += value_[i] < 260 ? 2 : -2;
    if (one_in(random, 200)) quiet_until_ms_[i] = elapsed_ms + between(random, minute_ms, 2 * hour_ms);
    event.unit = room.channels[event.channel].unit;
    event.value = {room.channels[event.channel].quantity == Quantity::humidity ? value_[i] * 2 : value_[i],
                   1};
    if (one_in(random, 80)) event.value = {between(random, -1300, 1300), 1};
    if (one_in(random, 80)) event.value = {850, 1};
    event.not_a_number = one_in(random, 60) || elapsed_ms < quiet_until_ms_[i];
    event.has_own_time = event.channel % 3 == 2;
    event.queued = one_in(random, 40);
    event.retained = one_in(random, 100);
    return event;
  }

 private:
  std::vector<std::int64_t> value_;  // tenths
  std::vector<std::int64_t> drift_;
  std::vector<std::int64_t> quiet_until_ms_;
};

void stamp(Event& event, Stamp at, std::mt19937_64& random) {
  std::visit([&](auto& one) { one.at = at; }, event);
  if (auto* reading = std::get_if<ReadingEvent>(&event)) {
    reading->measured = at.utc - between(random, 0, one_in(random, 10) ? 40 * minute_ms : 3000);
    if (one_in(random, 100)) reading->measured = at.utc + between(random, 0, hour_ms);
  }
}

}  // namespace

std::shared_ptr<const Room> random_room(std::mt19937_64& random) {
  RoomBuilder builder;
  for (int i = 0; i < 2; ++i) {
    const Index enclosure = builder.enclosure("shelf-" + std::to_string(i));
    builder.room.enclosures[enclosure].lights = {static_cast<int>(between(random, 0, 1439)),
                                                 static_cast<int>(between(random, 0, 1439)),
                                                 static_cast<int>(between(random, 0, 120))};
    Span stay;
    if (one_in(random, 3))
      stay = {random_start.utc + between(random, 0, hour_ms), random_start.utc + 20 * hour_ms};
    builder.animal("a" + std::to_string(i), i == 0 ? royal_python() : corn_snake(), enclosure, stay);
  }
  const std::vector<Zone> zones{Zone::hot, Zone::middle, Zone::cool};
  for (int i = 0; i < 7; ++i) {
    const Index channel = builder.probe("p" + std::to_string(i), static_cast<Index>(i % 2),
                                        zones[static_cast<std::size_t>(i / 2) % 3],
                                        i == 6 ? Quantity::humidity : Quantity::temperature, Medium::air,
                                        i % 2 == 0 ? ProbeType::digital_bus : ProbeType::generic);
    if (!one_in(random, 4)) continue;
    // It moves to the other enclosure at some time.
    Placement& first = builder.room.channels[channel].placements[0];
    const UtcMs moved = random_start.utc + between(random, hour_ms, 30 * hour_ms);
    first.span.to = moved;
    Placement second = first;
    second.enclosure = 1 - first.enclosure;
    second.span = {moved + between(random, 0, hour_ms), UtcMs{INT64_MAX}};
    builder.room.channels[channel].placements.push_back(second);
    builder.room.channels[channel].calibrations = {{moved, -0.3, 1}};
  }
  builder.probe("p7", 0, Zone::hot);  // a second one at the same spot
  for (Index enclosure = 0; enclosure < 2; ++enclosure) {
    Heater mat;
    mat.id = mat.name = "mat-" + std::to_string(enclosure);
    mat.enclosures = {enclosure};
    builder.room.heaters.push_back(mat);
  }
  builder.person("kim");
  builder.person("lee", 20 * 60, 4 * 60);
  builder.room.delivery_channels = {"mail"};
  for (AlarmSettings& settings : builder.room.alarm_settings) {
    if (one_in(random, 2)) settings.on_delay_ms = between(random, 0, 20 * minute_ms);
    if (one_in(random, 2)) settings.harm_on_delay_ms = between(random, 0, 10 * minute_ms);
    if (one_in(random, 3)) settings.off_delay_ms = between(random, 0, 20 * minute_ms);
    if (one_in(random, 20)) settings.enabled = false;
  }
  return builder.done();
}

std::vector<Event> random_events(std::mt19937_64& random, const Room& room, std::size_t count) {
  std::vector<Event> events;
  Probes probes(room.channels.size());
  Stamp now = random_start;
  BrokerEvent connected;
  connected.connected = true;
  events.emplace_back(connected);
  stamp(events.back(), now, random);
  bool broker = true;
  while (events.size() < count) {
    const std::int64_t gap_ms =
        one_in(random, 150) ? between(random, 0, 2 * hour_ms) : between(random, 0, 30'000);
    now = {now.utc + gap_ms, now.elapsed + gap_ms};
    Event event = probes.next(random, room, now.elapsed.ms);
    if (one_in(random, 120)) {
      BrokerEvent change;
      change.connected = broker = !broker;
      change.detail = broker ? "" : "connection refused";
      event = change;
    } else if (one_in(random, 60)) {
      event = random_request(random);
    } else if (one_in(random, 150)) {
      event = random_note(random);
    } else if (one_in(random, 80)) {
      event = random_trouble(random, room);
    } else if (one_in(random, 400)) {
      // Time is told right before a step is: a delay that ended by then ended by the old clock. (The daemon
      // looks at its clock every second.)
      events.emplace_back(TickEvent{now});
      ClockEvent step;
      step.step_ms = between(random, -hour_ms, hour_ms);
      now.utc = now.utc + step.step_ms;
      event = step;
    }
    if (!broker && std::holds_alternative<ReadingEvent>(event)) continue;  // nothing comes in
    stamp(event, now, random);
    events.push_back(std::move(event));
  }
  return events;
}

Stamp stamp_of(const Event& event) {
  return std::visit([](const auto& one) { return one.at; }, event);
}

Event with_elapsed_shifted(Event event, std::int64_t by_ms) {
  std::visit([by_ms](auto& one) { one.at.elapsed = one.at.elapsed + by_ms; }, event);
  return event;
}

}  // namespace baskwell::test
