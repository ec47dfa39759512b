#include "core/heat/outage_words.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <vector>

#include "core/alarm/message_text.h"
#include "core/moment.h"

namespace baskwell {
namespace {

std::string name_of_enclosure(const Room& room, const std::string& id) {
  for (const Enclosure& one : room.enclosures) {
    if (one.id == id && !one.name.empty()) return clean_line(one.name);
  }
  return clean_line(id);
}

std::string circuit_words(const std::string& ids, const Room& room) {
  if (ids.empty()) return "one circuit, not named in the settings";
  std::vector<std::string> names;
  std::size_t at = 0;
  while (at <= ids.size()) {
    const std::size_t end = std::min(ids.find('+', at), ids.size());
    const std::string id = ids.substr(at, end - at);
    at = end + 1;
    const auto found = std::find_if(room.circuits.begin(), room.circuits.end(),
                                    [&](const Circuit& one) { return one.id == id; });
    names.push_back(found != room.circuits.end() && !found->name.empty() ? clean_line(found->name) : id);
  }
  constexpr std::size_t shown = 4;
  return (names.size() == 1 ? "the circuit " : "the circuits ") + list_text(names, shown);
}

std::string one_kind_words(OutageKind kind, const std::string& circuit, const Room& room) {
  switch (kind) {
    case OutageKind::mains:
      return "mains power";
    case OutageKind::circuit:
      return circuit_words(circuit, room);
    case OutageKind::room_heating:
      return "the room's heating";
    case OutageKind::network:
      return "the network";
    case OutageKind::broker:
      return "the broker";
    case OutageKind::service:
      return "this service or its machine";
  }
  return {};
}

std::string span_words(const OutageRecord& outage, const Room& room, UtcMs now) {
  std::string text = local_day_hour_minute(room.clock, outage.from);
  if (!outage.to) return "since " + text + " (" + duration_text(now - outage.from) + " so far)";
  return text + " to " + local_time_text(*outage.to, outage.from, room.clock) + " (" +
         duration_text(*outage.to - outage.from) + ")";
}

// What was seen itself before what is only concluded from it.
std::vector<std::string> places_to_look_at(const OutageRecord& outage, const Room& room) {
  std::vector<std::string> seen, concluded;
  for (const OutageLine& line : outage.lines) {
    const bool itself = std::isfinite(line.lights_late_min) || (line.fell && !line.back_at);
    if (line.look) (itself ? seen : concluded).push_back(name_of_enclosure(room, line.enclosure));
  }
  seen.insert(seen.end(), concluded.begin(), concluded.end());
  return seen;
}

std::string verdict_words(const OutageRecord& outage, const Room& room) {
  constexpr std::size_t shown = 3;
  const std::vector<std::string> names = places_to_look_at(outage, room);
  if (!names.empty()) return "look at " + list_text(names, shown);
  return outage.stage >= OutageStage::settled ? "all pass" : "not settled yet";
}

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

// A JSON object by hand: core has the standard library only.
class Object {
 public:
  Object& raw(std::string_view key, std::string_view value) {
    out_ += out_.size() > 1 ? "," : "";
    quote(key);
    out_ += ':';
    out_ += value;
    return *this;
  }
  Object& text(std::string_view key, std::string_view value) {
    raw(key, "");
    quote(clean_line(value));
    return *this;
  }
  Object& flag(std::string_view key, bool value) { return raw(key, value ? "true" : "false"); }
  // Rounded to two decimals: what was measured is no finer.
  Object& number(std::string_view key, double value) {
    if (!std::isfinite(value)) return raw(key, "null");
    std::array<char, 32> digits{};
    const auto end =
        std::to_chars(digits.data(), digits.data() + digits.size(), std::round(value * 100) / 100).ptr;
    return raw(key, {digits.data(), static_cast<std::size_t>(end - digits.data())});
  }
  Object& moment(std::string_view key, const std::optional<UtcMs>& at) {
    return at ? text(key, utc_text(*at)) : raw(key, "null");
  }
  [[nodiscard]] std::string done() const { return out_ + "}"; }

 private:
  void quote(std::string_view value) {
    out_ += '"';
    for (const char c : value) {
      if (c == '"' || c == '\\') out_ += '\\';
      out_ += c;
    }
    out_ += '"';
  }
  std::string out_ = "{";
};

std::string line_json(const OutageLine& line, const Room& room) {
  return Object()
      .text("enclosure", line.enclosure)
      .text("name", name_of_enclosure(room, line.enclosure))
      .text("verdict", line.look ? "look" : "pass")
      .text("words", line.words)
      .flag("judged", line.judged)
      .flag("fell", line.fell)
      .number("lowest_degc", line.lowest_degc)
      .number("fell_k", line.fell_k)
      .moment("back_at", line.back_at)
      .number("took_min", line.took_min)
      .number("usual_min", line.usual_min)
      .number("kept_shift_k", line.shift_k)
      .number("lights_late_min", line.lights_late_min)
      .number("night_drop_late_min", line.drop_late_min)
      .done();
}

}  // namespace

std::string outage_kind_words(const OutageRecord& outage, const Room& room) {
  std::string words = one_kind_words(outage.kind, outage.circuit, room);
  if (outage.other) words += " (or " + one_kind_words(*outage.other, outage.circuit, room) + ")";
  return words;
}

std::string outage_line(const OutageRecord& outage, const Room& room, UtcMs now) {
  return outage.id + "  " + span_words(outage, room, now) + "  " + outage_kind_words(outage, room) + "; " +
         verdict_words(outage, room);
}

std::string outage_check(const OutageRecord& outage, const Room& room, UtcMs now) {
  std::string text =
      outage.id + ": " + outage_kind_words(outage, room) + " away " + span_words(outage, room, now) + "\n";
  text += "beginning known within " + duration_text(outage.from_within_ms);
  if (outage.to) text += ", end within " + duration_text(outage.to_within_ms);
  text += "; confidence " + std::to_string(static_cast<int>(std::lround(100 * outage.confidence))) + " %\n";
  text += "because " + clean_line(outage.evidence) + "\n";
  if (outage.stage < OutageStage::settled) text += "not settled yet: what follows may change\n";
  if (outage.lines.empty()) text += "no enclosure with a probe was in reach of it\n";
  std::size_t widest = 0;
  for (const OutageLine& line : outage.lines)
    widest = std::max(widest, characters_in(name_of_enclosure(room, line.enclosure)));
  for (const OutageLine& line : outage.lines) {
    const std::string name = name_of_enclosure(room, line.enclosure);
    text += "  " + name + std::string(widest - characters_in(name), ' ') +
            (line.look ? "  look  " : "  pass  ") + clean_line(line.words) + "\n";
  }
  return text;
}

OutageMessage outage_message(const OutageRecord& outage, const Room& room, UtcMs now) {
  OutageMessage message;
  message.headline = capital(outage_kind_words(outage, room)) + " was away " + span_words(outage, room, now) +
                     " in " + clean_line(room.name) + ". " + capital(verdict_words(outage, room)) + ".";
  message.body = message.headline + "\n\n" + outage_check(outage, room, now);
  message.json = outage_json(outage, room);
  return message;
}

std::string outage_json(const OutageRecord& outage, const Room& room) {
  std::string lines = "[";
  for (const OutageLine& line : outage.lines) lines += (lines.size() > 1 ? "," : "") + line_json(line, room);
  Object object;
  object.text("outage", outage.id).text("room", room.name).text("kind", name_of(outage.kind));
  outage.other ? object.text("or_kind", name_of(*outage.other)) : object.raw("or_kind", "null");
  object.text("circuit", outage.circuit)
      .text("stage", name_of(outage.stage))
      .moment("from", outage.from)
      .moment("to", outage.to)
      .number("from_within_s", static_cast<double>(outage.from_within_ms) / second_ms)
      .number("to_within_s", static_cast<double>(outage.to_within_ms) / second_ms)
      .number("confidence", outage.confidence)
      .text("evidence", outage.evidence)
      .raw("enclosures", lines + "]");
  return object.done();
}

}  // namespace baskwell
