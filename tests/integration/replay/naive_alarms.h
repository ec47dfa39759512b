#pragma once
// Band alarms of one series, worked out anew from what docs/alarm-kinds.md says and from nothing of core:
// raised when every reading was beyond the limit for the whole on-delay and there were two at least; over
// when every reading was back inside by the deadband for the whole off-delay. Nobody acknowledges.

#include <cstdint>
#include <string>
#include <vector>

namespace baskwell::replay_test {

struct Sample {
  std::int64_t utc_ms;
  double value;
};
struct NaiveRule {
  std::string kind;
  bool high;  // beyond is above the limit
  double limit;
  double deadband;
  std::int64_t on_delay_ms;
  std::int64_t off_delay_ms;
};

// "TIME KIND STATE", in order.
[[nodiscard]] std::vector<std::string> naive_alarms(const std::vector<Sample>& samples,
                                                    const NaiveRule& rule);

}  // namespace baskwell::replay_test
