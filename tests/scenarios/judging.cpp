#include "scenarios/judging.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "scenarios/statistics.h"

namespace baskwell::scenarios {
namespace {

bool names(const SaidAlarm& said, AlarmKind kind) {
  return said.kind == kind || said.other == kind;
}

bool of_room(AlarmKind kind) {
  return kind == AlarmKind::room_cold || kind == AlarmKind::room_hot;
}

// Is the alarm about the thing that has the fault?
bool about(const SaidAlarm& said, const FaultResult& fault) {
  return said.unit == fault.planned.unit;
}

bool within(std::int64_t at_ms, std::int64_t from_ms, std::int64_t to_ms) {
  return from_ms <= at_ms && at_ms <= to_ms;
}

bool outage_touches(const DrawnRoom& drawn, const PlannedOutage& outage, int unit) {
  const int circuit =
      unit < 0
          ? drawn.sim.air.circuit
          : drawn.sim.heaters[static_cast<std::size_t>(drawn.units[static_cast<std::size_t>(unit)].heater)]
                .circuit;
  return outage.circuit == -1 || outage.circuit == circuit || outage.circuit == drawn.sim.air.circuit;
}

bool explained_by_outage(const DrawnRoom& drawn, const Plan& plan, const SaidAlarm& said) {
  const bool too_little = said.kind == AlarmKind::not_heating || said.kind == AlarmKind::heating_weak ||
                          said.kind == AlarmKind::room_cold || said.kind == AlarmKind::high_cutout_open;
  return too_little &&
         std::any_of(plan.outages.begin(), plan.outages.end(), [&](const PlannedOutage& outage) {
           return outage_touches(drawn, outage, said.unit) &&
                  within(said.at_ms, outage.start_ms, outage.end_ms + kOutageRecovery_ms);
         });
}

// The room's own air is far from its ways of the week before, or from what any room should be.
bool room_really_is(const Said& said, std::int64_t start_ms, const SaidAlarm& alarm) {
  const auto hour = static_cast<std::size_t>(std::max<std::int64_t>(0, (alarm.at_ms - start_ms) / hour_ms));
  if (hour < 24 || hour >= said.room_hourly_degc.size()) return false;
  const std::size_t from = hour > 168 ? hour - 168 : 0;
  std::vector<double> week(said.room_hourly_degc.begin() + static_cast<std::ptrdiff_t>(from),
                           said.room_hourly_degc.begin() + static_cast<std::ptrdiff_t>(hour));
  const double usual = quantile(week, 0.5);
  const double now = said.room_hourly_degc[hour];
  constexpr double kUnusual_k = 2.0;
  return alarm.kind == AlarmKind::room_cold ? now < usual - kUnusual_k || now < 14.0
                                            : now > usual + kUnusual_k || now > 27.0;
}

bool explained(const EpisodeResult& result, const SaidAlarm& said) {
  return std::any_of(result.faults.begin(), result.faults.end(), [&](const FaultResult& fault) {
    const bool touches = about(said, fault) || fault.planned.unit < 0;
    return touches && within(said.at_ms, fault.planned.start_ms, fault.planned.end_ms + kRecovery_ms);
  });
}

// Other true faults of the same thing at that moment: naming one of them is right as well.
bool names_a_truth(const EpisodeResult& result, const SaidAlarm& said) {
  return std::any_of(result.faults.begin(), result.faults.end(), [&](const FaultResult& fault) {
    return about(said, fault) && within(said.at_ms, fault.planned.start_ms, fault.planned.end_ms) &&
           names(said, fault.planned.kind);
  });
}

void judge_fault(const Said& said, const EpisodeResult& result, FaultResult& fault) {
  const std::int64_t from_ms = fault.planned.start_ms;
  constexpr std::int64_t kLate_ms = 10 * minute_ms;  // an alarm whose delay ends just after the mending
  const std::int64_t to_ms = fault.planned.end_ms + kLate_ms;
  for (const SaidAlarm& one : said.heat) {
    if (!about(one, fault) || !within(one.at_ms, from_ms, to_ms)) continue;
    if (fault.planned.unit < 0 && !of_room(one.kind)) continue;
    const bool right = names_a_truth(result, one);
    if (fault.found_ms < 0) {
      fault.found_ms = one.at_ms;
      fault.found_as = one.kind;
      fault.found_other = one.other;
      fault.priority = one.priority;
      fault.named_first = right;
      fault.why = one.why;
    }
    fault.named_ever |= right;
  }
  for (const SimpleAlarm& one : said.band) {
    const bool its = one.unit == fault.planned.unit || fault.planned.unit < 0;
    if (its && fault.band_ms < 0 && within(one.at_ms, from_ms, to_ms)) fault.band_ms = one.at_ms;
  }
  for (const SimpleAlarm& one : said.naive) {
    const bool its = one.unit == fault.planned.unit || fault.planned.unit < 0;
    if (its && fault.naive_ms < 0 && within(one.at_ms, from_ms, to_ms)) {
      fault.naive_ms = one.at_ms;
      fault.naive_as = one.kind;
    }
  }
}

std::string going_on(const DrawnRoom& drawn, const Plan& plan, const SaidAlarm& said) {
  std::string text;
  constexpr std::int64_t kBefore_ms = 6 * hour_ms;
  const auto add = [&](std::int64_t at_ms, const std::string& what) {
    if (!text.empty()) text += ", ";
    text += what + " " + std::to_string((said.at_ms - at_ms) / minute_ms) + " min before";
  };
  for (const PlannedEvent& one : plan.events) {
    const bool turned = one.command.kind == demoroom::FaultKind::thermostat_set;
    const std::int64_t before_ms = turned ? 72 * hour_ms : kBefore_ms;
    if (one.unit != said.unit || !within(said.at_ms, one.at_ms, one.at_ms + before_ms)) continue;
    if (one.command.kind == demoroom::FaultKind::probe_bad_value) continue;
    add(one.at_ms, demoroom::fault_row(one.command.kind).name);
  }
  for (const Gap& one : plan.gaps) {
    if (within(said.at_ms, one.from_ms, one.to_ms + kBefore_ms)) add(one.from_ms, "gap");
  }
  for (const PlannedOutage& one : plan.outages) {
    if (within(said.at_ms, one.start_ms, one.end_ms + 48 * hour_ms)) add(one.start_ms, "outage");
  }
  for (const PlannedFault& one : plan.faults) {
    if (within(said.at_ms, one.start_ms, one.end_ms + 4 * day_ms) &&
        (one.unit == said.unit || one.unit < 0)) {
      add(one.end_ms, std::string(row_of(one.kind).name) + " ended");
    }
  }
  if (said.unit >= 0) {
    const auto& unit = drawn.units[static_cast<std::size_t>(said.unit)];
    const auto& thermostat = drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    const std::int64_t local_s = demoroom::day_second(said.at_ms / 1000 + drawn.local_offset_s);
    const std::int64_t since_day_min = (local_s - thermostat.day_from_s) / 60;
    const std::int64_t since_night_min = (local_s - thermostat.day_to_s) / 60;
    if (!text.empty()) text += ", ";
    text +=
        "day+" + std::to_string(since_day_min) + " min, night+" + std::to_string(since_night_min) + " min";
  }
  return text;
}

// Unit-years watched, and of these the share without a fault or its recovery, by minutes of ten.
void count_time(const DrawnRoom& drawn, const Plan& plan, std::int64_t end_ms, EpisodeResult& result) {
  const std::int64_t from_ms = drawn.start_ms + kLearning_days * day_ms;
  constexpr double kYear_ms = 365.25 * static_cast<double>(day_ms);
  constexpr std::int64_t kEvery_ms = 10 * minute_ms;
  std::int64_t all = 0;
  std::int64_t free = 0;
  for (std::int64_t at_ms = from_ms; at_ms < end_ms; at_ms += kEvery_ms) {
    for (std::size_t i = 0; i < drawn.units.size(); ++i) {
      const int unit = static_cast<int>(i);
      const auto probed = static_cast<std::int64_t>(drawn.units[i].hot_probes.size());
      all += probed;
      const bool faulty =
          std::any_of(result.faults.begin(), result.faults.end(),
                      [&](const FaultResult& one) {
                        return (one.planned.unit == unit || one.planned.unit < 0) &&
                               within(at_ms, one.planned.start_ms, one.planned.end_ms + kRecovery_ms);
                      }) ||
          std::any_of(plan.outages.begin(), plan.outages.end(), [&](const PlannedOutage& one) {
            return outage_touches(drawn, one, unit) &&
                   within(at_ms, one.start_ms, one.end_ms + kOutageRecovery_ms);
          });
      if (!faulty) free += probed;
    }
  }
  result.watched_years = static_cast<double>(all * kEvery_ms) / kYear_ms;
  result.watched_free_years = static_cast<double>(free * kEvery_ms) / kYear_ms;
  result.enclosure_years =
      static_cast<double>(result.enclosures) * static_cast<double>(end_ms - drawn.start_ms) / kYear_ms;
}

std::int64_t count_unexplained(const DrawnRoom& drawn, const Plan& plan, const EpisodeResult& result,
                               const std::vector<SimpleAlarm>& alarms, std::int64_t from_ms) {
  return std::count_if(alarms.begin(), alarms.end(), [&](const SimpleAlarm& one) {
    if (one.at_ms < from_ms) return false;
    const bool outage = std::any_of(plan.outages.begin(), plan.outages.end(), [&](const PlannedOutage& cut) {
      return outage_touches(drawn, cut, one.unit) &&
             within(one.at_ms, cut.start_ms, cut.end_ms + kOutageRecovery_ms);
    });
    SaidAlarm as_said;
    as_said.at_ms = one.at_ms;
    as_said.unit = one.unit;
    return !outage && !explained(result, as_said);
  });
}

}  // namespace

void judge_said(const DrawnRoom& drawn, const Plan& plan, const Said& said, std::int64_t end_ms,
                EpisodeResult& result) {
  for (FaultResult& fault : result.faults) judge_fault(said, result, fault);
  for (const SaidAlarm& one : said.heat) {
    if (one.unit == -2) {
      ++result.unknown_subjects;
      continue;
    }
    if (explained(result, one) || explained_by_outage(drawn, plan, one)) continue;
    if (of_room(one.kind) && room_really_is(said, drawn.start_ms, one)) {
      ++result.room_alarms_true;
      continue;
    }
    FalseAlarm wrong{one, {}, going_on(drawn, plan, one)};
    if (one.unit >= 0) wrong.heater_class = drawn.units[static_cast<std::size_t>(one.unit)].heater_class;
    result.false_alarms.push_back(std::move(wrong));
  }
  const std::int64_t from_ms = drawn.start_ms + kLearning_days * day_ms;
  result.band_alarms_free = count_unexplained(drawn, plan, result, said.band, from_ms);
  result.naive_false = count_unexplained(drawn, plan, result, said.naive, from_ms);
  count_time(drawn, plan, end_ms, result);
}

}  // namespace baskwell::scenarios
