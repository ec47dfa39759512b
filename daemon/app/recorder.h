#pragma once
// From the engine's effects to the store and on to people. Plain readings are gathered and committed one
// commit interval after the oldest of them arrived; a step with transitions, messages or notes is committed
// at once, with the engine's snapshot, and its messages go out when that commit is durable - or has failed:
// people are told anyway. What the engine has learned is large and slow to change: it is handed over once an
// hour of the daemon's clock, with a note that makes something be learned anew, and by flush(). Domain thread
// only; the callbacks that it hands to the store run on the store's
// writer thread.

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "app/clock.h"
#include "core/effects.h"
#include "core/room.h"
#include "core/time.h"

namespace baskwell::store {
class Store;
}
namespace baskwell::notify {
class Delivery;
}

namespace baskwell {

class Recorder {
 public:
  // They write down the engine's state, and what it has learned, at the moment they are asked.
  struct Texts {
    std::function<std::string()> snapshot;
    std::function<std::string()> learned;
  };
  // The interval is real time.
  Recorder(boost::asio::io_context& io, const Clock& clock, store::Store& store,
           std::int64_t commit_interval_ms, Texts texts);

  void set_room(std::shared_ptr<const Room> room) { room_ = std::move(room); }
  void set_delivery(std::shared_ptr<notify::Delivery> delivery) { delivery_ = std::move(delivery); }

  // Takes over what one or more steps left in `effects` and clears it. `durable` hears, on the store's writer
  // thread, whether it is on the disk; only for what is committed at once (transitions, messages, notes).
  using Durable = std::function<void(bool ok, const std::string& error)>;
  void take(Effects& effects, Stamp now, Durable durable = {});
  // Commits what is gathered, with a snapshot and what is learned. For the end, and before a change of
  // settings.
  void flush(UtcMs now);

  [[nodiscard]] std::uint64_t dropped() const { return dropped_; }

 private:
  enum class With : std::uint8_t { nothing, snapshot, snapshot_and_learned };
  void submit(UtcMs now, bool urgent, With with, Durable durable = {});
  [[nodiscard]] With snapshot_at(bool relearns) const;
  void submit_plain(UtcMs now);
  void arm(ElapsedMs due);

  boost::asio::steady_timer timer_;
  const Clock& clock_;
  store::Store& store_;
  std::int64_t commit_interval_ms_;  // by the clock, which may run faster
  Texts texts_;
  std::shared_ptr<const Room> room_;
  std::shared_ptr<notify::Delivery> delivery_;
  Effects gathered_;
  bool armed_ = false;
  std::chrono::steady_clock::time_point last_snapshot_{};
  ElapsedMs last_learned_;  // when it was handed over last, or taken up
  UtcMs now_;
  std::uint64_t dropped_ = 0;
};

}  // namespace baskwell
