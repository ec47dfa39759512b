#pragma once
// How the domain thread hears that something has arrived. Whoever brings it strikes the bell; it rings on the
// domain's thread when the patience set there has passed since the first strike, or at once at the second
// (intake strikes again only where waiting any longer would be wrong). A strike is one system call and wakes
// nobody by itself: in a quiet room a thread that wakes for each message costs more than all readings do.
// Times are real milliseconds. Errors: where the kernel gives no timer, a broken invariant.

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cstdint>
#include <functional>

namespace baskwell {

class ArrivalBell {
 public:
  // `ring` is called on the context's thread.
  ArrivalBell(boost::asio::io_context& io, std::function<void()> ring);
  ArrivalBell(const ArrivalBell&) = delete;
  ArrivalBell& operator=(const ArrivalBell&) = delete;
  ~ArrivalBell() = default;

  // Any thread.
  void strike();

  // Domain thread: from the next strike on.
  void set_patience_ms(std::int64_t patience_ms) { patience_ms_ = patience_ms; }
  // Domain thread, before it looks at what has arrived: the next strike is a first one again.
  void looked() { struck_ = false; }
  void cancel();

 private:
  void wait();
  void ring_in(std::int64_t ms) const;

  const int descriptor_;
  boost::asio::posix::stream_descriptor timer_;  // owns it
  std::function<void()> ring_;
  std::atomic<std::int64_t> patience_ms_ = 0;
  std::atomic<bool> struck_ = false;
};

}  // namespace baskwell
