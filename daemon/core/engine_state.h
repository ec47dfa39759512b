#pragma once
// The inside of Engine, for the engine_*.cpp files only. Everything is sized once from the Room; nothing
// grows with the number of readings.

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/alarm/point.h"
#include "core/care/bands.h"
#include "core/due_queue.h"
#include "core/engine.h"
#include "core/heat/heat_watch.h"
#include "core/heat/outage_watch.h"
#include "core/probe/judge.h"

namespace baskwell {

// An alarm point: a kind on a subject.
struct Point {
  AlarmKind kind = AlarmKind::too_cold;
  Index spot = none;      // band alarms
  Index channel = none;   // probe alarms
  Index delivery = none;  // delivery-failed
  std::string subject;    // permanent text key
  std::string detail;     // cause in words: kinds without a number, and the evidence of the heating kinds
  std::optional<AlarmKind> other;  // heating kinds: a second explanation that fits as well
  PointState state;
  ElapsedMs grace_until{INT64_MAX};  // of a note's grace time; INT64_MAX: none runs
};

// Judged once a reading; which channels lie there may change with their placements.
struct Spot {
  SpotKey key;
  std::vector<Index> members;  // channels that lie here now
  BandSegment segment;
  Index low_point = none;   // too-cold, too-dry
  Index high_point = none;  // too-hot or no-refuge, too-damp
};

// Values of the last quarter hour, one a minute, for the rate in a message.
struct RecentValues {
  static constexpr std::size_t size = 16;
  std::array<std::int64_t, size> at_ms{};
  std::array<float, size> value{};
  std::uint32_t count = 0;  // ever
  void add(ElapsedMs at, double judged);
  [[nodiscard]] double rate_per_hour(ElapsedMs now) const;  // NaN: not known
};

struct ChannelState {
  ProbeState probe;
  PlausibleRange range;
  const Channel* fixed = nullptr;  // of the Room, which the state keeps alive
  const Instrument* instrument = nullptr;
  Index placement = none;
  Span placement_span{UtcMs{0}, UtcMs{0}};  // over which `placement` is right; empty: not looked up yet
  UtcMs placed_at{INT64_MIN};               // the moment that `placement` was looked up for
  bool good_here = false;                   // its last good value was measured in this placement
  Index spot = none;
  double offset = 0;  // calibration in force
  std::uint16_t calibration_version = 0;
  ElapsedMs
      heard_floor;    // silence counts from here at the earliest: start, or the last word plus our absence
  bool gone = false;  // its presence topic says so
  RecentValues recent;
  // Whether its last good value says something of its spot at this moment: not once it lies elsewhere.
  [[nodiscard]] bool watches_spot(UtcMs at) const {
    return spot != none && good_here && placement_span.holds(at);
  }
  Index silent_point = none;
  Index implausible_point = none;
  Index frozen_point = none;
};

// What an id means for a note: enclosures, and `none` for the room's own air.
struct Enclosures {
  std::vector<Index> list;
  bool known = false;  // false: the room has nothing of that id
};

struct SavedPoint;  // engine_snapshot.cpp

struct Engine::State {
  std::shared_ptr<const Room> room;
  std::vector<Spot> spots;
  std::vector<ChannelState> channels;
  std::vector<Point> points;
  DueQueue dues;  // owners: the channels (their silence), then the points
  Index broker_point = none;
  Index payload_point = none;
  Index store_point = none;
  Index clock_point = none;
  std::vector<Index> delivery_points;
  std::vector<Index> person_points;  // delivery-failed: nothing reaches this person
  Index messages_point = none;       // the same, of nobody in the settings
  std::unique_ptr<heat::HeatWatch> heating;
  Index first_heating_point = none;
  std::vector<heat::Fact> heating_facts;  // of the event being handled; kept for its memory
  std::unique_ptr<heat::OutageWatch> outages;
  ElapsedMs outages_due{INT64_MIN};         // when it is judged next
  ElapsedMs outage_courses_due{INT64_MIN};  // when it hears of every enclosure next
  bool broker_connected = false;
  ElapsedMs broker_lost_at;  // read only while it is not connected
  bool clock_trusted = true;
  Stamp now;
  std::uint64_t last_occurrence = 0;
  std::uint64_t last_message = 0;

  State(std::shared_ptr<const Room> the_room, Stamp start);
  [[nodiscard]] DueQueue::Owner owner_of_point(Index point) const {
    return static_cast<DueQueue::Owner>(channels.size()) + point;
  }

  // engine.cpp: facts
  void advance(Stamp to, Effects& effects);
  void reading(const ReadingEvent& event, Effects& effects);
  void watch_probe(const ChannelState& channel, const ReadingEvent& event, Quality quality, Effects& effects);
  void judge_spot(Spot& spot, double value, UtcMs measured, Effects& effects);
  void place(ChannelState& channel, Index index, UtcMs at);
  void calibrate(ChannelState& channel, UtcMs at) const;
  void handle(const IntakeTroubleEvent& event, Effects& effects);
  void handle(const StoreEvent& event, Effects& effects);
  void handle(const DeliveryEvent& event, Effects& effects);
  void handle(const ClockEvent& event, Effects& effects);
  void handle(const RequestEvent& event, Effects& effects);

  // engine_silence.cpp: what is not heard
  [[nodiscard]] ElapsedMs last_word(const ChannelState& channel) const;
  [[nodiscard]] Index placement_at(Index channel, UtcMs at) const;
  [[nodiscard]] bool broker_loss_says_it() const;
  void queue_silence(Index channel);
  void check_silence(Index channel, Stamp at, Effects& effects);
  void raise_waiting_harm(const ChannelState& channel, Stamp at, Effects& effects);
  void handle(const BrokerEvent& event, Effects& effects);
  void handle(const PresenceEvent& event, Effects& effects);

  // engine_alarms.cpp: decisions
  [[nodiscard]] const AlarmSettings& settings_of(const Point& point) const;
  [[nodiscard]] Priority priority_of(const Point& point) const;
  void fact(Index point, const Fact& fact, Stamp at, Effects& effects);
  void fault(Index point, bool present, bool long_lasting, std::string_view detail, Stamp at,
             Effects& effects);
  void changed(Index point, const PointChange& change, bool harm_before, Stamp at, Effects& effects);
  bool apply(Index point, AlarmInput input, TellReason reason, Stamp at, std::string_view who,
             std::string_view why, Effects& effects);
  void tell(const Point& point, TellReason reason, Stamp at, Effects& effects);
  void point_due(Index point, Stamp at, Effects& effects);
  void queue_point(Index point);
  [[nodiscard]] std::int64_t repeat_ms_of(const Point& point) const;
  std::string request(const RequestEvent& event, Effects& effects);
  [[nodiscard]] std::string why_not_shelve(const Point& point, const RequestEvent& event) const;
  std::string service(const RequestEvent& event, Effects& effects);
  [[nodiscard]] bool concerns(const Point& point, std::string_view target) const;

  // engine_notes.cpp: what people did
  void handle(const NoteEvent& event, Effects& effects);
  [[nodiscard]] std::string why_not_noted(const NoteEvent& event) const;
  [[nodiscard]] Enclosures enclosures_of(std::string_view id, UtcMs at) const;
  [[nodiscard]] bool lies_in(const Point& point, const Enclosures& enclosures, UtcMs at) const;
  bool open_grace(const NoteEvent& event, Effects& effects);
  [[nodiscard]] static bool grace_covers(const Point& point);
  void suppress_in_grace(Index point, Stamp at, std::string_view who, Effects& effects);
  void suppress_by_grace(Index point, Stamp at, std::string_view who, Effects& effects);
  void end_grace(Index point, Stamp at, Effects& effects);
  [[nodiscard]] std::vector<GraceView> graces_at(Stamp at) const;

  // engine_heating.cpp: what core/heat finds
  void add_heating_points();
  void feed_heating(Index channel, double degc, UtcMs measured, Effects& effects);
  void note_to_heating(const NoteEvent& event, Effects& effects);
  void take_heating_facts(Effects& effects);
  void hold_heating_fact(Index point);

  // engine_outage.cpp: what was away
  void add_outage_watch();
  void heard_for_outages(const ReadingEvent& event, double value, Effects& effects);
  void judge_outages(Stamp at, Effects& effects);
  void courses_for_outages(const heat::Unit& unit, Stamp at);
  void tell_of_outage(const OutageRecord& outage, Stamp at, Effects& effects);

  // engine_snapshot.cpp
  void take_over(const SavedPoint& saved, Stamp at, Effects& effects);

  // engine_view.cpp: what people see
  [[nodiscard]] AlarmView describe(const Point& point, Stamp at) const;
  void describe_place(const Point& point, Stamp at, AlarmView& view) const;
  void describe_heating(Index enclosure, AlarmView& view) const;
  [[nodiscard]] std::string animals_in(Index enclosure, UtcMs at) const;
  [[nodiscard]] SpotView view_of(const Spot& spot, Index channel, Stamp at) const;
};

[[nodiscard]] std::string occurrence_name(std::uint64_t occurrence);  // "A1042"; "" for 0
[[nodiscard]] std::string place_name(const Enclosure& enclosure);
[[nodiscard]] bool is_high_side(AlarmKind kind);
// When this person is awake: `at` or the next waking minute.
[[nodiscard]] UtcMs waking_moment(const Person& person, const ZoneRules& clock, UtcMs at);

}  // namespace baskwell
