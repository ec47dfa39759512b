#include "intake/arrival_queue.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <map>
#include <string>
#include <thread>
#include <vector>

namespace baskwell::intake {
namespace {

using testing::ElementsAre;

constexpr Stamp at{{1000}, {10}};
constexpr std::size_t any_number = 1U << 30U;

std::vector<std::string> drained(ArrivalQueue& queue, std::size_t at_most = any_number) {
  std::vector<std::string> all;
  static_cast<void>(queue.drain(at_most, [&](const Arrival& arrival) {
    all.push_back(std::string(arrival.topic) + "=" + std::string(arrival.payload));
  }));
  return all;
}

TEST(ArrivalQueue, GivesBackAllOfAnArrivalInOrder) {
  ArrivalQueue queue({}, nullptr);
  const std::string binary("\0\xff,", 3);
  ASSERT_TRUE(queue.push("a/b", "21.5", false, Session::live, {{5}, {6}}));
  ASSERT_TRUE(queue.push("", binary, true, Session::kept, {{7}, {8}}));
  std::vector<Arrival> seen;
  EXPECT_FALSE(queue.drain(any_number, [&](const Arrival& arrival) {
    if (seen.empty()) {
      EXPECT_EQ(arrival.topic, "a/b");
      EXPECT_EQ(arrival.payload, "21.5");
    } else {
      EXPECT_EQ(arrival.topic, "");
      EXPECT_EQ(arrival.payload, binary);
    }
    EXPECT_EQ(arrival.topic_hash, std::hash<std::string_view>{}(arrival.topic));
    seen.push_back(arrival);
  }));
  ASSERT_EQ(seen.size(), 2U);
  EXPECT_EQ(seen[0].at.utc.ms, 5);
  EXPECT_EQ(seen[0].at.elapsed.ms, 6);
  EXPECT_EQ(seen[0].session, Session::live);
  EXPECT_FALSE(seen[0].retained);
  EXPECT_EQ(seen[1].session, Session::kept);
  EXPECT_TRUE(seen[1].retained);
  EXPECT_TRUE(drained(queue).empty());
}

TEST(ArrivalQueue, WakesOnlyWhenItTurnsFromEmpty) {
  int woken = 0;
  ArrivalQueue queue({}, [&] { ++woken; });
  queue.push("t", "1", false, Session::live, at);
  queue.push("t", "2", false, Session::live, at);
  EXPECT_EQ(woken, 1);
  EXPECT_THAT(drained(queue), ElementsAre("t=1", "t=2"));
  queue.push("t", "3", false, Session::live, at);
  EXPECT_EQ(woken, 2);
}

TEST(ArrivalQueue, WakesAgainWhenItHoldsA64thOfWhatItMay) {
  int woken = 0;
  ArrivalQueue queue({.messages = 640, .bytes = 65536, .payload_bytes = 100}, [&] { ++woken; });
  for (int i = 0; i < 9; ++i) queue.push("t", "1", false, Session::live, at);
  EXPECT_EQ(woken, 1);
  for (int i = 0; i < 100; ++i) queue.push("t", "1", false, Session::live, at);
  EXPECT_EQ(woken, 2);
}

TEST(ArrivalQueue, DrainsInPortionsAndSaysWhenThereIsMoreAtHand) {
  int woken = 0;
  ArrivalQueue queue({}, [&] { ++woken; });
  for (const char* value : {"1", "2", "3"}) queue.push("t", value, false, Session::live, at);
  EXPECT_TRUE(queue.drain(2, [](const Arrival&) {}));
  queue.push("t", "4", false, Session::live, at);  // into the other buffer: wakes
  EXPECT_EQ(woken, 2);
  EXPECT_THAT(drained(queue), ElementsAre("t=3"));
  EXPECT_THAT(drained(queue), ElementsAre("t=4"));
}

TEST(ArrivalQueue, NeverHoldsMoreThanItsBoundAndCountsWhatItDropsBySession) {
  ArrivalQueue queue({.messages = 64, .bytes = 4096, .payload_bytes = 100}, nullptr);
  for (int i = 0; i < 1000; ++i) {
    queue.push("topic/" + std::to_string(i), "1", false, i % 2 == 0 ? Session::live : Session::kept, at);
  }
  const auto live = queue.counts(Session::live);
  const auto kept = queue.counts(Session::kept);
  EXPECT_EQ(drained(queue).size(), 64U);
  EXPECT_EQ(live.accepted + kept.accepted, 64U);
  EXPECT_EQ(live.accepted + live.dropped(), 500U);
  EXPECT_EQ(kept.accepted + kept.dropped(), 500U);
  EXPECT_TRUE(queue.push("topic/later", "1", false, Session::live, at));  // there is room again
}

TEST(ArrivalQueue, ItsBoundInBytesHolds) {
  ArrivalQueue queue({.messages = 1000, .bytes = 1000, .payload_bytes = 200}, nullptr);
  std::size_t accepted_bytes = 0;
  for (int i = 0; i < 100; ++i) {
    const std::string topic = "topic/" + std::to_string(i);
    if (queue.push(topic, std::string(90, 'x'), false, Session::live, at))
      accepted_bytes += topic.size() + 90;
  }
  EXPECT_LE(accepted_bytes, 1000U);
  EXPECT_GT(accepted_bytes, 800U);
}

TEST(ArrivalQueue, APayloadBeyondTheBoundIsDroppedAlone) {
  ArrivalQueue queue({.messages = 10, .bytes = 1000, .payload_bytes = 100}, nullptr);
  EXPECT_FALSE(queue.push("t", std::string(101, 'x'), false, Session::live, at));
  EXPECT_TRUE(queue.push("t", std::string(100, 'x'), false, Session::live, at));
  EXPECT_EQ(queue.counts(Session::live).dropped_too_large, 1U);
  EXPECT_EQ(queue.counts(Session::live).dropped(), 1U);
}

TEST(ArrivalQueue, AFloodOfOneTopicStarvesNoOther) {
  ArrivalQueue queue({.messages = 1024, .bytes = 1U << 20U, .payload_bytes = 1000}, nullptr);
  std::map<std::string, int> good;
  for (int round = 0; round < 20; ++round) {
    for (int junk = 0; junk < 10'000; ++junk) queue.push("junk", "x", false, Session::live, at);
    for (int channel = 0; channel < 10; ++channel) {
      const std::string topic = "good/" + std::to_string(channel);
      if (queue.push(topic, "1", false, Session::live, at)) ++good[topic];
    }
  }
  // Nothing was drained meanwhile, and still each of the ten got in every time.
  for (int channel = 0; channel < 10; ++channel) EXPECT_EQ(good["good/" + std::to_string(channel)], 20);
  EXPECT_GT(queue.counts(Session::live).dropped_share, 190'000U);
  EXPECT_EQ(queue.counts(Session::live).dropped_full, 0U);
}

TEST(ArrivalQueue, AFloodOfBigPayloadsOfOneTopicStarvesNoOther) {
  ArrivalQueue queue({.messages = 100'000, .bytes = 1U << 20U, .payload_bytes = 10'000}, nullptr);
  for (int junk = 0; junk < 1000; ++junk) {
    queue.push("junk", std::string(9000, 'x'), false, Session::live, at);
  }
  for (int channel = 0; channel < 10; ++channel) {
    EXPECT_TRUE(queue.push("good/" + std::to_string(channel), "21.5", false, Session::live, at));
  }
}

TEST(ArrivalQueue, AfterAFloodIsDrainedTheFloodersShareStartsAnew) {
  ArrivalQueue queue({.messages = 100, .bytes = 10'000, .payload_bytes = 100}, nullptr);
  for (int i = 0; i < 1000; ++i) queue.push("t", "1", false, Session::live, at);
  const std::size_t first = drained(queue).size();
  EXPECT_GE(first, 50U);  // half is for whoever comes
  static_cast<void>(drained(queue));
  std::size_t again = 0;
  for (int i = 0; i < 1000; ++i) again += queue.push("t", "1", false, Session::live, at) ? 1U : 0U;
  EXPECT_EQ(again, first);
}

TEST(ArrivalQueue, ManyProducersLoseNothingBelowTheBound) {
  constexpr int producers = 4;
  constexpr int each = 20'000;
  std::atomic<int> woken = 0;
  ArrivalQueue queue({.messages = 200'000, .bytes = 16U << 20U, .payload_bytes = 100}, [&] { ++woken; });
  std::vector<std::thread> threads;
  threads.reserve(producers);
  for (int producer = 0; producer < producers; ++producer) {
    threads.emplace_back([&queue, producer] {
      for (int i = 0; i < each; ++i) {
        queue.push("p/" + std::to_string(producer), std::to_string(i), false, Session::live, at);
      }
    });
  }
  std::map<std::string, int> next;
  int taken = 0;
  while (taken < producers * each) {
    queue.drain(1000, [&](const Arrival& arrival) {
      EXPECT_EQ(std::string(arrival.payload), std::to_string(next[std::string(arrival.topic)]++));
      ++taken;
    });
    if (queue.counts(Session::live).dropped() > 0) break;
  }
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(taken, producers * each);
  EXPECT_GE(woken, 1);
}

}  // namespace
}  // namespace baskwell::intake
