#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <utility>

#include "core/alarm/message_text.h"
#include "core/alarm/words_inside.h"
#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::size_t names_shown = 24;  // a rack of twenty tubs and some

class Lines {
 public:
  void add(std::string_view label, std::string_view text) {
    if (!text.empty()) text_.append(label).append(": ").append(text).append("\n");
  }
  void add(std::string_view sentence) { text_.append(sentence).append("\n"); }
  void gap() { text_ += '\n'; }
  [[nodiscard]] std::string take() { return std::move(text_); }

 private:
  std::string text_;
};

std::string_view reason_sentence(TellReason reason, AlarmKind kind) {
  switch (reason) {
    case TellReason::raised:
      return "A new alarm.";
    case TellReason::worse:
      return "Acknowledged, and worse since.";
    case TellReason::reached_harm:
      if (is_heating_kind(kind)) return "By the forecast the harm limit is close now.";
      return is_harm_passed(kind) ? "It has reached the harm limit." : "It has become urgent.";
    case TellReason::repeated:
      return "Told again: nobody has acknowledged it yet.";
    case TellReason::over:
      return "It is over.";
  }
  CHECK(false);
}

void add_figures(Lines& lines, const AlarmView& alarm, bool over) {
  if (!row_of(alarm.kind).has_value && !is_heating_kind(alarm.kind)) {
    if (has_number(alarm)) lines.add("Last good figure", quantity_text(alarm.value, alarm.quantity));
    return;
  }
  const std::string trend = over ? std::string() : trend_text(alarm);
  lines.add("Now", quantity_text(alarm.value, alarm.quantity) + (trend.empty() ? "" : ", " + trend));
  if (std::isfinite(alarm.target_limit)) {
    lines.add("Limit", quantity_text(alarm.target_limit, alarm.quantity));
  }
  if (std::isfinite(alarm.harm_limit)) {
    lines.add("Harm limit", quantity_text(alarm.harm_limit, alarm.quantity));
  }
  if (std::isfinite(alarm.worst)) {
    lines.add("Furthest so far", quantity_text(alarm.worst, alarm.quantity));
  }
}

void add_heating(Lines& lines, const AlarmView& alarm) {
  constexpr std::size_t evidence_characters = 400;
  const HeatingDetail detail = heating_detail(clean_line(alarm.detail));
  lines.add("Forecast", cut_to(detail.forecast, forecast_characters));
  lines.add("Evidence", cut_to(detail.evidence, evidence_characters));
  lines.add("Confidence", cut_to(detail.confidence, forecast_characters));
}

void add_what_to_do(Lines& lines, const AlarmView& alarm) {
  const AlarmKindRow& row = row_of(alarm.kind);
  lines.add("Act", row.time_to_respond);
  lines.add("May be", row.cause);
  if (alarm.other) {
    const AlarmKindRow& other = row_of(*alarm.other);
    lines.add("May also be", std::string(other.name) + ". " + std::string(other.cause));
  }
  if (is_heating_kind(alarm.kind)) {
    const std::string check = check_of(alarm, heating_detail(clean_line(alarm.detail)));
    lines.add(alarm.other ? "To tell them apart" : "To make sure", cut_to(check, check_characters));
  }
  lines.add("It means", row.consequence);
  lines.add("Heaters", list_text(alarm.heaters, names_shown));
  lines.add("Thermostats", list_text(alarm.thermostats, names_shown));
  lines.add("Mains circuit", clean_line(alarm.circuit));
  lines.add("On the same thermostat, look there too", list_text(alarm.also_fed, names_shown));
}

}  // namespace

bool is_harm_passed(AlarmKind kind) {
  return row_of(kind).has_value && !is_heating_kind(kind);
}

std::string trend_text(const AlarmView& alarm) {
  if (!std::isfinite(alarm.rate_per_hour)) return {};
  if (std::fabs(alarm.rate_per_hour) < 0.05) return "steady";
  return (alarm.rate_per_hour > 0 ? "rising " : "falling ") +
         quantity_text(std::fabs(alarm.rate_per_hour), alarm.quantity) + " an hour";
}

std::string detail_of(const AlarmView& alarm) {
  return cut_to(clean_line(alarm.detail), detail_characters);
}

std::string check_of(const AlarmView& alarm, const HeatingDetail& detail) {
  const std::string_view between = alarm.other ? check_between(alarm.kind, *alarm.other) : std::string_view();
  return between.empty() ? detail.check : std::string(between);
}

std::string body_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                     const ZoneRules& clock) {
  const bool over = reason == TellReason::over;
  const AlarmKindRow& row = row_of(alarm.kind);
  const std::string occurrence = clean_line(alarm.occurrence);
  Lines lines;
  lines.add("Alarm", occurrence + ", " + std::string(row.name) + ", priority " +
                         std::string(name_of(alarm.priority)) +
                         (alarm.level == Level::harm ? ", " + std::string(row.harm_means) : ""));
  lines.add(reason_sentence(reason, alarm.kind));
  lines.gap();
  lines.add("Room", clean_line(room_name));
  lines.add("Where", clean_line(alarm.place) + (alarm.zone.empty() ? "" : ", " + clean_line(alarm.zone)) +
                         (alarm.medium.empty() ? "" : " (" + clean_line(alarm.medium) + ")"));
  lines.add("Animal", clean_line(alarm.animal));
  if (!row.has_value && !is_heating_kind(alarm.kind)) lines.add("What", clean_line(alarm.subject));
  add_figures(lines, alarm, over);
  if (!is_heating_kind(alarm.kind)) {
    lines.add(over ? "It was" : "Detail", detail_of(alarm));
  } else if (!over) {
    add_heating(lines, alarm);
  }
  lines.add("Since", local_date_time_text(alarm.since, clock) + " (" +
                         duration_text(alarm.now - alarm.since) + (over ? " in all)" : " ago)"));
  lines.gap();
  lines.add(over ? "Do" : "Do first", first_action_for(alarm, reason));
  if (!over) add_what_to_do(lines, alarm);
  if (alarm.state == AlarmState::unacknowledged || alarm.state == AlarmState::returned_unacknowledged) {
    lines.add("To say that you have seen it", "baskwell acknowledge " + occurrence);
  }
  lines.gap();
  lines.add("Baskwell is a second pair of eyes, not a safety device.");
  if (row.has_value || is_heating_kind(alarm.kind)) {
    lines.add("A sick or burnt animal belongs to a vet, work on the mains to an electrician.");
  }
  return lines.take();
}

}  // namespace baskwell
