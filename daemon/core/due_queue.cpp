#include "core/due_queue.h"

#include "core/check.h"

namespace baskwell {

void DueQueue::put(std::size_t place, const Entry& entry) {
  heap_[place] = entry;
  place_[entry.owner] = static_cast<std::uint32_t>(place);
}

void DueQueue::rise(std::size_t place, const Entry& entry) {
  while (place > 0) {
    const std::size_t above = (place - 1) / 2;
    if (!(entry < heap_[above])) break;
    put(place, heap_[above]);
    place = above;
  }
  put(place, entry);
}

void DueQueue::sink(std::size_t place, const Entry& entry) {
  for (;;) {
    std::size_t below = 2 * place + 1;
    if (below >= heap_.size()) break;
    if (below + 1 < heap_.size() && heap_[below + 1] < heap_[below]) ++below;
    if (!(heap_[below] < entry)) break;
    put(place, heap_[below]);
    place = below;
  }
  put(place, entry);
}

void DueQueue::look_by(Owner owner, ElapsedMs at) {
  CHECK(owner < place_.size());
  std::size_t place = place_[owner];
  if (place == nowhere) {
    if (at.ms == INT64_MAX) return;
    place = heap_.size();
    heap_.push_back({at, owner});
  } else if (at >= heap_[place].at) {
    return;
  }
  rise(place, {at, owner});
}

void DueQueue::remove(Owner owner) {
  CHECK(owner < place_.size());
  const std::size_t place = place_[owner];
  if (place == nowhere) return;
  place_[owner] = nowhere;
  const Entry last = heap_.back();
  heap_.pop_back();
  if (place == heap_.size()) return;
  if (place > 0 && last < heap_[(place - 1) / 2]) {
    rise(place, last);
  } else {
    sink(place, last);
  }
}

}  // namespace baskwell
