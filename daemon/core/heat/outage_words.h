#pragma once
// An outage in words: a line, the check with a line for each enclosure, the message. Times are local to the
// room. Pure; safe from any thread; locale-free.

#include <string>

#include "core/heat/outage_record.h"
#include "core/room.h"

namespace baskwell {

// "Mains power", "Shelf circuit", "the room's heating"; with "or ..." where it cannot be told apart.
[[nodiscard]] std::string outage_kind_words(const OutageRecord& outage, const Room& room);
// "O12  24 Nov 10:02 to 10:41 (39 min)  mains power; look at Table 1". `now`: where it goes on.
[[nodiscard]] std::string outage_line(const OutageRecord& outage, const Room& room, UtcMs now);
// Several lines: what, when, why it is thought so, then each enclosure: pass or what to look at.
[[nodiscard]] std::string outage_check(const OutageRecord& outage, const Room& room, UtcMs now);

struct OutageMessage {
  std::string headline;
  std::string body;
  std::string json;
};
[[nodiscard]] OutageMessage outage_message(const OutageRecord& outage, const Room& room, UtcMs now);
// RFC 8259, one object; null for what is not known.
[[nodiscard]] std::string outage_json(const OutageRecord& outage, const Room& room);

}  // namespace baskwell
