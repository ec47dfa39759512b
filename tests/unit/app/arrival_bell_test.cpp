#include "app/arrival_bell.h"

#include <gtest/gtest.h>

#include <chrono>
#include <thread>

namespace baskwell {
namespace {

// The kernel's timer is real: a patience that never passes in a test, or none.
constexpr std::int64_t an_hour_ms = 3'600'000;
constexpr std::chrono::seconds deadline{30};

class Bell : public testing::Test {
 protected:
  bool rings() {
    const int before = rung_;
    io_.restart();
    while (rung_ == before && io_.run_one_for(deadline) > 0) {
    }
    return rung_ > before;
  }
  bool is_silent() {
    const int before = rung_;
    io_.restart();
    io_.poll();
    return rung_ == before;
  }

  boost::asio::io_context io_{1};
  int rung_ = 0;
  ArrivalBell bell_{io_, [this] { ++rung_; }};
};

TEST_F(Bell, RingsAtOnceWithoutPatienceAndFromAnyThread) {
  EXPECT_TRUE(is_silent());
  std::thread([this] { bell_.strike(); }).join();
  EXPECT_TRUE(rings());
  EXPECT_TRUE(is_silent());
}

TEST_F(Bell, LetsTheFirstStrikeWaitAndHurriesAtTheSecond) {
  bell_.set_patience_ms(an_hour_ms);
  bell_.strike();
  EXPECT_TRUE(is_silent());
  bell_.strike();
  EXPECT_TRUE(rings());
  bell_.looked();
  bell_.strike();
  EXPECT_TRUE(is_silent());
}

TEST_F(Bell, ForgetsAStrikeThatWasLookedAfter) {
  bell_.set_patience_ms(an_hour_ms);
  bell_.strike();
  bell_.looked();
  bell_.strike();  // a first one again
  EXPECT_TRUE(is_silent());
  bell_.set_patience_ms(1);
  bell_.looked();
  bell_.strike();
  EXPECT_TRUE(rings());
}

}  // namespace
}  // namespace baskwell
