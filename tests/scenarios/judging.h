#pragma once
// Holding what was said against what was true, after an episode has run. Pure; any thread.

#include <vector>

#include "scenarios/episode.h"

namespace baskwell::scenarios {

// A plain band alarm or a naive one.
struct SimpleAlarm {
  std::int64_t at_ms = 0;
  int unit = -1;
  AlarmKind kind = AlarmKind::too_cold;
};

struct Said {
  std::vector<SaidAlarm> heat;
  std::vector<SimpleAlarm> band;
  std::vector<SimpleAlarm> naive;
  std::vector<double> room_hourly_degc;  // the room's true air, from the start
};

// How long after a fault's end its recovery may still be spoken of; after an outage, of too little heat.
inline constexpr std::int64_t kRecovery_ms = 24 * hour_ms;
inline constexpr std::int64_t kOutageRecovery_ms = 6 * hour_ms;

void judge_said(const DrawnRoom& drawn, const Plan& plan, const Said& said, std::int64_t end_ms,
                EpisodeResult& result);

}  // namespace baskwell::scenarios
