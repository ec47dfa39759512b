#pragma once
// The order in which messages find people: which message a delivery channel should try now, and what follows
// from its answer. Pure: no clock, no threads, no I/O; every moment comes in as an argument (ms, both
// clocks). One thread at a time.
//
// The ladder of one message is its person's channels in order. The first is tried; on try_again the next at
// once; when all failed, the round begins again after 10 s, 20 s, 40 s ... 5 min. A channel that refused is
// skipped for this message. A channel that is busy, or whose call hangs, is overtaken by the next one after
// `patience`. `high` never gives up; when every channel refused it, it begins again after the longest wait.
// Source of the figures: calculated from the times to respond in the table of alarm kinds; from no
// publication.
//
// Bounded: at most `most_messages` (the least urgent, oldest one makes room) and one waiting message for each
// occurrence, person and priority: a newer text takes the place of an undelivered older one, also of an
// "over".

#include <cstddef>
#include <cstdint>
#include <deque>
#include <list>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_set>
#include <vector>

#include "core/effects.h"
#include "core/room.h"
#include "core/time.h"
#include "notify/letter.h"

namespace baskwell::notify {

struct PlanSettings {
  std::int64_t first_wait_ms = 10 * second_ms;  // after the first round in which nothing worked; then doubled
  std::int64_t longest_wait_ms = 5 * minute_ms;
  std::int64_t give_up_ms =
      6 * hour_ms;  // after a message was first due; not for `high`, unless it says "over"
  std::int64_t high_patience_ms = 5 * second_ms;  // before a busy or hanging channel is overtaken
  std::int64_t patience_ms = 60 * second_ms;      // the same for medium and low: longer than a call may take
  std::size_t most_messages = 2000;
  std::size_t most_told = 8192;  // remembered pairs of occurrence and person; the oldest are forgotten
};

// That a person heard of an occurrence, or may have.
struct Told {
  std::string occurrence;
  std::string person;  // id
};

// One message that a channel should try now. It counts as in flight until answer().
struct Attempt {
  std::size_t step = 0;  // index into the person's channels
  std::string channel;   // id
  std::string person;    // id
  std::string occurrence;
  Letter letter;
};

class DeliveryPlan {
 public:
  // `channels`: ids of those that exist; others are left out of people's ladders.
  DeliveryPlan(std::vector<Person> people, std::vector<std::string> channels, PlanSettings settings);
  DeliveryPlan(const DeliveryPlan&) = delete;  // entries point into people_
  DeliveryPlan& operator=(const DeliveryPlan&) = delete;
  ~DeliveryPlan() = default;

  // Takes a message in. One whose id is already here is not taken twice.
  void add(MessageDraft message, Stamp now, std::vector<Settlement>& settled);
  // The undelivered messages of the occurrence, but "over", no longer matter. One in flight is not tried
  // again.
  void withdraw(std::string_view occurrence, std::vector<Settlement>& settled);
  // For a start from the outbox: this person heard of this occurrence, or may have.
  void remember_told(const Told& told);

  // Ends what is given up, and notices what has become due.
  void pass_time(Stamp now, std::vector<Settlement>& settled);
  // What this channel should try now: the most urgent message, then the one that waited longest.
  [[nodiscard]] std::optional<Attempt> take(std::string_view channel, Stamp now);
  // What came of an attempt.
  [[nodiscard]] Aftermath answer(const Attempt& attempt, const ChannelAnswer& answer, Stamp now);

  // When take(channel) or pass_time() could next do something if nothing else happens; INT64_MAX: never.
  [[nodiscard]] ElapsedMs next_due(std::string_view channel, Stamp now) const;

  [[nodiscard]] std::size_t size() const { return entries_.size(); }
  // Not yet ended, oldest first; `attempted`: those with an attempt that has no answer
  // yet, or else all the others.
  [[nodiscard]] std::vector<MessageDraft> undelivered(bool attempted) const;
  [[nodiscard]] std::vector<Told> told() const;

 private:
  enum class Try : std::uint8_t { open, in_flight, failed, refused };
  struct Step {
    std::size_t person_channel = 0;  // index into Person::channels
    Try state = Try::open;
  };
  struct Entry {
    MessageDraft draft;
    const Person* person = nullptr;
    std::vector<Step> steps;
    bool due = false;          // not_before has passed
    ElapsedMs first_due;       // meaningful once due
    ElapsedMs offer_at;        // when the first open step may be taken
    std::int64_t wait_ms = 0;  // after the next round that fails
    // In flight, and not tried again: how it ends, unless (where it has not) it arrives after all.
    std::optional<Ending> ending;
    std::string ending_why;
  };
  using Entries = std::list<Entry>;  // oldest first; few, and erased from the middle

  [[nodiscard]] static bool in_flight(const Entry& entry);
  [[nodiscard]] std::int64_t patience_of(const Entry& entry) const;
  [[nodiscard]] ElapsedMs open_at(const Entry& entry, std::size_t step, Stamp now) const;
  void mark_due(Stamp now);
  Entries::iterator end(Entries::iterator entry, Ending ending, std::string why,
                        std::vector<Settlement>& settled);
  void replace_older(Entry& newer, std::vector<Settlement>& settled);
  [[nodiscard]] bool make_place(const MessageDraft& message, std::vector<Settlement>& settled);
  [[nodiscard]] Aftermath what_follows(Entry& entry, Stamp now);
  [[nodiscard]] bool was_told(const MessageDraft& message) const;
  void forget_told(const MessageDraft& message);

  std::vector<Person> people_;
  std::vector<std::string> channels_;
  PlanSettings settings_;
  Entries entries_;
  std::unordered_set<std::string> told_;
  std::deque<Told> told_order_;
};

}  // namespace baskwell::notify
