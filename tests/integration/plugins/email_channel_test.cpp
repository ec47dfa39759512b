// The email channel against a real SMTP server, Debian's python3-aiosmtpd
// (tests/integration/peers/smtp_peer.py). What arrives is read by Python's own e-mail parser, an independent
// reader of RFC 5322, 2045 and 2047.
#include "channel_peer.h"
#include "channel_support.h"

namespace baskwell::plugin_host {
namespace {

class EmailChannel : public ChannelPeer {
 protected:
  void SetUp() override { make_certificates(); }

  // Starts the server; the address goes into server_.
  void serve(const std::vector<std::string>& options, const std::string& scheme = "smtp") {
    ASSERT_NO_FATAL_FAILURE(start_peer("smtp_peer.py", true, options));
    server_ = address(scheme);
  }

  [[nodiscard]] std::vector<Setting> settings(std::vector<Setting> more = {}) const {
    more.push_back({"server", server_});
    more.push_back({"from", "baskwell@room.example"});
    return more;
  }
  [[nodiscard]] std::vector<Setting> trusted(std::vector<Setting> more = {}) const {
    more.push_back({"ca_file", certificates_.ca_file});
    return settings(std::move(more));
  }

  boost::json::value mail() { return told("mail "); }

  std::string server_;
};

TEST_F(EmailChannel, StarttlsWithOurOwnAuthorityArrivesWhole) {
  serve({"--tls", "starttls"});
  DeliveryChannel channel = opened("email", trusted());
  const Message message = example_message("ines@example.org");
  const Delivery delivery = channel.deliver(message, seconds(10));
  ASSERT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  EXPECT_EQ(delivery.answer, "250 2.0.0 taken as 4711");

  const boost::json::value got = mail();
  EXPECT_TRUE(got.at("tls").as_bool());
  EXPECT_EQ(text_at(got, "/from"), "baskwell@room.example");
  EXPECT_EQ(text_at(got, "/to/0"), "ines@example.org");
  EXPECT_EQ(text_at(got, "/headers/subject"), message.headline);
  EXPECT_EQ(text_at(got, "/headers/to"), "Ines Okafor <ines@example.org>");
  EXPECT_EQ(text_at(got, "/headers/from"), "Baskwell <baskwell@room.example>");
  EXPECT_EQ(text_at(got, "/headers/message-id"), "<7f3a-12@room.example>");
  EXPECT_EQ(text_at(got, "/headers/date"), "Tue, 24 Nov 2026 11:00:00 +0000");
  EXPECT_EQ(text_at(got, "/headers/importance"), "high");
  EXPECT_EQ(text_at(got, "/headers/auto-submitted"), "auto-generated");
  EXPECT_EQ(got.at("defects").as_array().size(), 0U) << boost::json::serialize(got.at("defects"));
  EXPECT_EQ(text_at(got, "/body"), message.body);
}

TEST_F(EmailChannel, TlsFromTheStartWithLogin) {
  serve({"--tls", "from-start", "--user", "keeper", "--password", "s3cret word"}, "smtps");
  DeliveryChannel channel = opened("email", trusted({{"user", "keeper"}, {"password", "s3cret word"}}));
  const Delivery delivery = channel.deliver(example_message("ines@example.org"), seconds(10));
  ASSERT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  EXPECT_EQ(text_at(mail(), "/user"), "keeper");
}

TEST_F(EmailChannel, StarttlsWithLoginAndWithAWrongPassword) {
  serve({"--tls", "starttls", "--user", "keeper", "--password", "right"});
  DeliveryChannel good = opened("email", trusted({{"user", "keeper"}, {"password", "right"}}));
  const Delivery taken = good.deliver(example_message("ines@example.org"), seconds(10));
  EXPECT_EQ(taken.result, DeliveryResult::delivered) << taken.answer;
  EXPECT_EQ(text_at(mail(), "/user"), "keeper");

  DeliveryChannel wrong = opened("email", trusted({{"user", "keeper"}, {"password", "wrong-password"}}));
  const Delivery refused = wrong.deliver(example_message("ines@example.org"), seconds(10));
  EXPECT_EQ(refused.result, DeliveryResult::refused) << refused.answer;
  EXPECT_TRUE(holds(refused.answer, "535"));
  EXPECT_FALSE(holds(refused.answer, "wrong-password"));

  DeliveryChannel none = opened("email", trusted());
  const Delivery anonymous = none.deliver(example_message("ines@example.org"), seconds(10));
  EXPECT_EQ(anonymous.result, DeliveryResult::refused) << anonymous.answer;
  EXPECT_TRUE(holds(anonymous.answer, "530"));
}

TEST_F(EmailChannel, AServerThatIsNotTrustedGetsNothing) {
  serve({"--tls", "starttls"});
  for (const std::string& authority : {certificates_.stranger_file, std::string()}) {
    DeliveryChannel channel = opened("email", settings({{"ca_file", authority}}));
    const Delivery delivery = channel.deliver(example_message("ines@example.org"), seconds(10));
    EXPECT_EQ(delivery.result, DeliveryResult::refused) << delivery.answer;
    EXPECT_TRUE(holds(delivery.answer, "certificate"));
  }
  EXPECT_FALSE(holds(peer_->output(), "mail "));
}

TEST_F(EmailChannel, WithoutStarttlsNothingIsSentUnlessAllowed) {
  serve({"--tls", "none"});
  DeliveryChannel strict = opened("email", trusted());
  const Delivery refused = strict.deliver(example_message("ines@example.org"), seconds(10));
  EXPECT_EQ(refused.result, DeliveryResult::refused) << refused.answer;
  EXPECT_TRUE(holds(refused.answer, "STARTTLS"));
  EXPECT_FALSE(holds(peer_->output(), "mail "));

  DeliveryChannel allowed = opened("email", settings({{"allow_plain", "true"}}));
  const Delivery taken = allowed.deliver(example_message("ines@example.org"), seconds(10));
  EXPECT_EQ(taken.result, DeliveryResult::delivered) << taken.answer;
  EXPECT_FALSE(mail().at("tls").as_bool());
}

TEST_F(EmailChannel, TemporaryAndPermanentRefusals) {
  serve({"--tls", "starttls"});
  DeliveryChannel channel = opened("email", trusted());
  const auto to = [&](const std::string& who) {
    return channel.deliver(example_message(who + "@example.org"), seconds(10));
  };
  EXPECT_EQ(to("full").result, DeliveryResult::try_again);
  EXPECT_EQ(to("full").answer, "452 4.2.2 mailbox full");
  EXPECT_EQ(to("busy").result, DeliveryResult::try_again);
  EXPECT_EQ(to("busy").answer, "451 4.3.0 try again later");
  EXPECT_EQ(to("nobody").result, DeliveryResult::refused);
  EXPECT_EQ(to("nobody").answer, "550 5.1.1 no such mailbox");
  EXPECT_EQ(to("spam").result, DeliveryResult::refused);
  EXPECT_EQ(to("spam").answer, "554 5.7.1 refused after reading");
  EXPECT_EQ(to("ines").result, DeliveryResult::delivered);
}

TEST_F(EmailChannel, AServerThatHangsCostsNoMoreThanTheTimeLimit) {
  serve({"--tls", "starttls"});
  DeliveryChannel channel = opened("email", trusted());
  Delivery delivery;
  const milliseconds at_rcpt =
      time_of([&] { delivery = channel.deliver(example_message("hang@example.org"), milliseconds(700)); });
  EXPECT_EQ(delivery.result, DeliveryResult::try_again) << delivery.answer;
  EXPECT_LT(at_rcpt, milliseconds(2500));

  serve({"--silent"});
  DeliveryChannel silent = opened("email", settings({{"allow_plain", "true"}}));
  const milliseconds at_greeting =
      time_of([&] { delivery = silent.deliver(example_message("ines@example.org"), milliseconds(700)); });
  EXPECT_EQ(delivery.result, DeliveryResult::try_again) << delivery.answer;
  EXPECT_LT(at_greeting, milliseconds(2500));
}

TEST_F(EmailChannel, AServerThatDoesNotSayGoodbyeHasStillTakenTheLetter) {
  serve({"--tls", "starttls", "--no-goodbye"});
  DeliveryChannel channel = opened("email", trusted());
  Delivery delivery;
  const milliseconds took =
      time_of([&] { delivery = channel.deliver(example_message("ines@example.org"), seconds(20)); });
  EXPECT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  EXPECT_LT(took, milliseconds(5000));
  EXPECT_EQ(text_at(mail(), "/to/0"), "ines@example.org");
}

TEST_F(EmailChannel, NobodyThereMeansTryAgain) {
  server_ = "smtp://127.0.0.1:" + std::to_string(peers::free_loopback_port());
  DeliveryChannel channel = opened("email", trusted());
  const Delivery delivery = channel.deliver(example_message("ines@example.org"), seconds(5));
  EXPECT_EQ(delivery.result, DeliveryResult::try_again);
  // The cause, once.
  const std::size_t cause = delivery.answer.find("connect to server");
  EXPECT_NE(cause, std::string::npos) << delivery.answer;
  EXPECT_EQ(delivery.answer.find("connect to server", cause + 1), std::string::npos) << delivery.answer;
}

// Whatever a keeper names an enclosure or a person, it stays where it belongs, and comes out as it went in.
TEST_F(EmailChannel, NoTextCanAddAHeaderOrEndTheBody) {
  serve({"--tls", "starttls"});
  DeliveryChannel channel = opened("email", trusted({{"from_name", "Room\r\nBcc: all@example.org"}}));
  Message message = example_message("ines@example.org");
  message.person = "Ines \"the\" Ok\u00E1for\r\nCc: b@example.org";
  message.headline =
      "Tub\r\nBcc: c@example.org\r\n\r\nbody " + std::string(300, 'x') + " \u2603 =?UTF-8?Q?no?=";
  message.id = "a b>\r\nX-Evil: 1";
  message.body = "line one\r\n.\r\nMAIL FROM:<evil@example.org>\n..two dots\n" + std::string(2000, 'y') +
                 "\nFrom here = \u00E9 \t\ntrailing space \n";
  const Delivery delivery = channel.deliver(message, seconds(10));
  ASSERT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  const boost::json::value got = mail();
  EXPECT_EQ(
      boost::json::serialize(got.at("names")),
      R"(["date","from","to","subject","message-id","importance","priority","auto-submitted","mime-version",)"
      R"("content-type","content-transfer-encoding"])");
  EXPECT_EQ(text_at(got, "/headers/subject"),
            "Tub  Bcc: c@example.org    body " + std::string(300, 'x') + " \u2603 =?UTF-8?Q?no?=");
  EXPECT_EQ(got.at("to").as_array().size(), 1U);
  std::string expected = message.body;
  expected.erase(expected.find('\r'), 1);
  expected.erase(expected.find('\r'), 1);
  EXPECT_EQ(text_at(got, "/body"), expected);
  // RFC 5321 4.5.3.1.6: no line longer than 998 characters; RFC 5322 2.1.1 wants 78.
  std::size_t longest = 0;
  const std::string raw = text_at(got, "/raw");
  for (std::size_t begin = 0; begin < raw.size();) {
    const std::size_t end = std::min(raw.find("\r\n", begin), raw.size());
    longest = std::max(longest, end - begin);
    begin = end + 2;
  }
  EXPECT_LE(longest, 78U);
}

TEST_F(EmailChannel, AddressesThatAreNoneAreRefusedWithoutConnecting) {
  server_ = "smtp://127.0.0.1:" + std::to_string(peers::free_loopback_port());
  DeliveryChannel channel = opened("email", trusted());
  for (const char* address :
       {"", "ines", "@example.org", "ines@", "a@b@c", "ines@example.org\r\nRCPT TO:<x@y>",
        "<ines@example.org>", "ines@example.org,b@example.org", "in es@example.org", "-oX@example.org",
        "in\u00E9s@example.org"}) {
    const Delivery delivery = channel.deliver(example_message(address), seconds(5));
    EXPECT_EQ(delivery.result, DeliveryResult::refused) << address;
    EXPECT_TRUE(holds(delivery.answer, "no mail address"));
  }
}

TEST_F(EmailChannel, SettingsAreCheckedInWords) {
  const Setting server{"server", "smtp://mail.example:587"};
  const Setting from{"from", "baskwell@room.example"};
  EXPECT_EQ(refusal("email", {server, from}), "opened");
  EXPECT_EQ(refusal("email", {from}), "'server' is missing");
  EXPECT_EQ(refusal("email", {server}), "'from' is missing");
  EXPECT_TRUE(holds(refusal("email", {{"server", "mail.example"}, from}), "must begin with smtp://"));
  EXPECT_TRUE(
      holds(refusal("email", {{"server", "smtp://me:pw@mail.example"}, from}), "must not hold a user"));
  for (const char* half :
       {"smtp://", "smtp://:25", "smtp://mail.example:", "smtps://mail.example:/", "smtp://mail.example:0",
        "smtp://mail.example:70000", "smtp://mail.example:smtp", "smtp://[::1]:"}) {
    EXPECT_TRUE(holds(refusal("email", {{"server", half}, from}), "a port of 1 to 65535")) << half;
  }
  for (const char* whole :
       {"smtp://mail.example", "smtps://mail.example:465/", "smtp://[::1]", "smtp://[::1]:25"})
    EXPECT_EQ(refusal("email", {{"server", whole}, from}), "opened") << whole;
  EXPECT_TRUE(holds(refusal("email", {server, {"from", "Room <a@b>"}}), "plain address"));
  EXPECT_TRUE(holds(refusal("email", {server, from, {"user", "me"}}), "go together"));
  EXPECT_TRUE(holds(refusal("email", {server, from, {"allow_plain", "yes"}}), "must be true or false"));
  EXPECT_TRUE(holds(refusal("email", {server, from, {"passwort", "x"}}), "unknown key 'passwort'"));
}

}  // namespace
}  // namespace baskwell::plugin_host
