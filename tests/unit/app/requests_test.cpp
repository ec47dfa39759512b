#include "app/requests.h"

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <memory>
#include <string>

#include "test_room.h"

namespace baskwell {
namespace {

namespace json = boost::json;

class Requests : public testing::Test {
 protected:
  json::object ask(const std::string& request) {
    RequestContext context{engine_, now_,
                           [this](const RequestEvent& event) {
                             engine_.step(event, effects_);
                             return effects_.answer;
                           },
                           [this] { return payloads_; }, [] { return std::string("{}"); }};
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
