#include "scenarios/table_words.h"

#include <cstdio>

#include "demoroom/time_text.h"
#include "scenarios/statistics.h"
#include "scenarios/table.h"

namespace baskwell::scenarios {
namespace {

std::string kinds_text(AlarmKind kind, const std::optional<AlarmKind>& other) {
  std::string text(row_of(kind).name);
  if (other) text += "|" + std::string(row_of(*other).name);
  return text;
}

std::string of_class(const std::optional<HeaterClass>& heater_class) {
  return heater_class ? name(*heater_class) : "room";
}

// A field of a file of commas.
std::string quoted(const std::string& text) {
  std::string out = "\"";
  for (const char letter : text) {
    out += letter;
    if (letter == '"') out += '"';
  }
  return out + "\"";
}

std::string after_text(std::int64_t from_ms, std::int64_t to_ms) {
  return to_ms < 0 ? "never" : hours_text(static_cast<double>(to_ms - from_ms) / 3.6e6) + " h";
}

}  // namespace

std::string number_text(double value, int decimals) {
  char text[40];
  std::snprintf(text, sizeof text, "%.*f", decimals, value);
  return text;
}

std::string share_text(std::int64_t hits, std::int64_t n) {
  if (n == 0) return "-";
  const Interval interval = wilson(hits, n);
  return number_text(100.0 * static_cast<double>(hits) / static_cast<double>(n), 1) + " % (" +
         number_text(100.0 * interval.low, 1) + "-" + number_text(100.0 * interval.high, 1) + ")";
}

std::string rate_text(std::int64_t count, double exposure) {
  if (exposure <= 0) return "-";
  const Interval interval = poisson_rate(count, exposure);
  return number_text(static_cast<double>(count) / exposure, 3) + " (" + number_text(interval.low, 3) + "-" +
         number_text(interval.high, 3) + ")";
}

std::string hours_text(double hours) {
  return number_text(hours, hours < 10.0 ? 2 : 1);
}

std::string minute_text(std::int64_t utc_ms) {
  std::string text = demoroom::rfc3339_ms(utc_ms).substr(0, 16);
  text[10] = ' ';
  return text;
}

std::string csv_lines(const std::vector<EpisodeResult>& results) {
  std::string text =
      "what,seed,healthy,class,truth,size_k,effect_k,counts,start,end,onset_h,found_h,said,other,priority,"
      "named_first,"
      "band_h,naive_h,why\n";
  const auto hours = [](std::int64_t from_ms, std::int64_t to_ms) {
    return to_ms < 0 ? std::string() : number_text(static_cast<double>(to_ms - from_ms) / 3.6e6, 3);
  };
  for (const EpisodeResult& result : results) {
    const std::string head = std::to_string(result.seed) + (result.healthy ? ",1," : ",0,");
    for (const FaultResult& one : result.faults) {
      const std::int64_t start_ms = one.planned.start_ms;
      text += "fault," + head + of_class(one.heater_class) + "," +
              std::string(row_of(one.planned.kind).name) + "," + number_text(one.size_k, 3) + "," +
              number_text(one.effect_k, 2) + "," + (one.counts ? "1," : "0,") + minute_text(start_ms) + "," +
              minute_text(one.planned.end_ms) + "," + hours(start_ms, one.onset_ms) + "," +
              hours(start_ms, one.found_ms) + ",";
      if (one.found_ms >= 0) {
        text += std::string(row_of(one.found_as).name) + "," +
                (one.found_other ? std::string(row_of(*one.found_other).name) : "") + "," +
                std::string(name_of(one.priority)) + "," + (one.named_first ? "1," : "0,");
      } else {
        text += ",,,,";
      }
      text +=
          hours(start_ms, one.band_ms) + "," + hours(start_ms, one.naive_ms) + "," + quoted(one.why) + "\n";
    }
    for (const FalseAlarm& one : result.false_alarms) {
      text += "false," + head + of_class(one.heater_class) + ",,,,," + minute_text(one.said.at_ms) + ",,,," +
              std::string(row_of(one.said.kind).name) + "," +
              (one.said.other ? std::string(row_of(*one.said.other).name) : "") + "," +
              std::string(name_of(one.said.priority)) + ",,,," +
              quoted(one.said.why + " [" + one.going_on + "]") + "\n";
    }
  }
  return text;
}

std::string verbose_lines(const EpisodeResult& result) {
  std::string text = "seed " + std::to_string(result.seed) + (result.healthy ? " healthy" : " faulty") +
                     ": " + result.room_text + "\n";
  for (const FaultResult& one : result.faults) {
    const std::int64_t start_ms = one.planned.start_ms;
    const bool late = one.found_ms >= 0 && !one.named_first;
    text += std::string(one.counts ? (one.found_ms < 0 ? "  MISSED "
                                      : late           ? "  MISNAMED "
                                                       : "  found ")
                                   : "  no effect ") +
            std::string(row_of(one.planned.kind).name) +
            (one.after_outage ? " (clock after an outage)" : "") + " on " + one.planned.target + " (" +
            of_class(one.heater_class) + ") " + demoroom::fault_row(one.planned.sim).name + " " +
            number_text(one.planned.value, 2) + ", size " + number_text(one.size_k, 2) + " K, " +
            minute_text(start_ms) + " for " + after_text(start_ms, one.planned.end_ms) + ", effect after " +
            after_text(start_ms, one.onset_ms) + " up to " + number_text(one.effect_k, 1) + " K, ";
    if (one.found_ms >= 0) {
      text += "said " + kinds_text(one.found_as, one.found_other) + " after " +
              after_text(start_ms, one.found_ms) + " as " + std::string(name_of(one.priority)) + ", ";
    }
    text += "band " + (one.band_at_start ? std::string("already on") : after_text(start_ms, one.band_ms)) +
            ", naive " + after_text(start_ms, one.naive_ms) + "; " + one.why + "\n";
  }
  for (const FalseAlarm& one : result.false_alarms) {
    text += "  FALSE " + kinds_text(one.said.kind, one.said.other) + " on " + one.said.subject + " (" +
            of_class(one.heater_class) + ") at " + minute_text(one.said.at_ms) + " as " +
            std::string(name_of(one.said.priority)) + "; " + one.going_on + "; " + one.said.why + "\n";
  }
  return text;
}

}  // namespace baskwell::scenarios
