#include "core/alarm/words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "core/alarm/heating_words.h"
#include "core/alarm/message_text.h"
#include "core/alarm/words_inside.h"
#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::size_t act_on_characters = 100;  // what a locked telephone shows; issue 2, item 9
constexpr std::size_t heater_name_characters = 32;

constexpr std::array<std::string_view, 5> reason_names{"raised", "worse", "reached-harm", "repeated", "over"};

// A piece of the headline: names give way, the rest does not.
enum class Part : std::uint8_t { fixed, place, animal, name };
struct Piece {
  std::string text;
  Part part = Part::fixed;
};
using Pieces = std::vector<Piece>;

// Names are cut no shorter than this while others are longer.
constexpr std::size_t short_animal = 8;
constexpr std::size_t short_place = 16;

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
      return heating_complaint(kind);
  }
}

std::string over_phrase(AlarmKind kind) {
  if (is_heating_kind(kind)) return std::string(heating_over(kind));
  return kind == AlarmKind::no_refuge ? "cool again" : "no longer " + std::string(complaint(kind));
}

// "cool end 36.1 °C, too hot"
void add_measured(Pieces& pieces, const AlarmView& alarm, bool over) {
  if (!alarm.zone.empty()) pieces.push_back({clean_line(alarm.zone) + " "});
  pieces.push_back({quantity_text(alarm.value, alarm.quantity) + ", " +
                    (over ? over_phrase(alarm.kind) : std::string(complaint(alarm.kind)))});
}

// "cool end humidity probe silent, last 48.0 %"
void add_probe(Pieces& pieces, const AlarmView& alarm, bool over) {
  if (alarm.zone.empty()) {
    pieces.push_back({"probe "});
    pieces.push_back({clean_line(alarm.subject), Part::name});
  } else {
    const bool warmth = alarm.quantity == Quantity::temperature;
    pieces.push_back({clean_line(alarm.zone) +
                      (warmth ? " probe" : " " + std::string(name_of(alarm.quantity)) + " probe")});
  }
  std::string what;
  if (alarm.kind == AlarmKind::probe_silent) {
    what = over ? " heard again" : " silent";
  } else if (alarm.kind == AlarmKind::probe_implausible) {
    what = over ? " reads well again" : " faulty";
  } else {
    what = over ? " moves again" : " stuck";
  }
  if (has_number(alarm)) {
    what += over ? ", " : alarm.kind == AlarmKind::probe_frozen ? " at " : ", last ";
    what += quantity_text(alarm.value, alarm.quantity);
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
      if (alarm.subject.find(' ') != std::string::npos) {  // "to ines", "all messages"
        const bool one = alarm.subject.starts_with("to ");
        if (one) pieces.push_back({"messages "});
        pieces.push_back({clean_line(alarm.subject), Part::name});
        pieces.push_back({over ? " arrive again" : " do not arrive"});
        return;
      }
      pieces.push_back({"channel "});
      pieces.push_back({clean_line(alarm.subject), Part::name});
      pieces.push_back({over ? " delivers again" : " does not deliver messages"});
      return;
    case AlarmKind::clock_unsure:
      pieces.push_back({over ? "the clock is right again" : "the clock may be wrong"});
      return;
    default:  // the heating kinds
      if (has_number(alarm)) return add_measured(pieces, alarm, over);
      pieces.push_back({over ? over_phrase(alarm.kind) : std::string(complaint(alarm.kind))});
      return;
  }
}

// "the heat mat at socket 7", but "Mat 3": a name that a keeper capitalised stands by itself.
std::string with_article(const std::string& name) {
  const bool lower = !name.empty() && name.front() >= 'a' && name.front() <= 'z';
  return lower && !name.starts_with("the ") ? "the " + name : name;
}

std::string_view action_when_over(const AlarmView& alarm) {
  const bool climate = row_of(alarm.kind).has_value;
  return climate && alarm.level == Level::harm && !alarm.animal.empty() ? "Look in on the animal."
                                                                        : "Nothing to do now.";
}

std::size_t size_of(const Pieces& pieces) {
  std::size_t size = 0;
  for (const Piece& piece : pieces) size += characters_in(piece.text);
  return size;
}

// A number at the end tells one tub from the next, so it stays: "Left rack… 10".
std::string cut_place(const std::string& place, std::size_t limit) {
  const std::size_t space = place.rfind(' ');
  const std::string last = space == std::string::npos ? std::string() : place.substr(space);
  const bool numbered = last.find_first_of("0123456789") != std::string::npos;
  const std::size_t kept = characters_in(last);
  if (!numbered || characters_in(place) <= limit || kept + 2 > limit) return cut_to(place, limit);
  return cut_to(place.substr(0, space), limit - kept).append(last);
}

// Cuts names until the whole fits: the animal's first, then the longest.
std::string fitted(const Pieces& pieces) {
  std::vector<std::size_t> caps;
  for (const Piece& piece : pieces) caps.push_back(characters_in(piece.text));
  const auto longest = [&](auto may_be_cut) {
    std::size_t best = pieces.size();
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      if (!may_be_cut(pieces[i].part, caps[i])) continue;
      if (best == pieces.size() || caps[i] > caps[best]) best = i;
    }
    return best;
  };
  std::size_t size = size_of(pieces);
  for (; size > act_on_characters; --size) {
    std::size_t next =
        longest([](Part part, std::size_t cap) { return part == Part::animal && cap > short_animal; });
    if (next == pieces.size()) {
      next = longest([](Part part, std::size_t cap) {
        return part == Part::name || (part == Part::place && cap > short_place);
      });
    }
    if (next == pieces.size() || caps[next] <= 1)
      next = longest([](Part part, std::size_t cap) { return part != Part::fixed && cap > 1; });
    if (next == pieces.size()) break;  // nothing is left to cut
    --caps[next];
  }
  std::string text;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const Piece& piece = pieces[i];
    text += piece.part == Part::fixed || caps[i] == 0 ? piece.text
            : piece.part == Part::place               ? cut_place(piece.text, caps[i])
                                                      : cut_to(piece.text, caps[i]);
  }
  return text;
}

// "Unplug the heat mat at socket 4." -> "Unplug heat mat at socket 4."
std::string without_articles(std::string text) {
  for (std::size_t at = text.find(" the "); at != std::string::npos; at = text.find(" the "))
    text.erase(at, 4);
  return text;
}

Pieces act_on_pieces(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                     const std::string& animal, const std::string& action) {
  Pieces pieces{{std::string(opening(reason, alarm.level, is_harm_passed(alarm.kind)))}};
  pieces.push_back({clean_line(alarm.place.empty() ? room_name : alarm.place), Part::place});
  if (!animal.empty()) {
    pieces.push_back({" ("});
    pieces.push_back({clean_line(animal), Part::animal});
    pieces.push_back({")"});
  }
  pieces.push_back({": "});
  add_trouble(pieces, alarm, reason == TellReason::over);
  pieces.push_back({". " + action});
  return pieces;
}

// The first 100 characters: place, animal, number with unit, first action.
std::string act_on(const AlarmView& alarm, TellReason reason, const std::string& room_name) {
  const std::string named = first_action_for(alarm, reason);
  const std::string brief = without_articles(named);
  const std::string& names = alarm.animal_names.empty() ? alarm.animal : alarm.animal_names;
  const auto with = [&](const std::string& animal, const std::string& action) {
    return act_on_pieces(alarm, reason, room_name, animal, action);
  };
  const auto told_best = {std::pair{&alarm.animal, &named}, std::pair{&alarm.animal, &brief},
                          std::pair{&names, &named}};
  for (const auto& [animal, action] : told_best) {
    const Pieces pieces = with(*animal, *action);
    if (size_of(pieces) <= act_on_characters) return fitted(pieces);
  }
  // The action that names the heater, unless the names of place and animal would be cut beyond knowing.
  const Pieces pieces = with(names, brief);
  const std::size_t names_size =
      characters_in(names) + characters_in(alarm.place.empty() ? room_name : alarm.place);
  const std::size_t rest = size_of(pieces) - names_size;
  const bool fits = rest + std::min(names_size, short_animal + short_place) <= act_on_characters;
  if (fits || reason == TellReason::over) return fitted(pieces);
  return fitted(with(names, std::string(row_of(alarm.kind).first_action)));
}

// After the first 100 characters: how long there is, what else it may be, what shows it.
std::vector<std::string> heating_parts(const AlarmView& alarm) {
  constexpr std::size_t evidence_in_line = 160;
  const HeatingDetail detail = heating_detail(clean_line(alarm.detail));
  const std::string check = check_of(alarm, detail);
  std::vector<std::string> parts{cut_to(detail.forecast, forecast_characters)};
  if (alarm.other) parts.push_back("or: " + std::string(heating_complaint(*alarm.other)));
  if (!check.empty()) parts.push_back("to tell: " + cut_to(check, check_characters));
  parts.push_back(cut_to(detail.evidence, evidence_in_line));
  if (!detail.confidence.empty()) parts.push_back("confidence " + cut_to(detail.confidence, 40));
  return parts;
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
  if (!over) {
    if (has_value) add(trend_text(alarm));
    if (is_heating_kind(alarm.kind)) {
      for (const std::string& part : heating_parts(alarm)) add(part);
    } else {
      add(detail_of(alarm));
    }
  }
  if (has_value) add(clean_line(alarm.medium));
  if (!has_value && !is_heating_kind(alarm.kind) && !alarm.zone.empty())
    add("probe " + cut_to(clean_line(alarm.subject), 40));
  add("since " + local_time_text(alarm.since, alarm.now, clock));
  if (over) add("lasted " + duration_text(alarm.now - alarm.since));
  add("priority " + std::string(name_of(alarm.priority)));
  add(clean_line(alarm.occurrence));
  return line;
}

}  // namespace

std::string_view name_of(TellReason reason) {
  return reason_names[static_cast<std::size_t>(reason)];
}

std::string first_action_for(const AlarmView& alarm, TellReason reason) {
  if (reason == TellReason::over) return std::string(action_when_over(alarm));
  std::string general(row_of(alarm.kind).first_action);
  const bool heat = alarm.kind == AlarmKind::too_hot || alarm.kind == AlarmKind::no_refuge ||
                    alarm.kind == AlarmKind::heating_stuck_on;
  const bool cold = alarm.kind == AlarmKind::too_cold || alarm.kind == AlarmKind::not_heating;
  if (alarm.heaters.empty() || (!heat && !cold)) return general;
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
  if (cold) {
    // Where its socket is named, the plug need not be.
    if (heaters.find(" at ") != std::string::npos) return "Check " + heaters + ".";
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
