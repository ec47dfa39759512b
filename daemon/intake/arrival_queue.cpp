#include "intake/arrival_queue.h"

#include <algorithm>
#include <cstring>
#include <limits>
#include <utility>

#include "core/check.h"

namespace baskwell::intake {
namespace {

constexpr std::size_t share_count = 4096;  // a power of two
constexpr std::uint32_t share_of_free = 16;
constexpr std::uint32_t hurry_at = 64;  // of all messages
// Touched memory beyond these is given back once a buffer is nearly idle again.
constexpr std::uint32_t keep_bytes = 256U << 10U;
constexpr std::uint32_t keep_records = 4096;

std::size_t share_of(std::size_t topic_hash) {
  return topic_hash & (share_count - 1);
}

}  // namespace

ArrivalQueue::Buffer::Buffer(const Bounds& bounds)
    : bytes(new char[bounds.bytes]), bytes_size(bounds.bytes), shares(share_count) {
  records.reserve(bounds.messages);
}

Arrival ArrivalQueue::Buffer::at(std::size_t index) const {
  const Record& record = records[index];
  const char* const begin = bytes.get() + record.offset;
  return {.topic = {begin, record.topic_size},
          .payload = {begin + record.topic_size, record.payload_size},
          .at = record.at,
          .topic_hash = record.topic_hash,
          .session = record.session,
          .retained = record.retained};
}

void ArrivalQueue::Buffer::clear() {
  if (records.size() < share_count / 8) {
    for (const Record& record : records) shares[share_of(record.topic_hash)] = {};
  } else {
    std::fill(shares.begin(), shares.end(), Share{});
  }
  bytes_touched = std::max(bytes_touched, bytes_used);
  records_touched = std::max(records_touched, static_cast<std::uint32_t>(records.size()));
  const bool idle = bytes_used <= keep_bytes / 4 && records.size() <= keep_records / 4;
  if (idle && bytes_touched > keep_bytes) {
    bytes.reset(new char[bytes_size]);
    bytes_touched = 0;
  }
  if (idle && records_touched > keep_records) {
    std::vector<Record> fresh;
    fresh.reserve(records.capacity());
    records.swap(fresh);
    records_touched = 0;
  }
  records.clear();
  bytes_used = 0;
}

ArrivalQueue::ArrivalQueue(Bounds bounds, std::function<void()> wake)
    : bounds_(bounds), wake_(std::move(wake)), back_(bounds), front_(bounds) {
  CHECK(bounds.messages >= 2 && bounds.bytes >= 2 && bounds.payload_bytes <= bounds.bytes / 2);
}

bool ArrivalQueue::over_share(const Share& share, std::size_t size) const {
  const auto held = static_cast<std::uint32_t>(back_.records.size());
  if (held < bounds_.messages / 2 && back_.bytes_used + size <= bounds_.bytes / 2) return false;
  return share.messages >= (bounds_.messages - held + share_of_free - 1) / share_of_free ||
         share.bytes >= (bounds_.bytes - back_.bytes_used) / share_of_free + 1;
}

bool ArrivalQueue::push(std::string_view topic, std::string_view payload, bool retained, Session session,
                        Stamp at) {
  CHECK(topic.size() <= std::numeric_limits<std::uint16_t>::max());  // MQTT 5.0 section 1.5.4
  const std::size_t hash = std::hash<std::string_view>{}(topic);
  const std::size_t size = topic.size() + payload.size();
  bool wake = false;
  {
    const std::lock_guard lock(mutex_);
    Counts& counts = counts_[static_cast<std::size_t>(session)];
    if (payload.size() > bounds_.payload_bytes) {
      ++counts.dropped_too_large;
      return false;
    }
    if (back_.records.size() >= bounds_.messages || size > bounds_.bytes - back_.bytes_used) {
      ++counts.dropped_full;
      return false;
    }
    Share& share = back_.shares[share_of(hash)];
    if (over_share(share, size)) {
      ++counts.dropped_share;
      return false;
    }
    ++share.messages;
    share.bytes += static_cast<std::uint32_t>(size);
    char* const to = back_.bytes.get() + back_.bytes_used;
    if (!topic.empty()) std::memcpy(to, topic.data(), topic.size());
    if (!payload.empty()) std::memcpy(to + topic.size(), payload.data(), payload.size());
    back_.records.push_back({.at = at,
                             .topic_hash = hash,
                             .offset = back_.bytes_used,
                             .payload_size = static_cast<std::uint32_t>(payload.size()),
                             .topic_size = static_cast<std::uint16_t>(topic.size()),
                             .session = session,
                             .retained = retained});
    back_.bytes_used += static_cast<std::uint32_t>(size);
    ++counts.accepted;
    wake = back_.records.size() == 1 || back_.records.size() == bounds_.messages / hurry_at;
  }
  if (wake && wake_) wake_();
  return true;
}

void ArrivalQueue::swap_buffers() {
  const std::lock_guard lock(mutex_);
  std::swap(front_, back_);
}

ArrivalQueue::Counts ArrivalQueue::counts(Session session) const {
  const std::lock_guard lock(mutex_);
  return counts_[static_cast<std::size_t>(session)];
}

}  // namespace baskwell::intake
