#include "app/requests.h"

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "test_room.h"

namespace baskwell {
namespace {

namespace json = boost::json;

class Requests : public testing::Test {
 protected:
  json::object ask(const std::string& request) {
    RequestContext context{
        engine_,
        now_,
        [this](const RequestEvent& event) {
          engine_.step(event, effects_);
          return effects_.answer;
        },
        [this] { return payloads_; },
        [] { return std::string("{}"); },
        [this](const NoteEvent& event) -> Result<NoteRecord> {
          engine_.step(event, effects_);
          if (!effects_.answer.empty()) return Error{effects_.answer};
          return effects_.notes.back();
        },
        [this](const std::string& subject, std::size_t most) -> Result<std::vector<NoteRecord>> {
          std::vector<NoteRecord> found;
          for (const NoteRecord& note : effects_.notes) {
            if (subject.empty() || note.subject == subject) found.push_back(note);
          }
          if (found.size() > most)
            found.erase(found.begin(), found.end() - static_cast<std::ptrdiff_t>(most));
          return found;
        }};
    return json::parse(answer_request(request, "rowan", context)).as_object();
  }
  void pass(std::int64_t ms) {
    now_.utc = now_.utc + ms;
    now_.elapsed = now_.elapsed + ms;
    engine_.step(TickEvent{now_}, effects_);
  }
  void broker(bool connected) {
    BrokerEvent event;
    event.at = now_;
    event.connected = connected;
    event.detail = "connection refused";
    engine_.step(event, effects_);
  }

  Stamp now_{UtcMs{1'795'521'600'000}, ElapsedMs{1'000'000}};
  Engine engine_{std::make_shared<const Room>(test::python_room()), now_};
  Effects effects_;
  intake::PayloadReport payloads_;
};

TEST_F(Requests, RefusesWhatIsNoRequest) {
  for (const char* bad :
       {"", "x", "[]", "{}", "{\"do\":7}", "{\"do\":\"dance\"}", "{\"do\":\"acknowledge\"}"}) {
    const json::object answer = ask(bad);
    EXPECT_FALSE(answer.at("ok").as_bool()) << bad;
    EXPECT_FALSE(answer.at("error").as_string().empty()) << bad;
  }
}

TEST_F(Requests, AcknowledgesInTheNameOfWhoAsks) {
  broker(false);
  pass(hour_ms);
  const json::object before = ask("{\"do\":\"alarms\"}");
  ASSERT_FALSE(before.at("data").as_array().empty()) << json::serialize(before);
  EXPECT_EQ(before.at("data").as_array()[0].as_object().at("kind").as_string(), "intake-trouble");
  EXPECT_TRUE(ask("{\"do\":\"acknowledge\",\"target\":\"A1\",\"why\":\"on it\"}").at("ok").as_bool());
  ASSERT_FALSE(effects_.transitions.empty());
  EXPECT_EQ(effects_.transitions.back().who, "rowan");
  EXPECT_EQ(effects_.transitions.back().to, AlarmState::acknowledged);
  const json::object again = ask("{\"do\":\"acknowledge\",\"target\":\"A1\"}");
  EXPECT_FALSE(again.at("ok").as_bool());
  EXPECT_FALSE(ask("{\"do\":\"acknowledge\",\"target\":\"A99\"}").at("ok").as_bool());
}

TEST_F(Requests, NotesSayWhatTheyOpened) {
  const json::object noted = ask(R"({"do":"note","subject":"shelf-1","text":"cleaned, new bark"})");
  ASSERT_TRUE(noted.at("ok").as_bool()) << json::serialize(noted);
  // now_ is 12:00 UTC; this room's clock is UTC.
  EXPECT_EQ(noted.at("text").as_string(),
            "Noted of shelf-1: cleaned (cleaned, new bark).\n"
            "Grace until 12:30 for target bands and what open doors make of the heating; harm limits and a "
            "heater stuck on still alarm.\n");
  const json::object& data = noted.at("data").as_object();
  EXPECT_EQ(data.at("at").as_string(), "2026-11-24T12:00:00Z");
  EXPECT_EQ(data.at("grace_until").as_string(), "2026-11-24T12:30:00Z");
  EXPECT_EQ(data.at("type").as_string(), "cleaned");
  EXPECT_EQ(data.at("who").as_string(), "rowan");
  EXPECT_TRUE(data.at("learned_again").is_null());
  EXPECT_GT(data.at("grace_kinds").as_array().size(), 5U);

  const json::object given =
      ask(R"({"do":"note","subject":"hot","text":"2 cm to the left","type":"probe moved","who":"Ines"})");
  ASSERT_TRUE(given.at("ok").as_bool()) << json::serialize(given);
  EXPECT_NE(given.at("text").as_string().find("To be learned again: probe."), std::string::npos);
  EXPECT_EQ(given.at("data").as_object().at("learned_again").as_string(), "probe");

  const json::object plain = ask(R"({"do":"note","subject":"juniper","text":"fed"})");
  EXPECT_EQ(plain.at("text").as_string(), "Noted of juniper: fed.\n");
  EXPECT_TRUE(plain.at("data").as_object().at("grace_until").is_null());
}

TEST_F(Requests, NotesThatMakeNoSenseAreRefusedInWords) {
  for (const auto& [request, words] :
       {std::pair{R"({"do":"note","subject":"shelf-1","text":"x","type":"painted"})", "is no type of note"},
        {R"({"do":"note","subject":"attic","text":"cleaned"})", "nothing is called 'attic'"},
        {R"({"do":"note","subject":"shelf-1"})", "the text is missing"},
        {R"({"do":"notes","last":0})", "1 to 10000"},
        {R"({"do":"notes","last":"all"})", "1 to 10000"}}) {
    const json::object answer = ask(request);
    EXPECT_FALSE(answer.at("ok").as_bool()) << request;
    EXPECT_NE(answer.at("error").as_string().find(words), std::string::npos) << json::serialize(answer);
  }
  EXPECT_TRUE(effects_.notes.empty());
}

TEST_F(Requests, NotesAreListedByTheRoomsOwnClockAndInUtc) {
  EXPECT_EQ(ask(R"({"do":"notes"})").at("text").as_string(), "No notes.\n");
  for (const char* text : {"fed, one mouse", "shed", "größer geworden"}) {
    ask(std::string(R"({"do":"note","subject":"juniper","who":"Ines","text":")") + text + "\"}");
    pass(day_ms);
  }
  ask(R"({"do":"note","subject":"room","who":"Tom","text":"misted"})");
  EXPECT_EQ(ask(R"({"do":"notes"})").at("text").as_string(),
            "24 Nov 2026 12:00  juniper  fed     fed, one mouse  (Ines)\n"
            "25 Nov 2026 12:00  juniper  shed    shed  (Ines)\n"
            "26 Nov 2026 12:00  juniper  other   größer geworden  (Ines)\n"
            "27 Nov 2026 12:00  room     misted  misted  (Tom)\n");
  const json::object two = ask(R"({"do":"notes","subject":"juniper","last":2})");
  EXPECT_NE(two.at("text").as_string().find("Older notes are not shown"), std::string::npos);
  const json::object& data = two.at("data").as_object();
  EXPECT_TRUE(data.at("more").as_bool());
  ASSERT_EQ(data.at("notes").as_array().size(), 2U);
  EXPECT_EQ(data.at("notes").as_array()[0].as_object().at("at").as_string(), "2026-11-25T12:00:00Z");
}

TEST_F(Requests, ShowsPayloadsWithoutLettingThemSpeakToTheTerminal) {
  intake::PayloadSample sample;
  sample.at = now_.utc;
  sample.topic = "a/b";
  sample.payload = std::string("\x1b[2J\x07ok\n", 8);
  sample.payload_size = sample.payload.size();
  sample.cause = "no number";
  payloads_.bad.push_back(sample);
  const json::object answer = ask("{\"do\":\"payloads\"}");
  const std::string text(answer.at("text").as_string());
  EXPECT_NE(text.find("\\x1b[2J\\x07ok\\x0a"), std::string::npos) << text;
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
}

}  // namespace
}  // namespace baskwell
