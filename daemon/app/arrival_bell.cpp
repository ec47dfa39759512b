#include "app/arrival_bell.h"

#include <sys/timerfd.h>
#include <unistd.h>

#include <ctime>
#include <utility>

#include "core/check.h"
#include "core/time.h"

namespace baskwell {
namespace {

// Not Asio's own timers: those belong to one thread, and to hand them over means to wake it.
int kernel_timer() {
  const int descriptor = ::timerfd_create(CLOCK_MONOTONIC, TFD_NONBLOCK | TFD_CLOEXEC);
  CHECK(descriptor >= 0);
  return descriptor;
}

}  // namespace

ArrivalBell::ArrivalBell(boost::asio::io_context& io, std::function<void()> ring)
    : descriptor_(kernel_timer()), timer_(io, descriptor_), ring_(std::move(ring)) {
  wait();
}

void ArrivalBell::strike() {
  ring_in(struck_.exchange(true) ? 0 : patience_ms_.load());
}

void ArrivalBell::ring_in(std::int64_t ms) const {
  itimerspec at{};
  at.it_value.tv_sec = ms / second_ms;
  at.it_value.tv_nsec = ms % second_ms * 1'000'000;
  if (ms <= 0) at.it_value.tv_nsec = 1;  // 0 would put it off for ever
  CHECK(::timerfd_settime(descriptor_, 0, &at, nullptr) == 0);
}

void ArrivalBell::wait() {
  timer_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                    [this](boost::system::error_code error) {
                      if (error) return;
                      std::uint64_t times = 0;
                      // Nothing to read: a strike has put it off meanwhile.
                      if (::read(descriptor_, &times, sizeof(times)) == sizeof(times)) ring_();
                      wait();
                    });
}

void ArrivalBell::cancel() {
  boost::system::error_code ignored;
  timer_.cancel(ignored);
}

}  // namespace baskwell
