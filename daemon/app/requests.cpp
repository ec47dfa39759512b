#include "app/requests.h"

#include <algorithm>
#include <array>
#include <boost/json.hpp>
#include <cstdint>
#include <optional>

#include "app/heat_answer.h"
#include "app/notes.h"
#include "app/room_table.h"
#include "app/status_text.h"
#include "core/moment.h"

namespace baskwell {
namespace {

namespace json = boost::json;

constexpr std::size_t most_notes = 10'000;
constexpr std::size_t usual_notes = 100;

std::string done(const std::string& text, json::value data) {
  return json::serialize(json::object{{"ok", true}, {"text", text}, {"data", std::move(data)}});
}

std::optional<RequestEvent::What> change_named(std::string_view name) {
  using What = RequestEvent::What;
  if (name == "acknowledge") return What::acknowledge;
  if (name == "shelve") return What::shelve;
  if (name == "unshelve") return What::unshelve;
  if (name == "out-of-service") return What::out_of_service;
  if (name == "return-to-service") return What::return_to_service;
  return std::nullopt;
}

std::string text_of(const json::object& object, std::string_view key) {
  const json::value* value = object.if_contains(key);
  return value != nullptr && value->is_string() ? std::string(value->get_string()) : std::string();
}

// Anything may have come in a payload: what a terminal could take for a command is shown as \xNN.
std::string printable(const std::string& bytes) {
  constexpr std::string_view hex = "0123456789abcdef";
  std::string text;
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte < 0x7f) {
      text += c;
    } else {
      text += "\\x";
      text += hex[byte >> 4U];
      text += hex[byte & 15U];
    }
  }
  return text;
}

json::array samples_of(const std::vector<intake::PayloadSample>& samples) {
  json::array list;
  for (const intake::PayloadSample& sample : samples) {
    list.push_back(json::object{{"at", rfc3339(sample.at)},
                                {"topic", printable(sample.topic)},
                                {"payload", printable(sample.payload)},
                                {"payload_bytes", sample.payload_size},
                                {"cause", sample.cause}});
  }
  return list;
}

void add_samples(std::string& text, std::string_view title, const std::vector<intake::PayloadSample>& samples,
                 const ZoneRules& clock) {
  if (samples.empty()) return;
  text += "\n" + std::string(title) + ", oldest first\n";
  for (const intake::PayloadSample& sample : samples) {
    text += "  " + local_day_hour_minute(clock, sample.at) + "  " + printable(sample.topic) + "\n      " +
            printable(sample.payload) + (sample.payload.size() < sample.payload_size ? " ..." : "") +
            "\n      " + sample.cause + "\n";
  }
}

std::string payloads(const RequestContext& context) {
  const intake::PayloadReport report = context.payloads();
  const ZoneRules& clock = context.engine.room().clock;
  std::string text = "payloads  readings  in part  unreadable  topic\n";
  json::array sources;
  for (const intake::SourceReport& source : report.sources) {
    std::string line;
    for (const auto& [count, width] : {std::pair{source.payloads, 8},
                                       {source.readings, 10},
                                       {source.read_in_part, 9},
                                       {source.unreadable, 12}}) {
      const std::string digits = std::to_string(count);
      line.append(digits.size() < static_cast<std::size_t>(width)
                      ? static_cast<std::size_t>(width) - digits.size()
                      : 1,
                  ' ');
      line += digits;
    }
    text += line + "  " + source.topic +
            (source.last_problem.empty() ? "" : "  (last: " + source.last_problem + ")") + "\n";
    sources.push_back(json::object{{"topic", source.topic},
                                   {"instrument", source.instrument},
                                   {"decoder", source.decoder},
                                   {"payloads", source.payloads},
                                   {"readings", source.readings},
                                   {"read_in_part", source.read_in_part},
                                   {"unreadable", source.unreadable},
                                   {"last_problem", source.last_problem}});
  }
  text += "\nOn topics that the settings do not know: " + std::to_string(report.unknown_topics) +
          ". Dropped for want of room: " + std::to_string(report.live.dropped() + report.kept.dropped()) +
          ".\n";
  add_samples(text, "Could not be read", report.bad, clock);
  add_samples(text, "On unknown topics", report.unknown, clock);
  return done(text, json::object{{"sources", std::move(sources)},
                                 {"bad", samples_of(report.bad)},
                                 {"unknown", samples_of(report.unknown)},
                                 {"unknown_topics", report.unknown_topics},
                                 {"dropped", report.live.dropped() + report.kept.dropped()}});
}

std::string change(const json::object& object, RequestEvent::What what, const std::string& peer,
                   const RequestContext& context) {
  RequestEvent event;
  event.at = context.now;
  event.what = what;
  event.target = text_of(object, "target");
  event.who = text_of(object, "who");
  if (event.who.empty()) event.who = peer;
  event.why = text_of(object, "why");
  if (const json::value* duration = object.if_contains("for_ms");
      duration != nullptr && duration->is_int64()) {
    event.duration_ms = duration->get_int64();
  }
  constexpr std::size_t longest = 500;
  if (event.target.empty()) return refused_request("which alarm is missing");
  if (event.who.size() > longest || event.why.size() > longest || event.target.size() > longest) {
    return refused_request("texts may have 500 bytes at most");
  }
  const std::string why_not = context.change(event);
  if (!why_not.empty()) return refused_request(why_not);
  return done("done: " + event.target, nullptr);
}

std::string note(const json::object& object, const std::string& peer, const RequestContext& context) {
  NoteAsked asked{text_of(object, "subject"), text_of(object, "text"), text_of(object, "type"),
                  text_of(object, "who")};
  if (asked.who.empty()) asked.who = peer;
  const Result<NoteEvent> event = note_event(asked, context.now);
  if (!event) return refused_request(event.error().text);
  const Result<NoteRecord> noted = context.note(event.value());
  if (!noted) return refused_request(noted.error().text);
  return done(note_words(noted.value(), context.engine.room().clock), json::parse(note_json(noted.value())));
}

std::string notes(const json::object& object, const RequestContext& context) {
  std::size_t most = usual_notes;
  if (const json::value* last = object.if_contains("last"); last != nullptr) {
    if (!last->is_int64() || last->get_int64() < 1 || last->get_int64() > std::int64_t{most_notes})
      return refused_request("how many: 1 to 10000");
    most = static_cast<std::size_t>(last->get_int64());
  }
  Result<std::vector<NoteRecord>> found = context.notes(text_of(object, "subject"), most + 1);
  if (!found) return refused_request(found.error().text);
  std::vector<NoteRecord>& list = found.value();
  const bool more = list.size() > most;
  if (more) list.erase(list.begin());
  return done(note_list(list, more, context.engine.room().clock), json::parse(notes_json(list, more)));
}

std::string heating(const json::object& object, const RequestContext& context) {
  const json::value* from = object.if_contains("from_ms");
  const json::value* to = object.if_contains("to_ms");
  std::optional<Span> window;
  if (from != nullptr && from->is_int64() && to != nullptr && to->is_int64()) {
    window = Span{std::clamp(UtcMs{from->get_int64()}, earliest_utc, latest_utc),
                  std::clamp(UtcMs{to->get_int64()}, earliest_utc, latest_utc)};
  }
  auto answer = heat_answer(context.engine, context.now, text_of(object, "enclosure"), window);
  if (!answer) return refused_request(answer.error().text);
  return done(answer.value().text, json::parse(answer.value().json));
}

}  // namespace

std::string refused_request(const std::string& why) {
  return json::serialize(json::object{{"ok", false}, {"error", why}});
}

std::string answer_request(const std::string& request, const std::string& peer,
                           const RequestContext& context) {
  boost::system::error_code error;
  const json::value parsed = json::parse(request, error);
  if (error || !parsed.is_object()) return refused_request("the request is no JSON object");
  const json::object& object = parsed.get_object();
  const std::string what = text_of(object, "do");
  const ZoneRules& clock = context.engine.room().clock;
  if (what == "room") {
    const RoomView view = context.engine.view(context.now);
    return done(room_table(view, clock), json::parse(room_json(view)));
  }
  if (what == "alarms") {
    const RoomView view = context.engine.view(context.now);
    return done(alarm_list(view, clock), json::parse(alarms_json(view)));
  }
  if (what == "payloads") return payloads(context);
  if (what == "note") return note(object, peer, context);
  if (what == "notes") return notes(object, context);
  if (what == "heat") return heating(object, context);
  if (what == "status") {
    const json::value status = json::parse(context.status());
    return done(status_text(status.as_object()), status);
  }
  if (const auto named = change_named(what)) return change(object, *named, peer, context);
  return refused_request("'" + what + "' is nothing this daemon does");
}

}  // namespace baskwell
