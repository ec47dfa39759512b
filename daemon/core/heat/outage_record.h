#pragma once
// What is known of one outage: a time when mains power, one circuit, the room's heating, the network, the
// broker or this service's own machine was away, and the check of every enclosure afterwards. UTC ms, degC,
// K, minutes; NaN: not known. Plain values.

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/time.h"

namespace baskwell {

enum class OutageKind : std::uint8_t { mains, circuit, room_heating, network, broker, service };
inline constexpr int outage_kind_count = 6;
[[nodiscard]] std::string_view name_of(OutageKind kind);  // "room-heating"
[[nodiscard]] std::optional<OutageKind> outage_kind_from(std::string_view name);

// open: it goes on. ended: it is over, enclosures are still coming back. settled: the check can be read.
// closed: lights and night drop have been watched for a day; nothing more is added.
enum class OutageStage : std::uint8_t { open, ended, settled, closed };
inline constexpr int outage_stage_count = 4;
[[nodiscard]] std::string_view name_of(OutageStage stage);
[[nodiscard]] std::optional<OutageStage> outage_stage_from(std::string_view name);

// The check of one enclosure.
struct OutageLine {
  static constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
  std::string enclosure;         // id
  bool judged = false;           // its normal course is known
  bool fell = false;             // below all that is normal for it
  double lowest_degc = unknown;  // since the outage began
  double fell_k = unknown;       // furthest below what its course expected
  std::optional<UtcMs> back_at;  // in its normal range again
  double took_min = unknown;     // from the outage's end to back_at
  double usual_min = unknown;    // what its usual warm-up would take for as much
  double shift_k = unknown;      // kept in the hours after less kept before
  double lights_late_min = unknown;
  double drop_late_min = unknown;  // of its night drop or its morning rise
  bool look = false;               // a person should look at it
  std::string words;               // the line for people, without the enclosure's name
};

struct OutageRecord {
  std::string id;  // "O12"
  OutageKind kind = OutageKind::mains;
  std::optional<OutageKind> other;  // a second explanation that the evidence cannot tell apart
  std::string circuit;              // of kind circuit: its id; several joined by '+'; "": not in the settings
  OutageStage stage = OutageStage::open;
  UtcMs from;
  std::optional<UtcMs> to;
  std::int64_t from_within_ms = 0;  // `from` is right within as much either way, as far as can be told
  std::int64_t to_within_ms = 0;
  double confidence = 0;  // in `kind` (or `other`), 0 to 1
  std::string evidence;   // in words, one line
  std::vector<OutageLine> lines;
  [[nodiscard]] bool needs_look() const {
    for (const OutageLine& line : lines) {
      if (line.look) return true;
    }
    return false;
  }
};

}  // namespace baskwell
