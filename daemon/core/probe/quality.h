#pragma once
// What a reading is worth. Only `good` readings are judged against bands and refresh a probe's last-heard
// time; all are stored. Pure.

#include <cstdint>
#include <string_view>

namespace baskwell {

enum class Quality : std::uint8_t {
  good = 0,
  not_finite,          // NaN, infinity, null
  outside_instrument,  // more than the instrument can measure
  outside_medium,      // more than this medium can be
  fault_code,          // power-on 85.0 or disconnect -127 of a digital bus probe
  jump,                // faster than this medium can change
  duplicate,           // the same own time and value again
  out_of_order,        // older than one already judged
  from_future,         // own time ahead of ours
  no_time,             // out of a queue, without a time of its own
  retained,            // kept by the broker, age unknown
  unplaced,            // the channel has no placement now
};
inline constexpr int quality_count = 12;
[[nodiscard]] std::string_view name_of(Quality quality);

}  // namespace baskwell
