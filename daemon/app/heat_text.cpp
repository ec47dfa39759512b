#include "app/heat_text.h"

#include <algorithm>
#include <cmath>
#include <string_view>

#include "core/alarm/message_text.h"
#include "core/moment.h"

namespace baskwell {
namespace {

constexpr std::size_t line_width = 100;
constexpr std::size_t label_width = 17;

std::string difference(double kelvin) {
  return std::isnan(kelvin) ? "not known yet" : number_text(kelvin) + " °C";
}

std::string with_sign(double kelvin) {
  const std::string text = number_text(kelvin);
  return (text.starts_with('-') ? "" : "+") + text;
}

// A space within a name, at which no line is broken.
constexpr char inner_space = '\x1f';

// Words broken at spaces, later lines under the first.
std::string wrapped(std::string_view text, std::size_t indent) {
  std::string out;
  std::size_t column = indent;
  while (!text.empty()) {
    const std::string_view word = text.substr(0, text.find(' '));
    const std::size_t width = characters_in(word);
    if (column > indent && column + width > line_width) {
      out.back() = '\n';  // the space before
      out.append(indent, ' ');
      column = indent;
    }
    out += std::string(word) + " ";
    column += width + 1;
    text.remove_prefix(std::min(word.size() + 1, text.size()));
  }
  if (!out.empty()) out.pop_back();
  std::replace(out.begin(), out.end(), inner_space, ' ');
  return out;
}

void add_line(std::string& text, std::string_view label, const std::string& words) {
  text += "  ";
  text += label;
  text.append(label_width - characters_in(label), ' ');
  text += wrapped(words, label_width + 2) + "\n";
}

// Two columns, by day and by night.
void add_pair(std::string& text, std::string_view label, const std::string& day, const std::string& night) {
  constexpr std::size_t column_width = 20;
  text += "  ";
  text += label;
  text.append(label_width - characters_in(label), ' ');
  text += day;
  text.append(std::max<std::size_t>(characters_in(day) + 2, column_width) - characters_in(day), ' ');
  text += night + "\n";
}

template <class Things>
std::string named(const Things& things, const std::string& id) {
  const auto found =
      std::find_if(things.begin(), things.end(), [&](const auto& thing) { return thing.id == id; });
  if (found == things.end() || found->name.empty() || found->name == id) return clean_line(id);
  return clean_line(found->name + " (" + id + ")");
}

std::string listed(const Room& room, const std::vector<std::string>& enclosure_ids) {
  std::string list;
  for (const std::string& id : enclosure_ids) {
    const auto found = std::find_if(room.enclosures.begin(), room.enclosures.end(),
                                    [&](const Enclosure& enclosure) { return enclosure.id == id; });
    std::string name = clean_line(found == room.enclosures.end() || found->name.empty() ? id : found->name);
    std::replace(name.begin(), name.end(), ' ', inner_space);
    list += (list.empty() ? "" : ", ") + name;
  }
  return list;
}

void add_feeding(std::string& text, const HeatView& view, const heat::Belief& belief) {
  std::string heaters;
  for (const std::string& id : belief.heaters) {
    const auto& all = view.room.heaters;
    const auto found =
        std::find_if(all.begin(), all.end(), [&](const Heater& heater) { return heater.id == id; });
    heaters += (heaters.empty() ? "" : ", ") + named(all, id);
    if (found != all.end() && !found->socket.empty()) heaters += " at socket " + clean_line(found->socket);
  }
  add_line(text, "heated by", heaters);
  add_line(
      text, "thermostat",
      belief.thermostat.empty() ? "none in the settings" : named(view.room.thermostats, belief.thermostat));
  if (belief.feeds.size() > 1) add_line(text, "feeds", listed(view.room, belief.feeds) + ": judged as one");
  if (!belief.unprobed.empty())
    add_line(text, "not seen", listed(view.room, belief.unprobed) + ": no temperature probe of its own");
}

void add_certainty(std::string& text, const HeatView& view, const heat::Belief& belief) {
  const double days = belief.probes.empty() ? 0 : belief.probes.front().days_learned;
  std::string words;
  if (!belief.judged) {
    words = "heating not judged yet, until about " +
            local_day_hour_minute(view.room.clock, belief.judged_from) +
            "; target bands and harm limits hold meanwhile. ";
  } else {
    words = "yes. ";
  }
  words += "Learned from " + number_text(days) + " days and " + std::to_string(belief.falls_seen) +
           (belief.falls_seen == 1 ? " fall" : " falls");
  add_line(text, "judged", words);
}

std::string usual_range(const heat::PhaseBelief& phase) {
  if (std::isnan(phase.low_k) || std::isnan(phase.high_k) || phase.high_k <= phase.low_k)
    return "not known yet";
  return with_sign(phase.low_k) + " to " + with_sign(phase.high_k) + " °C";
}

std::string level(const heat::PhaseBelief& phase) {
  return std::isnan(phase.level_degc) ? "not known yet" : number_text(phase.level_degc) + " °C";
}

void add_model(std::string& text, const heat::Belief& belief) {
  add_pair(text, "", "by day", "by night");
  add_pair(text, "kept at", level(belief.day), level(belief.night));
  add_pair(text, "usual swing", difference(belief.day.swing_k), difference(belief.night.swing_k));
  add_pair(text, "usual range", usual_range(belief.day), usual_range(belief.night));
  text += "                   around the expected course; 98 of 100 minutes are within\n";
  const auto minutes = [](double value) {
    return std::isnan(value) ? std::string("not seen yet")
                             : number_text(std::round(value * 10) / 10) + " min";
  };
  add_line(text, "cools",
           "time constant " + minutes(belief.fast_minutes) + " in the first ten minutes, " +
               minutes(belief.slow_minutes) + " from 20 to 80 minutes");
  if (!std::isnan(belief.cycle_minutes)) {
    add_line(
        text, "on and off",
        "every " + minutes(belief.cycle_minutes) +
            (std::isnan(belief.duty) ? ""
                                     : ", warming " + number_text(belief.duty * 100) + " % of the time"));
  }
}

void add_probes(std::string& text, const HeatView& view, const heat::Belief& belief) {
  text += "\nProbes, the one that is judged by first\n";
  for (const heat::ProbeBelief& probe : belief.probes) {
    std::string where = probe.zone;
    for (const Channel& channel : view.room.channels) {
      if (channel.id != probe.channel) continue;
      const auto placed = std::find_if(channel.placements.begin(), channel.placements.end(),
                                       [&](const Placement& p) { return p.span.holds(view.now); });
      if (placed != channel.placements.end()) where = spot_words(view.room, *placed, view.enclosure);
    }
    std::string words = where + ": ";
    words += std::isnan(probe.now_degc) ? "no reading yet" : number_text(probe.now_degc) + " °C";
    words += std::isnan(probe.expected_degc) ? ", not known yet what to expect"
                                             : ", expected " + number_text(probe.expected_degc) + " °C";
    words += "; " + number_text(probe.days_learned) + " days learned";
    if (std::isfinite(probe.room_share) && std::fabs(probe.room_share) >= 0.05)
      words += "; " + with_sign(probe.room_share) + " °C for each °C that the room is warmer than usual";
    text += "  " + wrapped(clean_line(words + " (" + probe.channel + ")"), 4) + "\n";
  }
}

}  // namespace

std::string enclosure_name(const Room& room, Index enclosure) {
  const Enclosure& found = room.enclosures[enclosure];
  return found.name.empty() ? found.id : found.name;
}

std::string spot_words(const Room& room, const Placement& placement, Index enclosure) {
  std::string words;
  if (placement.enclosure == none) {
    words = "room air";
  } else {
    words = placement.zone == Zone::hot    ? "hot spot"
            : placement.zone == Zone::cool ? "cool end"
                                           : std::string(name_of(placement.zone));
    if (placement.enclosure != enclosure) words = enclosure_name(room, placement.enclosure) + ", " + words;
  }
  if (placement.medium != Medium::air) words += ", " + std::string(name_of(placement.medium));
  return words;
}

std::string heat_text(const HeatView& view) {
  std::string text = clean_line(enclosure_name(view.room, view.enclosure)) +
                     ": what is believed of its heating   " +
                     local_day_hour_minute(view.room.clock, view.now) + "\n\n";
  if (!view.belief) {
    return text +
           "  Nothing: the settings name no heater for it, or it has no temperature probe. Target bands and "
           "harm\n"
           "  limits hold all the same.\n";
  }
  const heat::Belief& belief = *view.belief;
  add_feeding(text, view, belief);
  add_certainty(text, view, belief);
  text += "\n";
  add_model(text, belief);
  add_probes(text, view, belief);
  text += "\nWhat holds now\n";
  for (const std::string& one : belief.evidence) text += "  " + wrapped(clean_line(one), 4) + "\n";
  if (belief.evidence.empty())
    text += belief.judged ? "  Its heating does as it usually does.\n" : "  Nothing can be said yet.\n";
  for (const AlarmView& alarm : view.alarms) {
    text += "  " + alarm.occurrence + " " + std::string(row_of(alarm.kind).name) + ": " +
            std::string(name_of(alarm.state)) + ", " + std::string(name_of(alarm.priority)) + ", since " +
            local_day_hour_minute(view.room.clock, alarm.since) + "\n";
  }
  text += "\nLatest changes\n";
  for (const heat::Belief::Change& change : belief.changes)
    text += "  " + local_day_hour_minute(view.room.clock, change.at) + "  " + clean_line(change.what) + "\n";
  if (belief.changes.empty()) text += "  none\n";
  return text;
}

}  // namespace baskwell
