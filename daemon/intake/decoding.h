#pragma once
// From arrivals to events for core: finds the sources of a topic, has their decoder plugins read the payload,
// hands over readings and presences. What cannot be read is counted, kept as a sample and told; it never
// stops the rest. No I/O once open (opening loads the plugins), no clock: every stamp is passed in.
//
// Trouble, told as IntakeTroubleEvent: a source with `bad_in_row` payloads in a row that could not be read
// whole (over when it has had a good one and none bad for a minute); arrivals dropped (over when none was for
// a minute); a subscription that the broker refused (over when told so). One event when it begins, one with
// the new words when another cause joins or leaves, one with bad=false when all is over.
//
// Retained and queued: what is retained says so. All that comes by the kept session is marked queued, whether
// or not it waited there: nothing in MQTT tells the two apart, so it is judged by its own time alone.
//
// Errors: Result when a decoder cannot be opened. Threads: one (the domain's). Allocates only for trouble.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/event.h"
#include "core/result.h"
#include "core/room.h"
#include "intake/arrival_queue.h"
#include "intake/payload_samples.h"
#include "plugin_host/library.h"
#include "settings/settings.h"

namespace baskwell::intake {

// Where events go: two plain functions, since readings come by the million.
struct EventSink {
  void* context = nullptr;
  void (*reading)(void* context, const ReadingEvent& event) = nullptr;
  void (*event)(void* context, const Event& event) = nullptr;
};

// One for an object with take(const ReadingEvent&) and take(const Event&). It must outlive the sink.
template <class Taker>
[[nodiscard]] EventSink sink_into(Taker& taker) {
  return {&taker, [](void* context, const ReadingEvent& event) { static_cast<Taker*>(context)->take(event); },
          [](void* context, const Event& event) { static_cast<Taker*>(context)->take(event); }};
}

// What has become of one source's payloads since the start.
struct SourceReport {
  std::string topic;
  std::string instrument;  // id
  std::string decoder;
  std::uint64_t payloads = 0;
  std::uint64_t readings = 0;
  std::uint64_t read_in_part = 0;
  std::uint64_t unreadable = 0;
  std::uint32_t bad_in_row = 0;
  bool in_trouble = false;
  UtcMs last_good;           // 0: never
  std::string last_problem;  // "": never
};

// For the one command that shows what could not be read.
struct PayloadReport {
  std::vector<SourceReport> sources;   // in the order of the settings
  std::vector<PayloadSample> bad;      // the last, oldest first
  std::uint64_t unknown_topics = 0;    // messages on topics that the settings do not know
  std::vector<PayloadSample> unknown;  // the last, oldest first
  std::uint64_t bad_presences = 0;     // messages on presence topics that are neither word
  ArrivalQueue::Counts live;
  ArrivalQueue::Counts kept;
  std::string trouble;  // as last told; "": none
};

class Decoding {
 public:
  static constexpr std::uint32_t bad_in_row_max = 5;
  static constexpr std::int64_t good_for_ms = minute_ms;

  // `room` gives the names of what troubles; `settings` is not needed after this returns.
  [[nodiscard]] static Result<Decoding> open(const Settings& settings, const plugin_host::Folders& folders);
  ~Decoding();
  Decoding(Decoding&&) noexcept;
  Decoding& operator=(Decoding&&) noexcept;

  void take(const Arrival& arrival, const EventSink& sink);
  // Arrivals dropped so far, as the queue counts them, by session.
  void dropped(const ArrivalQueue::Counts& live, const ArrivalQueue::Counts& kept, Stamp now,
               const EventSink& sink);
  // What the broker refused, in words; "": nothing any more.
  void refused(std::string_view words, Stamp now, const EventSink& sink);
  // Ends trouble that is over; where none was found in the first half hour, says so once, for whoever still
  // knows of some from before. Once a second is plenty.
  void tick(Stamp now, const EventSink& sink);

  [[nodiscard]] PayloadReport report() const;

 private:
  struct State;
  explicit Decoding(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baskwell::intake
