#pragma once
// A random day or three in a room, as a list of events: readings that wander and run away, silence, nonsense,
// losses of the broker, people's requests, steps of the clock. From one seed always the same.

#include <cstdint>
#include <memory>
#include <random>
#include <vector>

#include "core/event.h"
#include "core/room.h"

namespace baskwell::test {

std::shared_ptr<const Room> random_room(std::mt19937_64& random);
std::vector<Event> random_events(std::mt19937_64& random, const Room& room, std::size_t count);
Stamp stamp_of(const Event& event);
// The same event by a clock that counts elapsed time from elsewhere.
Event with_elapsed_shifted(Event event, std::int64_t by_ms);

inline constexpr Stamp random_start{UtcMs{1774699200000}, ElapsedMs{5'000'000}};  // 2026-03-28T12:00:00Z

}  // namespace baskwell::test
