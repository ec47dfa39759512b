#include "naive_alarms.h"

#include "core/moment.h"

namespace baskwell::replay_test {

std::vector<std::string> naive_alarms(const std::vector<Sample>& samples, const NaiveRule& rule) {
  std::vector<std::string> lines;
  bool active = false;
  std::int64_t since = -1;  // of the run of readings that lead out of the present state; -1: none
  int count = 0;
  const auto change = [&](std::int64_t at) {
    active = !active;
    since = -1;
    count = 0;
    lines.push_back(rfc3339(UtcMs{at}) + " " + rule.kind +
                    (active ? " unacknowledged" : " returned-unacknowledged"));
  };
  for (const Sample& sample : samples) {
    const std::int64_t delay_ms = active ? rule.off_delay_ms : rule.on_delay_ms;
    // A delay that ended before this reading ended then; a first reading out needs a second one.
    if (since >= 0 && sample.utc_ms >= since + delay_ms && (active || count >= 2)) change(since + delay_ms);
    const double excess = rule.high ? sample.value - rule.limit : rule.limit - sample.value;
    const bool leads_out = active ? excess <= -rule.deadband : excess > 0;
    if (!leads_out) {
      since = -1;
      count = 0;
      continue;
    }
    if (since < 0) since = sample.utc_ms;
    ++count;
    if (!active && count == 2 && sample.utc_ms >= since + rule.on_delay_ms) change(sample.utc_ms);
  }
  return lines;
}

}  // namespace baskwell::replay_test
