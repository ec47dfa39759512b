#include "app/recorder.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <iterator>
#include <utility>

#include "core/check.h"
#include "core/note.h"
#include "notify/delivery.h"
#include "store/store.h"

namespace baskwell {
namespace {

// Beyond this the readings are handed over without waiting for the interval: a bound on memory, not on the
// store.
constexpr std::size_t most_gathered = 20'000;
// Between transitions the state is written down so often: what a crash may cost of an on-delay that runs.
constexpr std::chrono::seconds snapshot_interval{60};
// What a crash may cost of what was learned, by the daemon's clock. A big room's text is some 100 KB, and an
// SD card wears by what is written: so not more often.
constexpr std::int64_t learned_interval_ms = hour_ms;

bool makes_relearn(const std::vector<NoteRecord>& notes) {
  return std::any_of(notes.begin(), notes.end(),
                     [](const NoteRecord& note) { return row_of(note.type).relearn != Relearn::nothing; });
}

template <class T>
void move_into(std::vector<T>& to, std::vector<T>& from) {
  if (to.empty()) {
    std::swap(to, from);
  } else {
    to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
  }
  from.clear();
}

}  // namespace

Recorder::Recorder(boost::asio::io_context& io, const Clock& clock, store::Store& store,
                   std::int64_t commit_interval_ms, Texts texts)
    : timer_(io),
      clock_(clock),
      store_(store),
      commit_interval_ms_(std::llround(static_cast<double>(commit_interval_ms) * clock.pace())),
      texts_(std::move(texts)),
      last_learned_(clock.now().elapsed) {}

void Recorder::take(Effects& effects, Stamp now, Durable durable) {
  now_ = now.utc;
  const bool urgent = !effects.transitions.empty() || !effects.messages.empty() ||
                      !effects.withdrawn.empty() || !effects.notes.empty() || !effects.outages.empty();
  CHECK(urgent || !durable);
  const bool relearns = makes_relearn(effects.notes);
  move_into(gathered_.readings, effects.readings);
  move_into(gathered_.transitions, effects.transitions);
  move_into(gathered_.messages, effects.messages);
  move_into(gathered_.withdrawn, effects.withdrawn);
  move_into(gathered_.notes, effects.notes);
  move_into(gathered_.outages, effects.outages);
  if (urgent) {
    submit(now.utc, true, snapshot_at(relearns), std::move(durable));
  } else if (gathered_.readings.size() >= most_gathered) {
    submit(now.utc, false, With::nothing);
  } else if (!gathered_.readings.empty()) {
    const ElapsedMs due = gathered_.readings.front().elapsed + commit_interval_ms_;
    // A little early is better than to wake once more for it.
    if (due - now.elapsed <= commit_interval_ms_ / 20) {
      submit_plain(now.utc);
    } else {
      arm(due);
    }
  }
}

void Recorder::arm(ElapsedMs due) {
  if (armed_) return;
  armed_ = true;
  timer_.expires_after(clock_.real_until(due));
  timer_.async_wait([this](boost::system::error_code error) {
    armed_ = false;
    if (!error && !gathered_.readings.empty()) submit_plain(now_);
  });
}

void Recorder::submit_plain(UtcMs now) {
  const bool due = std::chrono::steady_clock::now() - last_snapshot_ >= snapshot_interval ||
                   snapshot_at(false) == With::snapshot_and_learned;
  submit(now, false, due ? snapshot_at(false) : With::nothing);
}

// A crash must not bring back what a note has made it forget.
Recorder::With Recorder::snapshot_at(bool relearns) const {
  const bool due = clock_.now().elapsed - last_learned_ >= learned_interval_ms;
  return due || relearns ? With::snapshot_and_learned : With::snapshot;
}

void Recorder::flush(UtcMs now) {
  timer_.cancel();
  submit(now, true, With::snapshot_and_learned);
}

void Recorder::submit(UtcMs now, bool urgent, With with, Durable durable) {
  store::Batch batch;
  batch.room = room_;
  batch.readings = std::move(gathered_.readings);
  batch.transitions = std::move(gathered_.transitions);
  batch.messages = gathered_.messages;
  batch.withdrawn = gathered_.withdrawn;
  batch.notes = std::move(gathered_.notes);
  batch.outages = std::move(gathered_.outages);
  batch.at = now;
  batch.urgent = urgent;
  if (with != With::nothing) {
    batch.snapshot = texts_.snapshot();
    last_snapshot_ = std::chrono::steady_clock::now();
  }
  if (with == With::snapshot_and_learned) {
    batch.learned = texts_.learned();
    last_learned_ = clock_.now().elapsed;
  }
  const bool tells = delivery_ && (!gathered_.messages.empty() || !gathered_.withdrawn.empty());
  if (tells || durable) {
    batch.on_committed = [delivery = tells ? delivery_ : nullptr, messages = std::move(gathered_.messages),
                          withdrawn = std::move(gathered_.withdrawn),
                          durable = std::move(durable)](bool ok, const std::string& error) mutable {
      if (delivery) delivery->tell(std::move(messages), withdrawn);
      if (durable) durable(ok, error);
    };
  }
  gathered_ = {};
  dropped_ += store_.submit(std::move(batch));
}

}  // namespace baskwell
