#include "core/alarm/words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

#include "core/alarm/message_text.h"
#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::size_t act_on_characters = 100;  // what a locked telephone shows; issue 2, item 9
constexpr std::size_t heater_name_characters = 32;
constexpr std::size_t detail_characters = 120;
constexpr std::size_t names_shown = 24;  // a rack of twenty tubs and some

constexpr std::array<std::string_view, 5> reason_names{"raised", "worse", "reached-harm", "repeated", "over"};

// A piece of the headline: names give way, the rest does not.
struct Piece {
  std::string text;
  bool is_name = false;
};
using Pieces = std::vector<Piece>;

bool has_number(const AlarmView& alarm) {
  return std::isfinite(alarm.value);
}

std::string_view opening(TellReason reason, Level level, bool has_value) {
  const bool harm = level == Level::harm && has_value;
  switch (reason) {
    case TellReason::raised:
      return level != Level::harm ? "" : has_value ? "Danger: " : "Urgent: ";
    case TellReason::worse:
      return harm ? "Danger, worse: " : "Worse: ";
    case TellReason::reached_harm:
      return has_value ? "Danger: " : "Urgent: ";
    case TellReason::repeated:
      return harm ? "Still danger: " : "Still: ";
    case TellReason::over:
      return "Over: ";
  }
  CHECK(false);
}

std::string_view complaint(AlarmKind kind) {
  switch (kind) {
    case AlarmKind::too_cold:
      return "too cold";
    case AlarmKind::too_hot:
      return "too hot";
    case AlarmKind::no_refuge:
      return "no refuge";
    case AlarmKind::too_dry:
      return "too dry";
    case AlarmKind::too_damp:
      return "too damp";
    default:
      CHECK(false);
  }
}

std::string over_phrase(AlarmKind kind) {
  return kind == AlarmKind::no_refuge ? "cool again" : "no longer " + std::string(complaint(kind));
}

// "cool end 36.1 °C, too hot"
void add_measured(Pieces& pieces, const AlarmView& alarm, bool over) {
  if (!alarm.zone.empty()) {
    pieces.push_back({clean_line(alarm.zone), true});
    pieces.push_back({" "});
  }
  pieces.push_back({quantity_text(alarm.value, alarm.quantity) + ", " +
                    (over ? over_phrase(alarm.kind) : std::string(complaint(alarm.kind)))});
}

// "cool end probe silent, last 27.4 °C"
void add_probe(Pieces& pieces, const AlarmView& alarm, bool over) {
  const std::string number = has_number(alarm) ? quantity_text(alarm.value, alarm.quantity) : "";
  if (alarm.zone.empty()) {
    pieces.push_back({"probe "});
    pieces.push_back({clean_line(alarm.subject), true});
  } else {
    pieces.push_back({clean_line(alarm.zone), true});
    pieces.push_back({" probe"});
  }
  std::string what;
  if (alarm.kind == AlarmKind::probe_silent) {
    what = over ? " heard again" : " silent";
    if (!number.empty()) what += (over ? ", " : ", last ") + number;
  } else if (alarm.kind == AlarmKind::probe_implausible) {
    what = over ? " reads well again" : " faulty";
    if (!number.empty()) what += (over ? ", " : ": ") + number;
  } else {
    what = over ? " moves again" : " stuck";
    if (!number.empty()) what += (over ? ", " : " at ") + number;
  }
  pieces.push_back({std::move(what)});
}

// What is wrong, without place and action.
void add_trouble(Pieces& pieces, const AlarmView& alarm, bool over) {
  switch (alarm.kind) {
    case AlarmKind::too_cold:
    case AlarmKind::too_hot:
    case AlarmKind::no_refuge:
    case AlarmKind::too_dry:
    case AlarmKind::too_damp:
      return add_measured(pieces, alarm, over);
    case AlarmKind::probe_silent:
    case AlarmKind::probe_implausible:
    case AlarmKind::probe_frozen:
      return add_probe(pieces, alarm, over);
    case AlarmKind::intake_trouble:
      pieces.push_back({over                         ? "readings come in again"
                        : alarm.level == Level::harm ? "no readings come in at all"
                                                     : "some readings do not come in"});
      return;
    case AlarmKind::store_trouble:
      pieces.push_back({over ? "readings are stored again" : "readings are not being stored"});
      return;
    case AlarmKind::delivery_failed:
      pieces.push_back({"channel "});
      pieces.push_back({clean_line(alarm.subject), true});
      pieces.push_back({over ? " delivers again" : " does not deliver messages"});
      return;
    case AlarmKind::clock_unsure:
      pieces.push_back({over ? "the clock is right again" : "the clock may be wrong"});
      return;
  }
  CHECK(false);
}

// "the mat at socket 7", but "Mat 3": a name that a keeper capitalised stands by itself.
std::string with_article(const std::string& name) {
  const bool lower = !name.empty() && name.front() >= 'a' && name.front() <= 'z';
  return lower && !name.starts_with("the ") ? "the " + name : name;
}

std::string_view action_when_over(const AlarmView& alarm) {
  const bool climate = row_of(alarm.kind).has_value;
  return climate && alarm.level == Level::harm && !alarm.animal.empty() ? "Look in on the animal."
                                                                        : "Nothing to do now.";
}

std::size_t size_of(const Pieces& pieces, bool names) {
  std::size_t size = 0;
  for (const Piece& piece : pieces) {
    if (piece.is_name == names) size += characters_in(piece.text);
  }
  return size;
}

// Cut the longest names, all to the same length, until everything fits.
std::string fitted(const Pieces& pieces) {
  const std::size_t fixed = size_of(pieces, false);
  const std::size_t room = fixed < act_on_characters ? act_on_characters - fixed : 0;
  std::size_t cap = act_on_characters;
  const auto cut_size = [&] {
    std::size_t size = 0;
    for (const Piece& piece : pieces) {
      if (piece.is_name) size += std::min(characters_in(piece.text), cap);
    }
    return size;
  };
  while (cap > 1 && cut_size() > room) --cap;
  std::string text;
  for (const Piece& piece : pieces) text += piece.is_name ? cut_to(piece.text, cap) : piece.text;
  return text;
}

// The first 100 characters: place, animal, number with unit, first action.
std::string act_on(const AlarmView& alarm, TellReason reason, const std::string& room_name) {
  const bool over = reason == TellReason::over;
  Pieces pieces{{std::string(opening(reason, alarm.level, row_of(alarm.kind).has_value))}};
  pieces.push_back({clean_line(alarm.place.empty() ? room_name : alarm.place), true});
  if (!alarm.animal.empty()) {
    pieces.push_back({" ("});
    pieces.push_back({clean_line(alarm.animal), true});
    pieces.push_back({")"});
  }
  pieces.push_back({": "});
  add_trouble(pieces, alarm, over);
  pieces.push_back({". "});
  // The action that names the heater, unless the names of place and animal would be cut beyond knowing.
  const std::string named = first_action_for(alarm, reason);
  const std::size_t names_want = std::min<std::size_t>(size_of(pieces, true), 30);
  const bool fits = over || size_of(pieces, false) + characters_in(named) + names_want <= act_on_characters;
  pieces.push_back({fits ? named : std::string(row_of(alarm.kind).first_action)});
  return fitted(pieces);
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

std::string headline_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                         const ZoneRules& clock) {
  const bool over = reason == TellReason::over;
  const bool has_value = row_of(alarm.kind).has_value;
  std::string line = act_on(alarm, reason, room_name);
  const auto add = [&line](const std::string& part) {
    if (!part.empty()) line += " | " + part;
  };
  if (has_value && std::isfinite(alarm.target_limit)) {
    add("limit " + quantity_text(alarm.target_limit, alarm.quantity));
  }
  if (has_value && std::isfinite(alarm.harm_limit)) {
    add("harm limit " + quantity_text(alarm.harm_limit, alarm.quantity));
  }
  if (has_value && over && std::isfinite(alarm.worst)) {
    add("furthest " + quantity_text(alarm.worst, alarm.quantity));
  }
  if (has_value && !over) add(trend_text(alarm));
  add(detail_of(alarm));
  if (has_value) add(clean_line(alarm.medium));
  if (!has_value && !alarm.zone.empty()) add("probe " + cut_to(clean_line(alarm.subject), 40));
  add("since " + local_time_text(alarm.since, alarm.now, clock));
  if (over) add("lasted " + duration_text(alarm.now - alarm.since));
  add("priority " + std::string(name_of(alarm.priority)));
  add(clean_line(alarm.occurrence));
  return line;
}

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

std::string_view reason_sentence(TellReason reason) {
  switch (reason) {
    case TellReason::raised:
      return "A new alarm.";
    case TellReason::worse:
      return "Acknowledged, and worse since.";
    case TellReason::reached_harm:
      return "It has reached the harm limit.";
    case TellReason::repeated:
      return "Told again: nobody has acknowledged it yet.";
    case TellReason::over:
      return "It is over.";
  }
  CHECK(false);
}

void add_figures(Lines& lines, const AlarmView& alarm, bool over) {
  if (!row_of(alarm.kind).has_value) {
    if (has_number(alarm)) lines.add("Last figure", quantity_text(alarm.value, alarm.quantity));
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

void add_what_to_do(Lines& lines, const AlarmView& alarm) {
  const AlarmKindRow& row = row_of(alarm.kind);
  lines.add("Act", row.time_to_respond);
  lines.add("May be", row.cause);
  lines.add("It means", row.consequence);
  lines.add("Heaters", list_text(alarm.heaters, names_shown));
  lines.add("Thermostats", list_text(alarm.thermostats, names_shown));
  lines.add("Mains circuit", clean_line(alarm.circuit));
  lines.add("On the same thermostat, look there too", list_text(alarm.also_fed, names_shown));
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
  lines.add(reason == TellReason::reached_harm && !row.has_value ? "It has become urgent."
                                                                 : reason_sentence(reason));
  lines.gap();
  lines.add("Room", clean_line(room_name));
  lines.add("Where", clean_line(alarm.place) + (alarm.zone.empty() ? "" : ", " + clean_line(alarm.zone)) +
                         (alarm.medium.empty() ? "" : " (" + clean_line(alarm.medium) + ")"));
  lines.add("Animal", clean_line(alarm.animal));
  if (!row.has_value) lines.add("What", clean_line(alarm.subject));
  add_figures(lines, alarm, over);
  lines.add("Heard", detail_of(alarm));
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
  if (row.has_value) {
    lines.add("A sick or burnt animal belongs to a vet, work on the mains to an electrician.");
  }
  return lines.take();
}

}  // namespace

std::string_view name_of(TellReason reason) {
  return reason_names[static_cast<std::size_t>(reason)];
}

std::string first_action_for(const AlarmView& alarm, TellReason reason) {
  if (reason == TellReason::over) return std::string(action_when_over(alarm));
  std::string general(row_of(alarm.kind).first_action);
  const bool heat = alarm.kind == AlarmKind::too_hot || alarm.kind == AlarmKind::no_refuge;
  if (alarm.heaters.empty() || (!heat && alarm.kind != AlarmKind::too_cold)) return general;
  const std::size_t count = alarm.heaters.size();
  std::string heaters = count == 1 ? with_article(clean_line(alarm.heaters.front())) : std::string();
  if (count == 2) {
    heaters =
        with_article(clean_line(alarm.heaters[0])) + " and " + with_article(clean_line(alarm.heaters[1]));
  }
  const bool short_enough = !heaters.empty() && characters_in(heaters) <= heater_name_characters;
  if (!short_enough) {
    if (count == 1) return general;
    heaters = "its " + std::to_string(count) + " heaters";
  }
  if (alarm.kind == AlarmKind::too_cold) {
    return "Check " + heaters + (count == 1 ? " and its plug." : " and their plugs.");
  }
  return "Unplug " + heaters + (alarm.kind == AlarmKind::no_refuge ? ", let warm air out." : ".");
}

Words words_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                const ZoneRules& clock) {
  Words words;
  words.headline = headline_for(alarm, reason, room_name, clock);
  words.body = body_for(alarm, reason, room_name, clock);
  words.json = json_for(alarm, reason, room_name, words.headline);
  return words;
}

}  // namespace baskwell
