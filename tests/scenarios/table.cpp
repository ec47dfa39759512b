#include "scenarios/table.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "scenarios/statistics.h"
#include "scenarios/table_words.h"

namespace baskwell::scenarios {
namespace {

using Faults = std::vector<const FaultResult*>;

Faults counted(const std::vector<EpisodeResult>& results,
               const std::function<bool(const FaultResult&)>& wanted) {
  Faults faults;
  for (const EpisodeResult& result : results) {
    for (const FaultResult& one : result.faults) {
      if (one.counts && wanted(one)) faults.push_back(&one);
    }
  }
  return faults;
}

Faults of_kind(const std::vector<EpisodeResult>& results, AlarmKind kind) {
  return counted(results, [kind](const FaultResult& one) { return one.planned.kind == kind; });
}

double hours_between(std::int64_t from_ms, std::int64_t to_ms) {
  return static_cast<double>(to_ms - from_ms) / static_cast<double>(hour_ms);
}

std::string share(const Faults& faults, const std::function<bool(const FaultResult&)>& hit) {
  std::int64_t hits = 0;
  for (const FaultResult* one : faults) hits += hit(*one) ? 1 : 0;
  return share_text(hits, static_cast<std::int64_t>(faults.size()));
}

std::string delay(const Faults& faults, const std::function<double(const FaultResult&)>& hours) {
  std::vector<double> all;
  for (const FaultResult* one : faults) {
    const double value = hours(*one);
    if (!std::isnan(value)) all.push_back(value);
  }
  if (all.empty()) return "-";
  const double median = quantile(all, 0.5);
  return hours_text(median) + " / " + hours_text(quantile(all, 0.95));
}

double from_start_h(const FaultResult& one) {
  return one.found_ms < 0 ? std::nan("") : hours_between(one.planned.start_ms, one.found_ms);
}

double from_onset_h(const FaultResult& one) {
  return one.found_ms < 0 ? std::nan("") : std::max(0.0, hours_between(one.onset_ms, one.found_ms));
}

bool found(const FaultResult& one) {
  return one.found_ms >= 0;
}

Faults only_found(const Faults& faults) {
  Faults some;
  std::copy_if(faults.begin(), faults.end(), std::back_inserter(some),
               [](const FaultResult* one) { return found(*one); });
  return some;
}

// Found ones of which a lead can be told.
Faults with_lead(const Faults& faults) {
  Faults some;
  for (const FaultResult* one : faults) {
    if (found(*one) && !one->band_at_start) some.push_back(one);
  }
  return some;
}

bool before_band(const FaultResult& one) {
  return one.band_ms < 0 || one.found_ms < one.band_ms;
}

// Median of our time over median of the plain band alarm's, where both came.
std::string lead_ratio(const Faults& faults) {
  std::vector<double> ours;
  std::vector<double> bands;
  for (const FaultResult* one : with_lead(faults)) {
    if (one->band_ms < 0) continue;
    ours.push_back(hours_between(one->planned.start_ms, one->found_ms));
    bands.push_back(hours_between(one->planned.start_ms, one->band_ms));
  }
  if (ours.size() < 3) return "-";
  return number_text(quantile(ours, 0.5) / std::max(1e-9, quantile(bands, 0.5)), 2) + " (" +
         std::to_string(ours.size()) + ")";
}

std::string fault_table(const std::vector<EpisodeResult>& results) {
  std::string text =
      "| fault | n | found, 95 % interval | from fault: median / 95 % | from first effect | before plain "
      "band | "
      "time against band's | named at first | named in the end | pairs | naive: found | naive: median / 95 % "
      "| "
      "band: found |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|\n";
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    if (!is_heating_kind(row.kind)) continue;
    const Faults faults = of_kind(results, row.kind);
    if (faults.empty()) continue;
    const Faults seen = only_found(faults);
    text +=
        "| " + std::string(row.name) + " | " + std::to_string(faults.size()) + " | " + share(faults, found) +
        " | " + delay(seen, from_start_h) + " | " + delay(seen, from_onset_h) + " | " +
        share(with_lead(faults), before_band) + " | " + lead_ratio(faults) + " | " +
        share(seen, [](const FaultResult& one) { return one.named_first; }) + " | " +
        share(seen, [](const FaultResult& one) { return one.named_ever; }) + " | " +
        share(seen, [](const FaultResult& one) { return one.found_other.has_value(); }) + " | " +
        share(faults, [](const FaultResult& one) { return one.naive_ms >= 0; }) + " | " +
        delay(faults,
              [](const FaultResult& one) {
                return one.naive_ms < 0 ? std::nan("") : hours_between(one.planned.start_ms, one.naive_ms);
              }) +
        " | " + share(faults, [](const FaultResult& one) { return one.band_ms >= 0; }) + " |\n";
  }
  return text;
}

bool one_of_three(const FaultResult& one) {
  return one.planned.kind == AlarmKind::not_heating || one.planned.kind == AlarmKind::heating_stuck_on ||
         one.planned.kind == AlarmKind::thermostat_probe_moved;
}

std::string lead_table(const std::vector<EpisodeResult>& results) {
  std::string text =
      "| fault | class | n | found | before plain band | time against band's (both came) "
      "|\n|---|---|---|---|---|---|\n";
  for (const AlarmKind kind :
       {AlarmKind::not_heating, AlarmKind::heating_stuck_on, AlarmKind::thermostat_probe_moved}) {
    for (int i = 0; i < kHeaterClasses; ++i) {
      const auto heater_class = static_cast<HeaterClass>(i);
      const Faults faults = counted(results, [&](const FaultResult& one) {
        return one.planned.kind == kind && one.heater_class == heater_class;
      });
      if (faults.empty()) continue;
      text += "| " + std::string(row_of(kind).name) + " | " + name(heater_class) + " | " +
              std::to_string(faults.size()) + " | " + share(faults, found) + " | " +
              share(with_lead(faults), before_band) + " | " + lead_ratio(faults) + " |\n";
    }
  }
  return text;
}

// The issue's own lines.
std::string figures(const std::vector<EpisodeResult>& results) {
  std::string text = "| figure | wanted | n | reached |\n|---|---|---|---|\n";
  const auto line = [&text](const std::string& what, const std::string& wanted, const Faults& faults,
                            const std::function<bool(const FaultResult&)>& hit) {
    text += "| " + what + " | " + wanted + " | " + std::to_string(faults.size()) + " | " +
            share(faults, hit) + " |\n";
  };
  const Faults three = counted(results, one_of_three);
  line("not-heating, heating-stuck-on, thermostat-probe-moved: found", "99 %", three, found);
  line("of these before the plain band alarm", "95 %", with_lead(three), before_band);
  const Faults resets = counted(results, [](const FaultResult& one) {
    return one.planned.kind == AlarmKind::thermostat_reset && std::abs(one.size_k) >= 1.5;
  });
  line("thermostat-reset of 1.5 or more, within 6 h of the fault", "98 %", resets,
       [](const FaultResult& one) { return found(one) && from_start_h(one) <= 6.0; });
  line("the same, within 6 h of its first effect", "98 %", resets,
       [](const FaultResult& one) { return found(one) && from_onset_h(one) <= 6.0; });
  line("thermostat-drift found before 1.0 degC", "95 %", of_kind(results, AlarmKind::thermostat_drift),
       [](const FaultResult& one) {
         return found(one) && from_start_h(one) / 24.0 * std::abs(one.size_k) < 1.0;
       });
  line("heating-weak found", "95 %", of_kind(results, AlarmKind::heating_weak), found);
  line("probe-moved of 1.5 or more found", "95 %",
       counted(results,
               [](const FaultResult& one) {
                 return one.planned.kind == AlarmKind::probe_moved && one.size_k >= 1.5;
               }),
       found);
  const Faults all = only_found(counted(results, [](const FaultResult&) { return true; }));
  line("named rightly at first, of those found", "95 %", all,
       [](const FaultResult& one) { return one.named_first; });
  line("two kinds named, of those found", "at most 20 %", all,
       [](const FaultResult& one) { return one.found_other.has_value(); });
  return text;
}

std::string false_table(const std::vector<EpisodeResult>& results) {
  std::string text =
      "| where | enclosure-years | high | medium | low | any | naive | plain band alarms "
      "|\n|---|---|---|---|---|---|---|---|\n";
  for (const bool healthy : {true, false}) {
    double years = 0;
    std::array<std::int64_t, 3> by_priority{};
    std::int64_t naive = 0;
    std::int64_t band = 0;
    for (const EpisodeResult& result : results) {
      if (result.healthy != healthy) continue;
      years += healthy ? result.watched_years : result.watched_free_years;
      for (const FalseAlarm& one : result.false_alarms)
        ++by_priority[static_cast<std::size_t>(one.said.priority)];
      naive += result.naive_false;
      band += result.band_alarms_free;
    }
    if (years <= 0) continue;
    text += std::string("| ") + (healthy ? "healthy rooms" : "healthy time of faulty rooms") + " | " +
            number_text(years, 1) + " | " + rate_text(by_priority[2], years) + " | " +
            rate_text(by_priority[1], years) + " | " + rate_text(by_priority[0], years) + " | " +
            rate_text(by_priority[0] + by_priority[1] + by_priority[2], years) + " | " +
            number_text(static_cast<double>(naive) / years, 1) + " | " +
            number_text(static_cast<double>(band) / years, 1) + " |\n";
  }
  return text;
}

std::string false_kinds(const std::vector<EpisodeResult>& results) {
  std::map<std::string, std::array<std::int64_t, 2>> by_kind;
  for (const EpisodeResult& result : results) {
    for (const FalseAlarm& one : result.false_alarms) {
      const std::string where = one.heater_class ? name(*one.heater_class) : "room";
      ++by_kind[std::string(row_of(one.said.kind).name) + " | " + where][result.healthy ? 0 : 1];
    }
  }
  if (by_kind.empty()) return "None.\n";
  std::string text = "| kind | class | in healthy rooms | in faulty rooms |\n|---|---|---|---|\n";
  for (const auto& [what, count] : by_kind) {
    text += "| " + what + " | " + std::to_string(count[0]) + " | " + std::to_string(count[1]) + " |\n";
  }
  return text;
}

std::string confusion(const std::vector<EpisodeResult>& results) {
  std::vector<AlarmKind> kinds;
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    if (is_heating_kind(row.kind)) kinds.push_back(row.kind);
  }
  std::string text = "| truth, said first: |";
  std::string rule = "|---|";
  for (const AlarmKind kind : kinds) {
    text += " " + std::string(row_of(kind).name) + " |";
    rule += "---|";
  }
  text += " nothing |\n" + rule + "---|\n";
  for (const AlarmKind truth : kinds) {
    const Faults faults = of_kind(results, truth);
    if (faults.empty()) continue;
    text += "| " + std::string(row_of(truth).name) + " |";
    for (const AlarmKind said : kinds) {
      const auto count = std::count_if(faults.begin(), faults.end(), [said](const FaultResult* one) {
        return found(*one) && one->found_as == said;
      });
      text += count == 0 ? " |" : " " + std::to_string(count) + " |";
    }
    const auto missed =
        std::count_if(faults.begin(), faults.end(), [](const FaultResult* one) { return !found(*one); });
    text += " " + std::to_string(missed) + " |\n";
  }
  return text;
}

}  // namespace

std::string whole_table(const TableHead& head, const std::vector<EpisodeResult>& results) {
  double healthy_years = 0;
  double faulty_years = 0;
  double simulator_s = 0;
  double engine_s = 0;
  std::int64_t readings = 0;
  std::int64_t without_effect = 0;
  std::int64_t all_faults = 0;
  std::int64_t unknown = 0;
  std::int64_t room_true = 0;
  for (const EpisodeResult& one : results) {
    (one.healthy ? healthy_years : faulty_years) += one.enclosure_years;
    simulator_s += one.simulator_s;
    engine_s += one.engine_s;
    readings += one.readings;
    unknown += one.unknown_subjects;
    room_true += one.room_alarms_true;
    all_faults += static_cast<std::int64_t>(one.faults.size());
    for (const FaultResult& fault : one.faults) without_effect += fault.counts ? 0 : 1;
  }
  const double years = std::max(1e-9, healthy_years + faulty_years);
  std::string text =
      "# Figures of heating diagnosis\n\nMade by `" + head.command +
      "`, as described in tests/scenarios/README.md.\n\nSeeds: " + head.seeds + "; readings every " +
      head.interval + "; " + std::to_string(results.size()) + " rooms of " + std::to_string(head.days) +
      " days; " + number_text(faulty_years, 1) + " enclosure-years with faults, " +
      number_text(healthy_years, 1) + " healthy (the first " + std::to_string(kLearning_days) +
      " days of each room are not counted as watched); " + std::to_string(all_faults) + " faults, " +
      std::to_string(without_effect) + " of them without enough effect to count.\n";
  text += "\n## Figures to reach\n\n" + figures(results);
  text += "\n## Per fault\n\nTimes in hours. Found, in brackets: 95 % Wilson interval.\n\n" +
          fault_table(results);
  text += "\n## Lead per class of enclosure\n\n" + lead_table(results);
  text += "\n## False alarms per enclosure-year\n\nIn brackets: 95 % Poisson interval.\n\n" +
          false_table(results) + "\n" + false_kinds(results) +
          "\nRoom alarms while the room's air was really out of its ways, nobody's fault: " +
          std::to_string(room_true) +
          ". Alarms on subjects that the evaluation does not know: " + std::to_string(unknown) + ".\n";
  text += "\n## What was said first\n\n" + confusion(results);
  text += "\n## Cost\n\nCPU s an enclosure-year: simulator with twin " + number_text(simulator_s / years, 2) +
          ", engine with the detectors beside it " + number_text(engine_s / years, 2) + "; " +
          number_text(static_cast<double>(readings) / std::max(1e-9, engine_s) / 1000.0, 0) +
          " thousand readings a CPU second.\n";
  return text;
}

}  // namespace baskwell::scenarios
