// The webhook channel against a real HTTP and HTTPS receiver (tests/integration/peers/http_peer.py).
#include "channel_peer.h"
#include "channel_support.h"

namespace baskwell::plugin_host {
namespace {

class WebhookChannel : public ChannelPeer {
 protected:
  void serve(bool tls) {
    if (tls) make_certificates();
    if (HasFatalFailure()) return;
    ASSERT_NO_FATAL_FAILURE(start_peer("http_peer.py", tls));
    base_ = address(tls ? "https" : "http");
  }

  boost::json::value request() { return told("request "); }

  std::string base_;
};

TEST_F(WebhookChannel, TheWholeMessageAsJsonOverTls) {
  serve(true);
  DeliveryChannel channel = opened("webhook", {{"url", base_ + "/alarms"},
                                               {"ca_file", certificates_.ca_file},
                                               {"header.Authorization", "Bearer t0ken"}});
  const Message message = example_message("any \"where\"");
  const Delivery delivery = channel.deliver(message, seconds(10));
  ASSERT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  EXPECT_EQ(delivery.answer, "HTTP 200: thank you");
  const boost::json::value got = request();
  EXPECT_EQ(text_at(got, "/method"), "POST");
  EXPECT_EQ(text_at(got, "/path"), "/alarms");
  EXPECT_EQ(text_at(got, "/headers/authorization"), "Bearer t0ken");
  EXPECT_EQ(text_at(got, "/headers/content-type"), "application/json");
  EXPECT_EQ(text_at(got, "/headers/baskwell-message"), message.id);
  const boost::json::value body = boost::json::parse(text_at(got, "/body"));
  EXPECT_EQ(text_at(body, "/id"), message.id);
  EXPECT_EQ(text_at(body, "/person"), message.person);
  EXPECT_EQ(text_at(body, "/address"), message.address);
  EXPECT_EQ(text_at(body, "/priority"), "high");
  EXPECT_EQ(text_at(body, "/headline"), message.headline);
  EXPECT_EQ(text_at(body, "/body"), message.body);
  EXPECT_EQ(body.at("utc_ms").as_int64(), message.utc_ms);
  EXPECT_EQ(body.at("alarm"), boost::json::parse(message.json));
}

TEST_F(WebhookChannel, AServerThatIsNotTrustedGetsNothing) {
  serve(true);
  for (const std::string& authority : {certificates_.stranger_file, std::string()}) {
    DeliveryChannel channel = opened("webhook", {{"url", base_ + "/"}, {"ca_file", authority}});
    const Delivery delivery = channel.deliver(example_message(""), seconds(10));
    EXPECT_EQ(delivery.result, DeliveryResult::refused) << delivery.answer;
    EXPECT_TRUE(holds(delivery.answer, "certificate"));
  }
  EXPECT_FALSE(holds(peer_->output(), "request "));
}

TEST_F(WebhookChannel, AMissingAuthorityFileIsToldAsSuch) {
  serve(true);
  DeliveryChannel channel = opened("webhook", {{"url", base_ + "/"}, {"ca_file", "/nonexistent/ca.pem"}});
  EXPECT_EQ(channel.deliver(example_message(""), seconds(10)).result, DeliveryResult::refused);
}

TEST_F(WebhookChannel, PatternsEscapeForTheirContentType) {
  serve(false);
  Message message = example_message("/x?y=z#\u00E9");
  message.headline = "5 > 4 & \"so\" \\ on {id} 100%";
  message.body = message.headline + "\nline two\ttab\r\n";
  {
    DeliveryChannel channel = opened(
        "webhook",
        {{"url", base_ + "/json"}, {"body", R"({"text": "{headline}", "all": ["{body}"], "n": {"p": 1}})"}});
    EXPECT_EQ(channel.deliver(message, seconds(10)).result, DeliveryResult::delivered);
    const boost::json::value body = boost::json::parse(text_at(request(), "/body"));
    EXPECT_EQ(text_at(body, "/text"), message.headline);
    EXPECT_EQ(text_at(body, "/all/0"), message.body);
  }
  {
    DeliveryChannel channel = opened(
        "webhook",
        {{"url", base_ + "/form?to={address}"}, {"format", "form"}, {"body", "t={headline}&p={priority}"}});
    EXPECT_EQ(channel.deliver(message, seconds(10)).result, DeliveryResult::delivered);
    const boost::json::value got = request();
    EXPECT_EQ(text_at(got, "/path"), "/form?to=%2Fx%3Fy%3Dz%23%C3%A9");
    EXPECT_EQ(text_at(got, "/headers/content-type"), "application/x-www-form-urlencoded");
    EXPECT_EQ(text_at(got, "/body"), "t=5%20%3E%204%20%26%20%22so%22%20%5C%20on%20%7Bid%7D%20100%25&p=high");
  }
  {
    DeliveryChannel channel = opened("webhook", {{"url", base_ + "/text"},
                                                 {"format", "text"},
                                                 {"body", "{priority}: {body}"},
                                                 {"header.content-type", "text/markdown"},
                                                 {"header.X-Empty", ""}});
    EXPECT_EQ(channel.deliver(message, seconds(10)).result, DeliveryResult::delivered);
    const boost::json::value got = request();
    EXPECT_EQ(text_at(got, "/headers/content-type"), "text/markdown");
    EXPECT_EQ(text_at(got, "/headers/x-empty"), "");
    EXPECT_EQ(text_at(got, "/body"), "high: " + message.headline + "\nline two\ttab\n");
  }
}

TEST_F(WebhookChannel, WhatAStatusMeans) {
  serve(false);
  const auto result_of = [&](const std::string& path) {
    DeliveryChannel channel = opened("webhook", {{"url", base_ + path}});
    return channel.deliver(example_message(""), seconds(10));
  };
  for (const char* status : {"200", "201", "202", "204"}) {
    EXPECT_EQ(result_of("/status/" + std::string(status)).result, DeliveryResult::delivered) << status;
  }
  for (const char* status : {"408", "425", "429", "500", "502", "503", "504"}) {
    EXPECT_EQ(result_of("/status/" + std::string(status)).result, DeliveryResult::try_again) << status;
  }
  for (const char* status : {"304", "400", "401", "403", "404", "410", "422"}) {
    EXPECT_EQ(result_of("/status/" + std::string(status)).result, DeliveryResult::refused) << status;
  }
  EXPECT_EQ(result_of("/status/403").answer, "HTTP 403: answer for 403");
  EXPECT_EQ(result_of("/moved").result, DeliveryResult::refused);
  EXPECT_TRUE(holds(result_of("/moved").answer, "redirects are not followed"));
}

TEST_F(WebhookChannel, NoAnswerAndEndlessAnswersAreBounded) {
  serve(false);
  Delivery delivery;
  const milliseconds hanging = time_of([&] {
    DeliveryChannel channel = opened("webhook", {{"url", base_ + "/hang"}});
    delivery = channel.deliver(example_message(""), milliseconds(500));
  });
  EXPECT_EQ(delivery.result, DeliveryResult::try_again) << delivery.answer;
  EXPECT_LT(hanging, milliseconds(2000));
  DeliveryChannel endless = opened("webhook", {{"url", base_ + "/endless"}});
  EXPECT_EQ(endless.deliver(example_message(""), seconds(10)).result, DeliveryResult::delivered);
  DeliveryChannel nobody =
      opened("webhook", {{"url", "http://127.0.0.1:" + std::to_string(peers::free_loopback_port()) + "/"}});
  EXPECT_EQ(nobody.deliver(example_message(""), seconds(5)).result, DeliveryResult::try_again);
}

TEST_F(WebhookChannel, SettingsAreCheckedInWords) {
  const auto refused = [](const std::string& url, std::vector<Setting> more = {}) {
    more.push_back({"url", url});
    return refusal("webhook", more);
  };
  EXPECT_EQ(refused("https://hooks.example/x"), "opened");
  EXPECT_EQ(refused("http://127.0.0.1:8080/x"), "opened");
  EXPECT_EQ(refused("http://[::1]:8080/x"), "opened");
  EXPECT_EQ(refused("http://hooks.example/x", {{"allow_plain", "true"}}), "opened");
  for (const char* url :
       {"http://hooks.example/x", "http://127.0.0.1.example/x", "http://localhost.example/",
        "http://localhost@hooks.example/", "http://127.evil.example/", "http://[::1].example/"}) {
    EXPECT_TRUE(holds(refused(url), "must begin with https://")) << url;
  }
  EXPECT_TRUE(holds(refused("ftp://hooks.example/x"), "must begin with https://"));
  EXPECT_TRUE(holds(refused("https://{address}/x"), "only behind the host's name"));
  EXPECT_TRUE(holds(refused("https://hooks.example/a b"), "blank"));
  const std::string good = "https://hooks.example/x";
  EXPECT_TRUE(holds(refused(good, {{"format", "xml"}}), "json, form or text"));
  EXPECT_TRUE(holds(refused(good, {{"body", R"({"t": {headline}})"}}), "is not JSON once filled in"));
  EXPECT_TRUE(holds(refused(good, {{"body", R"({"t": "{title}"})"}}), "unknown placeholder {title}"));
  EXPECT_TRUE(holds(refused(good, {{"header.X-A", "a\r\nX-B: b"}}), "line end or control character"));
  EXPECT_TRUE(holds(refused(good, {{"header.X A", "a"}}), "no name for a header field"));
  EXPECT_TRUE(holds(refused(good, {{"header.content-length", "1"}}), "set by the channel itself"));
  EXPECT_TRUE(holds(refused(good, {{"method", "GET"}}), "unknown key 'method'"));
}

}  // namespace
}  // namespace baskwell::plugin_host
