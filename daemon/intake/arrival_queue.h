#pragma once
// Arrivals between the broker's threads and the domain thread: many producers, one consumer, two buffers that
// change places. A producer copies topic and payload into the back buffer under one mutex (held for a copy,
// never for a wait); the consumer swaps the buffers and walks the front one without any lock.
//
// At the bound arrivals are dropped and counted by session; nobody ever waits. Which ones: up to half full,
// everything gets in. Beyond it a topic gets in only while what it already holds in the back buffer is less
// than 1/16 of what is still free (messages and bytes alike). One topic that floods is therefore shut out
// first, while one that is quiet always finds room: topics share 4096 counters by hash, and with all 4096 at
// their share some 1/300 of the default bound is still free. Topics whose hashes share a counter share its
// fate.
//
// Memory: reserved at the start, used when touched; what a flood has touched is given back afterwards.
// Errors: none; broken invariants are CHECKs. Threads: push from any, drain from one, counts from any.

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <string_view>
#include <vector>

#include "core/time.h"

namespace baskwell::intake {

// Which of the two broker sessions a message came by: see broker.h.
enum class Session : std::uint8_t { live, kept };
inline constexpr int session_count = 2;

struct Arrival {
  std::string_view topic;    // valid until the function it is passed to returns
  std::string_view payload;  // bytes; likewise
  Stamp at;
  std::size_t topic_hash = 0;  // std::hash of the topic
  Session session = Session::live;
  bool retained = false;  // the broker kept it for whoever subscribes: its age is unknown
};

class ArrivalQueue {
 public:
  struct Bounds {
    std::uint32_t messages = 65536;
    std::uint32_t bytes = 8U << 20U;           // of topics and payloads together
    std::uint32_t payload_bytes = 64U << 10U;  // of one message
  };
  // Since the start.
  struct Counts {
    std::uint64_t accepted = 0;
    std::uint64_t dropped_full = 0;       // no room at all
    std::uint64_t dropped_share = 0;      // the queue was beyond half full, and the topic over its share
    std::uint64_t dropped_too_large = 0;  // payload beyond the bound
    [[nodiscard]] std::uint64_t dropped() const { return dropped_full + dropped_share + dropped_too_large; }
  };

  // `wake` is called without any lock, on the producer's thread, when the back buffer turns from empty to not
  // empty, and again when it holds a 64th of its messages: whoever lets them gather should not do so for much
  // longer. It must be quick and must not throw.
  ArrivalQueue(Bounds bounds, std::function<void()> wake);

  // False: dropped (and counted).
  bool push(std::string_view topic, std::string_view payload, bool retained, Session session, Stamp at);

  // Calls take(const Arrival&) for at most `at_most` arrivals, in order. True: there are more of them at
  // hand, call again (nobody will wake you for these).
  template <class Take>
  bool drain(std::size_t at_most, Take&& take) {
    if (cursor_ == front_.records.size()) {
      front_.clear();
      cursor_ = 0;
      swap_buffers();
    }
    for (; at_most > 0 && cursor_ < front_.records.size(); --at_most) take(front_.at(cursor_++));
    return cursor_ < front_.records.size();
  }

  [[nodiscard]] Counts counts(Session session) const;

 private:
  struct Record {
    Stamp at;
    std::size_t topic_hash;
    std::uint32_t offset;
    std::uint32_t payload_size;
    std::uint16_t topic_size;
    Session session;
    bool retained;
  };
  struct Share {
    std::uint32_t messages = 0;
    std::uint32_t bytes = 0;
  };
  struct Buffer {
    explicit Buffer(const Bounds& bounds);
    [[nodiscard]] Arrival at(std::size_t index) const;
    void clear();

    std::unique_ptr<char[]> bytes;
    std::uint32_t bytes_size;
    std::uint32_t bytes_used = 0;
    std::uint32_t bytes_touched = 0;  // most ever used since the memory was last given back
    std::vector<Record> records;
    std::uint32_t records_touched = 0;
    std::vector<Share> shares;  // by topic hash
  };

  void swap_buffers();
  [[nodiscard]] bool over_share(const Share& share, std::size_t size) const;

  const Bounds bounds_;
  const std::function<void()> wake_;
  mutable std::mutex mutex_;  // guards back_ and counts_
  Buffer back_;
  std::array<Counts, session_count> counts_;
  Buffer front_;  // the consumer's own
  std::size_t cursor_ = 0;
};

}  // namespace baskwell::intake
