#pragma once
// Who is to be looked at next: one moment an owner, the earliest first. Owners are numbered from 0; there are
// never more entries than owners, however often moments change. A binary heap that knows where each owner's
// entry lies. Pure; one thread.

#include <cstddef>
#include <cstdint>
#include <vector>

#include "core/time.h"

namespace baskwell {

class DueQueue {
 public:
  using Owner = std::uint32_t;

  void add_owners(std::size_t count) { place_.resize(place_.size() + count, nowhere); }
  [[nodiscard]] bool empty() const { return heap_.empty(); }
  [[nodiscard]] std::size_t size() const { return heap_.size(); }

  // Among equal moments the lowest owner, so that the order is always the same. Not on an empty queue.
  [[nodiscard]] ElapsedMs next_at() const { return heap_.front().at; }
  [[nodiscard]] Owner next_owner() const { return heap_.front().owner; }
  // INT64_MAX: it has none.
  [[nodiscard]] ElapsedMs at(Owner owner) const {
    return place_[owner] == nowhere ? ElapsedMs{INT64_MAX} : heap_[place_[owner]].at;
  }

  // Nothing happens where the owner is looked at no later anyway: a later need is found then.
  void look_by(Owner owner, ElapsedMs at);
  void remove(Owner owner);

 private:
  struct Entry {
    ElapsedMs at;
    Owner owner;
    friend bool operator<(const Entry& a, const Entry& b) {
      return a.at != b.at ? a.at < b.at : a.owner < b.owner;
    }
  };
  static constexpr std::uint32_t nowhere = 0xffffffff;

  void put(std::size_t place, const Entry& entry);
  void rise(std::size_t place, const Entry& entry);
  void sink(std::size_t place, const Entry& entry);

  std::vector<Entry> heap_;
  std::vector<std::uint32_t> place_;  // by owner
};

}  // namespace baskwell
