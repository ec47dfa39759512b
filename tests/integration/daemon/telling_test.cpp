// From a cold probe to people: mailbox, webhook and command; a channel that is dead; a mail server that
// hangs.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <csignal>
#include <filesystem>
#include <string>

#include "broker_peer.h"
#include "harness.h"
#include "receivers.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using testing::AllOf;
using testing::HasSubstr;
using testing::SizeIs;

// The first 100 characters of UTF-8 text.
std::string first_100(const std::string& all) {
  std::size_t characters = 0;
  std::size_t end = 0;
  for (; end < all.size(); ++end) {
    const bool begins = (static_cast<unsigned char>(all[end]) & 0xC0U) != 0x80U;
    if (begins && ++characters > 100) break;
  }
  return all.substr(0, end);
}

// Place, animal, number with unit and first action (issue 2, item 9).
const auto can_be_acted_on =
    AllOf(HasSubstr("North vivarium"), HasSubstr("Juniper"), HasSubstr("24.1 °C"), HasSubstr("Check"));

// Publishes a value again and again until `done`: the on-delay wants readings, and they come as a probe's do.
template <class Done>
bool publish_until(StreamPublisher& publisher, const std::string& topic, const std::string& value,
                   Done done) {
  return eventually(patience, [&] {
    publisher.publish(topic, 1, [&](int) { return value; });
    return done();
  });
}

std::string mail_channel(long port, const std::string& more) {
  return "[channels.mail]\nkind = \"email\"\nserver = \"smtp://127.0.0.1:" + std::to_string(port) +
         "\"\nfrom = \"baskwell@example.org\"\n" + more;
}

TEST(Telling, AColdEnclosureReachesAMailboxAWebhookAndACommand) {
  const BrokerPeer broker;
  const peers::TempFolder keys;
  const auto made = peers::make_certificates(keys);
  ASSERT_TRUE(made.ok()) << made.error().text;
  const Mailbox mailbox({"--tls", "starttls", "--certificate", made.value().server_file, "--key",
                         made.value().server_key_file});
  const WebReceiver hook(&made.value());
  const Script script(keys, "bell");
  const std::string ca = "ca_file = \"" + made.value().ca_file + "\"\n";
  Daemon daemon(
      room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold") +
      mail_channel(mailbox.port(), ca) +
      "[channels.hook]\nkind = \"webhook\"\nurl = \"https://127.0.0.1:" + std::to_string(hook.port()) +
      "/alarm\"\n" + ca + command_channel("bell", script) + person("ines", "Ines Okafor", {"mail"}) +
      person("tom", "Tom Weir", {"hook"}) + person("ada", "Ada Lind", {"bell"}));
  daemon.start();
  StreamPublisher publisher(broker.settings().port);
  const auto all_heard_of = [&](std::size_t count) {
    return mailbox.letters().size() >= count && hook.told().size() >= count && script.told().size() >= count;
  };
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "24.0625", [&] { return all_heard_of(1); }))
      << daemon.log();

  const json::value letter = mailbox.letters()[0];
  EXPECT_THAT(first_100(text(letter.at("headers"), "subject")), can_be_acted_on);
  EXPECT_TRUE(letter.at("tls").as_bool());
  EXPECT_EQ(letter.at("to").as_array()[0].as_string(), "ines@example.org");
  EXPECT_THAT(text(letter, "body"), HasSubstr("30"));  // the limit
  for (const Told& told : {hook.told()[0], script.told()[0]}) {
    EXPECT_THAT(first_100(told.headline), can_be_acted_on);
    EXPECT_EQ(told.kind, "too-cold");
    EXPECT_EQ(told.reason, "raised");
    EXPECT_EQ(told.occurrence, "A1");
  }
  EXPECT_EQ(hook.told()[0].person, "Tom Weir");

  // Warm again: each hears that it is over, once.
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "31", [&] { return all_heard_of(2); }))
      << daemon.log();
  EXPECT_EQ(daemon.stop(), 0);
  ASSERT_THAT(hook.told(), SizeIs(2));
  ASSERT_THAT(script.told(), SizeIs(2));
  ASSERT_THAT(mailbox.letters(), SizeIs(2));
  EXPECT_EQ(hook.told()[1].reason, "over");
  EXPECT_EQ(script.told()[1].reason, "over");
  EXPECT_THAT(text(mailbox.letters()[1].at("headers"), "subject"), HasSubstr("Over:"));
}

TEST(Telling, WhenTheFirstChannelIsDeadTheSecondTellsAndTheFailureIsAnAlarm) {
  const BrokerPeer broker;
  const peers::TempFolder scripts;
  const Script bell(scripts, "bell");
  const std::uint16_t nobody = peers::free_loopback_port();
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold") +
                mail_channel(nobody, "allow_plain = true\n") + command_channel("bell", bell) +
                person("ines", "Ines Okafor", {"mail", "bell"}));
  daemon.start();
  StreamPublisher publisher(broker.settings().port);
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "24", [&] { return !bell.told().empty(); }))
      << daemon.log();
  EXPECT_EQ(bell.told()[0].kind, "too-cold");
  ASSERT_TRUE(eventually(patience, [&] { return !of_kind(daemon.alarms(), "delivery-failed").empty(); }))
      << daemon.log();
  const json::value failed = of_kind(daemon.alarms(), "delivery-failed")[0];
  EXPECT_EQ(text(failed, "subject"), "mail");
  EXPECT_EQ(text(failed, "state"), "unacknowledged");
  // The cause in words, and what follows.
  EXPECT_THAT(text(failed, "detail"), HasSubstr("goes on to bell"));
}

TEST(Telling, DeliveryFailedIsOverWithTheFirstMessageThatGetsThrough) {
  const BrokerPeer broker;
  const peers::TempFolder scripts;
  const Script bell(scripts, "bell");
  const Script horn(scripts, "horn");
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold", "1 s", "1 s") +
                command_channel("bell", bell) + command_channel("horn", horn) +
                person("ines", "Ines Okafor", {"bell", "horn"}));
  bell.break_it();
  daemon.start();
  StreamPublisher publisher(broker.settings().port);
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "24", [&] { return !horn.told().empty(); }));
  ASSERT_TRUE(eventually(patience, [&] { return !of_kind(daemon.alarms(), "delivery-failed").empty(); }));
  EXPECT_TRUE(bell.told().empty());
  bell.mend_it();
  // The repeats of the alarm bring the proof.
  ASSERT_TRUE(eventually(patience, [&] { return !bell.told().empty(); })) << daemon.log();
  ASSERT_TRUE(eventually(patience, [&] {
    const json::array failed = of_kind(daemon.alarms(), "delivery-failed");
    return failed.empty() || text(failed[0], "state") == "returned-unacknowledged";
  })) << daemon.log();
}

TEST(Telling, ACleanStopTakesAtMostFiveSecondsAlsoWithAHangingMailServer) {
  const BrokerPeer broker;
  const Mailbox silent({"--silent"});
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold") +
                mail_channel(silent.port(), "allow_plain = true\ntimeout = \"60 s\"\n") +
                person("ines", "Ines Okafor", {"mail"}));
  daemon.start();
  StreamPublisher publisher(broker.settings().port);
  const auto attempted = [&] {
    return daemon.ask("status").at("delivery").at("attempts").to_number<std::uint64_t>() == 1;
  };
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "24", attempted)) << daemon.log();
  const auto told_to = std::chrono::steady_clock::now();
  daemon.process().signal(SIGTERM);
  const auto ended = daemon.process().wait_for_end(patience);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - told_to;
  ASSERT_TRUE(ended.ok()) << ended.error().text;
  EXPECT_EQ(ended.value(), 0) << daemon.log();
  EXPECT_LT(took.count(), 5.0 * slowness);
  EXPECT_FALSE(std::filesystem::exists(daemon.socket()));
  // The alarm is on record; whether the letter arrived nobody knows.
  EXPECT_THAT(daemon.rows("SELECT kind, to_state FROM transitions WHERE kind = 'too-cold'"),
              testing::ElementsAre("too-cold|unacknowledged"));
  EXPECT_THAT(daemon.rows("SELECT state FROM outbox WHERE reason = 'raised'"),
              testing::ElementsAre("attempted"));
}

TEST(Telling, ACleanStopAndANewStartGoOnWithTheSameAlarmAndTellNobodyTwice) {
  const BrokerPeer broker;
  const WebReceiver hook;
  Daemon daemon(room_of_one(broker_at(broker.settings().port)) + quick_alarm("too-cold") +
                "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" +
                std::to_string(hook.port()) + "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"}));
  daemon.start();
  StreamPublisher publisher(broker.settings().port);
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "24", [&] { return !hook.told().empty(); }));
  const auto before = short_lines(daemon.alarms());
  EXPECT_EQ(daemon.stop(), 0) << daemon.log();
  daemon.start();
  EXPECT_EQ(short_lines(daemon.alarms()), before);
  // What comes next comes alone: the end of the alarm, not its beginning again.
  ASSERT_TRUE(publish_until(publisher, "room/north/hot", "31", [&] { return hook.told().size() >= 2; }))
      << daemon.log();
  EXPECT_EQ(hook.told()[1].reason, "over");
  EXPECT_THAT(hook.told(), SizeIs(2));
}

}  // namespace
}  // namespace baskwell::daemon_test
