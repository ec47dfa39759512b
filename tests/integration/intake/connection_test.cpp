// How intake gets to the broker and back to it, and what it says when it does not.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <string>

#include "broker_peer.h"
#include "harness.h"

namespace baskwell::intake {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;
using std::chrono::steady_clock;
using testing::EndsWith;
using testing::HasSubstr;

class OfBothVersions : public testing::TestWithParam<MqttVersion> {};
INSTANTIATE_TEST_SUITE_P(Mqtt, OfBothVersions, testing::Values(MqttVersion::v3_1_1, MqttVersion::v5),
                         [](const auto& version) {
                           return version.param == MqttVersion::v5 ? "Version5" : "Version311";
                         });

Settings one_probe(const BrokerSettings& broker) {
  Settings settings;
  add_source(settings, "room/a");
  settings.broker = broker;
  return settings;
}

// Publishes until a reading of it has come.
testing::AssertionResult hears(Harness& harness, const BrokerPeer& broker) {
  const std::size_t before = harness.heard.readings.size();
  broker.publish("room/a", "21.5");
  if (harness.until([&] { return harness.heard.readings.size() > before; }))
    return testing::AssertionSuccess();
  return testing::AssertionFailure() << "no reading came\n" << harness.story();
}

TEST_P(OfBothVersions, PlainConnectionBringsReadings) {
  const BrokerPeer broker;
  Harness harness(one_probe(broker.settings(GetParam())));
  ASSERT_TRUE(harness.connected()) << harness.story();
  const std::int64_t before_ms = real_now().utc.ms;
  ASSERT_TRUE(hears(harness, broker));
  const ReadingEvent& reading = harness.heard.readings.front();
  EXPECT_EQ(reading.value, (Decimal{215, 1}));
  EXPECT_FALSE(reading.retained || reading.queued);
  EXPECT_GE(reading.at.utc.ms, before_ms);
  EXPECT_LE(reading.at.utc.ms, real_now().utc.ms);
  EXPECT_EQ(harness.broker_events().size(), 1U) << harness.story();
  EXPECT_GE(harness.woken, 2);
  const auto stopping = steady_clock::now();
  harness.intake->stop();
  EXPECT_LT(steady_clock::now() - stopping, seconds(2));
}

TEST_P(OfBothVersions, TlsWithAnAuthorityOfOnesOwn) {
  const BrokerPeer broker({.tls = true});
  Harness harness(one_probe(broker.settings(GetParam())));
  ASSERT_TRUE(harness.connected()) << harness.story();
  EXPECT_TRUE(hears(harness, broker));
}

TEST_P(OfBothVersions, TlsWithAStrangersCertificateIsRefusedInWords) {
  const BrokerPeer broker({.tls = true});
  BrokerSettings settings = broker.settings(GetParam());
  settings.ca_file = broker.certificates().stranger_file;
  Harness harness(one_probe(settings));
  ASSERT_TRUE(harness.until([&] { return !harness.broker_events().empty(); }));
  EXPECT_FALSE(harness.broker_events()[0].connected);
  EXPECT_THAT(harness.broker_events()[0].detail,
              HasSubstr("TLS: the broker's certificate is not accepted: "));
}

TEST_P(OfBothVersions, UserAndPassword) {
  const BrokerPeer broker({.user = "keeper", .password = "correct horse"});
  Harness harness(one_probe(broker.settings(GetParam())));
  ASSERT_TRUE(harness.connected()) << harness.story();
  EXPECT_TRUE(hears(harness, broker));
}

TEST_P(OfBothVersions, AWrongPasswordIsSaidInWordsWithoutThePassword) {
  const BrokerPeer broker({.user = "keeper", .password = "correct horse"});
  BrokerSettings settings = broker.settings(GetParam());
  settings.password = Secret(broker.folder().write("wrong", "battery staple"));
  Harness harness(one_probe(settings));
  ASSERT_TRUE(harness.until([&] { return !harness.broker_events().empty(); }));
  const BrokerEvent event = harness.broker_events()[0];
  EXPECT_FALSE(event.connected);
  EXPECT_THAT(event.detail,
              EndsWith("the broker refused user 'keeper': wrong user or password, or not allowed "
                       "to connect"));
  EXPECT_EQ(event.detail.find("battery"), std::string::npos);
}

TEST(Connection, NobodyListeningIsSaidInWordsOnceAndEndsWhenSomebodyDoes) {
  BrokerPeer broker;
  broker.stop();
  Harness harness(one_probe(broker.settings()));
  ASSERT_TRUE(harness.until([&] { return !harness.broker_events().empty(); }));
  EXPECT_THAT(harness.broker_events()[0].detail, EndsWith("no connection to the broker: Connection refused"));
  broker.start();
  ASSERT_TRUE(harness.connected()) << harness.story();
  EXPECT_EQ(harness.broker_events().size(), 2U) << harness.story();
  EXPECT_TRUE(hears(harness, broker));
}

TEST(Connection, ANameThatIsNotKnownIsSaidInWords) {
  BrokerSettings settings;
  settings.host = "no-such-host.invalid";  // RFC 6761 section 6.4: never resolves
  settings.address = "mqtt://no-such-host.invalid:1883";
  Harness harness(one_probe(settings));
  ASSERT_TRUE(harness.until([&] { return !harness.broker_events().empty(); }));
  EXPECT_THAT(harness.broker_events()[0].detail, HasSubstr("the name 'no-such-host.invalid' is not known"));
}

TEST_P(OfBothVersions, ABrokerKilledAndRestartedMidStreamIsFoundAgain) {
  BrokerPeer broker;
  Settings settings = one_probe(broker.settings(GetParam()));
  add_source(settings, "room/kept").keep_queued = true;  // both sessions have to come back
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  ASSERT_TRUE(hears(harness, broker));
  for (int round = 0; round < 2; ++round) {
    broker.kill_at_once();
    ASSERT_TRUE(harness.until([&] { return !harness.broker_events().back().connected; })) << harness.story();
    broker.start();
    const auto back = steady_clock::now();
    ASSERT_TRUE(harness.connected()) << harness.story();
    // Few attempts have failed by then: waits of at most 1, 2, 4 and 8 s.
    EXPECT_LT(steady_clock::now() - back, seconds(9));
    EXPECT_TRUE(hears(harness, broker));
    const std::size_t before = harness.heard.readings.size();
    broker.publish("room/kept", "1");
    EXPECT_TRUE(harness.until([&] { return harness.heard.readings.size() > before; })) << harness.story();
  }
  // In order: connected, then away (perhaps with changing causes) and connected again, twice.
  const auto events = harness.broker_events();
  int changes = 0;
  for (std::size_t i = 0; i < events.size(); ++i) {
    if (i == 0 || events[i].connected != events[i - 1].connected) ++changes;
    if (i > 0) {
      EXPECT_GE(events[i].at.elapsed, events[i - 1].at.elapsed);
      EXPECT_FALSE(events[i].connected && events[i - 1].connected);
      EXPECT_NE(events[i].detail, events[i - 1].detail);
    }
  }
  EXPECT_EQ(changes, 5) << harness.story();
}

TEST(Connection, ABrokerThatShutsDownOrderlySaysSo) {
  BrokerPeer broker;
  Harness harness(one_probe(broker.settings()));
  ASSERT_TRUE(harness.connected()) << harness.story();
  broker.stop();
  ASSERT_TRUE(harness.until([&] { return harness.broker_events().size() > 1; }));
  EXPECT_THAT(harness.broker_events()[1].detail,
              testing::AnyOf(HasSubstr("it is shutting down"), HasSubstr("the connection broke")));
}

TEST(Connection, TwoWithTheSameClientIdAreToldWhatGoesOn) {
  const BrokerPeer broker;
  Harness one(one_probe(broker.settings()));
  ASSERT_TRUE(one.connected()) << one.story();
  Harness other(one_probe(broker.settings()));
  // Each takes the session from the other, again and again.
  EXPECT_TRUE(one.until([&] {
    other.pump();
    return one.story().find("is the client id 'baskwell' used by somebody else?") != std::string::npos ||
           one.story().find("somebody else connected with the same client id") != std::string::npos;
  })) << one.story();
}

// The broker's own access control: everybody may connect and publish, and subscribe to room/ok only.
constexpr const char* only_one_topic = R"({
  "defaultACLAccess": {"publishClientSend": true, "publishClientReceive": true, "subscribe": false,
                       "unsubscribe": true},
  "clients": [], "groups": [{"groupname": "all", "roles": [{"rolename": "reader"}]}],
  "roles": [{"rolename": "reader",
             "acls": [{"acltype": "subscribeLiteral", "topic": "room/ok", "priority": 0, "allow": true}]}],
  "anonymousGroup": "all"})";

TEST_P(OfBothVersions, ARefusedSubscriptionIsToldAndTheOthersWork) {
  const BrokerPeer broker({.dynamic_security = only_one_topic});
  Settings settings;
  settings.broker = broker.settings(GetParam());
  add_source(settings, "room/ok");
  add_source(settings, "room/secret");
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  ASSERT_TRUE(harness.until([&] { return !harness.heard.all<IntakeTroubleEvent>().empty(); }));
  const IntakeTroubleEvent trouble = harness.heard.all<IntakeTroubleEvent>()[0];
  EXPECT_TRUE(trouble.bad);
  EXPECT_THAT(trouble.detail, HasSubstr("the broker refused to send 'room/secret'"));
  EXPECT_EQ(trouble.detail.find("room/ok"), std::string::npos) << trouble.detail;
  broker.publish("room/ok", "20");
  EXPECT_TRUE(harness.until([&] { return harness.heard.readings.size() == 1; }));
}

TEST_P(OfBothVersions, TheOnlySubscriptionRefusedIsToldToo) {
  const BrokerPeer broker({.dynamic_security = only_one_topic});
  Harness harness(one_probe(broker.settings(GetParam())));
  ASSERT_TRUE(harness.connected()) << harness.story();
  ASSERT_TRUE(harness.until([&] { return !harness.heard.all<IntakeTroubleEvent>().empty(); }));
  EXPECT_THAT(harness.heard.all<IntakeTroubleEvent>()[0].detail, HasSubstr("'room/a'"));
}

TEST(Connection, HundredsOfFiltersAreSubscribedInPortions) {
  const BrokerPeer broker;
  Settings settings = one_probe(broker.settings());
  for (int i = 0; i < 350; ++i) add_source(settings, "room/many/" + std::to_string(i));
  Harness harness(settings);
  ASSERT_TRUE(harness.connected()) << harness.story();
  broker.publish("room/many/349", "1");
  broker.publish("room/many/0", "2");
  EXPECT_TRUE(harness.until([&] { return harness.heard.readings.size() == 2; }));
}

TEST(Connection, StoppingIsQuickWhileTheBrokerDoesNotAnswer) {
  // A program that accepts and never says a word.
  auto mute = peers::Process::start(
      command({"python3", "-u", "-c",
               "import socket,time\ns=socket.create_server(('127.0.0.1',0))\n"
               "print('listening port=%d' % s.getsockname()[1])\nc,_=s.accept()\nprint('taken')\n"
               "time.sleep(600)"},
              "port="));
  ASSERT_TRUE(mute.ok()) << mute.error().text;
  BrokerSettings settings;
  settings.host = "127.0.0.1";
  settings.port = static_cast<std::uint16_t>(mute.value().number_after("port="));
  settings.address = "mqtt://127.0.0.1";
  Harness harness(one_probe(settings));
  ASSERT_TRUE(mute.value().wait_for_line("taken", seconds(10)).ok());
  const auto stopping = steady_clock::now();
  harness.intake->stop();
  EXPECT_LT(steady_clock::now() - stopping, milliseconds(2500));
  EXPECT_TRUE(harness.broker_events().empty());
}

}  // namespace
}  // namespace baskwell::intake
