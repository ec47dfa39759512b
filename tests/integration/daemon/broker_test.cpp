// The daemon and a real broker: killed and back, TLS with a login, both versions of MQTT, retained messages.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <optional>
#include <stdexcept>
#include <string>
#include <thread>

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
using std::chrono::milliseconds;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

double value_at(const Daemon& daemon, const std::string& zone) {
  const json::object spot = daemon.spot("north-" + zone + "/temperature");
  return spot.at("value").is_null() ? -1000.0 : spot.at("value").to_number<double>();
}

// [broker] as a keeper writes it for this peer; the password in a file of its own.
std::string broker_table(const BrokerPeer& broker, const std::string& version,
                         const std::string& password_file, const std::string& ca_file) {
  const BrokerSettings reach = broker.settings();
  std::string table = "[broker]\naddress = \"" + reach.address + "\"\nversion = " + version +
                      "\nclient_id = \"baskwell-under-test\"\n";
  if (!reach.user.empty())
    table += "user = \"" + reach.user + "\"\npassword = { file = \"" + password_file + "\" }\n";
  if (!ca_file.empty()) table += "ca_file = \"" + ca_file + "\"\n";
  return table;
}

// Both probes send as long as a broker is there.
class Probes {
 public:
  explicit Probes(std::uint16_t port) : port_(port), thread_([this] { send(); }) {}
  ~Probes() {
    ended_ = true;
    thread_.join();
  }
  Probes(const Probes&) = delete;
  Probes& operator=(const Probes&) = delete;

 private:
  void send() {
    std::optional<StreamPublisher> publisher;
    for (int i = 0; !ended_; ++i) {
      try {
        if (!publisher) publisher.emplace(port_);
        publisher->publish("room/north/hot", 1, [&](int) { return std::to_string(31 + 0.1 * (i % 7)); });
        publisher->publish("room/north/cool", 1, [&](int) { return std::to_string(24 + 0.1 * (i % 5)); });
      } catch (const std::runtime_error&) {
        publisher.reset();  // the broker is away
      }
      std::this_thread::sleep_for(milliseconds(50));  // their interval
    }
  }
  std::uint16_t port_;
  std::atomic<bool> ended_ = false;
  std::thread thread_;
};

// At this pace 15 minutes of silence, after which a probe would be called silent, are some seconds.
TEST(Broker, KilledAndRestartedIsOneAlarmAndItsEndAndReadingsGoOn) {
  constexpr int pace = slowness > 1 ? 100 : 600;
  BrokerPeer broker;
  const WebReceiver hook;
  Daemon daemon(
      room_of_one(broker_at(broker.settings().port)) +
      "[alarms.intake-trouble]\non_delay = \"2 min\"\nharm_on_delay = \"2 min\"\noff_delay = \"1 min\"\n"
      "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" +
      std::to_string(hook.port()) + "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"}));
  daemon.start({"--pace", std::to_string(pace)});
  const Probes probes(broker.settings().port);
  ASSERT_TRUE(eventually(patience, [&] { return value_at(daemon, "cool") > 20; })) << daemon.log();
  EXPECT_TRUE(daemon.alarms().empty()) << json::serialize(daemon.alarms());

  broker.kill_at_once();
  // Until far beyond the time after which both probes would be silent.
  const auto away_from = std::chrono::steady_clock::now();
  const auto away_for = milliseconds(40 * 60'000 / pace);
  ASSERT_TRUE(eventually(patience, [&] { return std::chrono::steady_clock::now() - away_from > away_for; }));
  {
    const json::array trouble = of_kind(daemon.alarms(), "intake-trouble");
    ASSERT_THAT(trouble, SizeIs(1)) << json::serialize(daemon.alarms()) << daemon.log();
    EXPECT_EQ(text(trouble[0], "state"), "unacknowledged");
    EXPECT_EQ(text(trouble[0], "priority"), "high");
    EXPECT_THAT(text(trouble[0], "detail"), HasSubstr("Connection refused"));
    EXPECT_FALSE(daemon.ask("room").at("broker_connected").as_bool());
  }
  ASSERT_TRUE(eventually(patience, [&] { return !hook.told().empty(); }));

  broker.start();
  ASSERT_TRUE(eventually(patience, [&] {
    const json::array trouble = of_kind(daemon.alarms(), "intake-trouble");
    return !trouble.empty() && text(trouble[0], "state") == "returned-unacknowledged";
  })) << daemon.log();
  const auto stored = [&] { return std::stol(daemon.rows("SELECT count(*) FROM readings")[0]); };
  const long then = stored();
  ASSERT_TRUE(eventually(patience, [&] { return stored() > then + 10; })) << daemon.log();
  EXPECT_TRUE(daemon.spot("north-hot/temperature").at("fresh").as_bool());

  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_THAT(daemon.rows("SELECT occurrence, to_state FROM transitions WHERE kind = 'intake-trouble'"),
              testing::ElementsAre("A1|unacknowledged", "A1|returned-unacknowledged"));
  // No storm: silence had one cause, and that was told.
  EXPECT_THAT(daemon.rows("SELECT subject FROM transitions WHERE to_state = 'unacknowledged' "
                          "AND kind <> 'intake-trouble'"),
              IsEmpty());
  for (const Told& told : hook.told()) EXPECT_EQ(told.kind, "intake-trouble") << told.headline;
}

class BothVersions : public testing::TestWithParam<const char*> {};
INSTANTIATE_TEST_SUITE_P(Mqtt, BothVersions, testing::Values("5", "\"3.1.1\""), [](const auto& version) {
  return std::string(version.param) == "5" ? "Version5" : "Version311";
});

TEST_P(BothVersions, OverTlsWithUserPasswordAndAuthority) {
  const BrokerPeer broker({.tls = true, .user = "baskwell", .password = "many-coils-of-rope"});
  const peers::TempFolder secrets;
  const std::string password = secrets.write("password", "many-coils-of-rope\n");
  Daemon daemon(room_of_one(broker_table(broker, GetParam(), password, broker.certificates().ca_file)));
  daemon.start();
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  broker.publish("room/north/hot", "31.25");
  ASSERT_TRUE(eventually(patience, [&] { return value_at(daemon, "hot") == 31.25; })) << daemon.log();
}

TEST_P(BothVersions, AWrongPasswordAndAStrangersAuthorityAreToldInWords) {
  const BrokerPeer broker({.tls = true, .user = "baskwell", .password = "many-coils-of-rope"});
  const peers::TempFolder secrets;
  const std::string wrong = secrets.write("wrong", "not-this-one\n");
  const std::string right = secrets.write("right", "many-coils-of-rope\n");
  const std::string trouble = quick_alarm("intake-trouble", "200 ms");
  for (const auto& [settings, words] :
       {std::pair{broker_table(broker, GetParam(), wrong, broker.certificates().ca_file),
                  "the broker refused user 'baskwell'"},
        std::pair{broker_table(broker, GetParam(), right, broker.certificates().stranger_file),
                  "certificate is not accepted"}}) {
    Daemon daemon(room_of_one(settings) + trouble);
    daemon.start();
    EXPECT_TRUE(eventually(patience,
                           [&, said = words] {
                             const json::array alarms = of_kind(daemon.alarms(), "intake-trouble");
                             return !alarms.empty() &&
                                    text(alarms[0], "detail").find(said) != std::string::npos;
                           }))
        << json::serialize(daemon.alarms()) << daemon.log();
  }
}

TEST_P(BothVersions, RetainedMessagesAreNeverFresh) {
  const BrokerPeer broker;
  broker.publish("room/north/hot", "12", {"-r"});  // far too cold, and who knows since when
  Daemon daemon(room_of_one(broker_table(broker, GetParam(), "", "")) + quick_alarm("too-cold", "0 s"));
  daemon.start();
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  // The broker sends what it kept before anything that is published later.
  broker.publish("room/north/cool", "24");
  ASSERT_TRUE(eventually(patience, [&] { return value_at(daemon, "cool") == 24; })) << daemon.log();
  const json::object spot = daemon.spot("north-hot/temperature");
  EXPECT_TRUE(spot.at("value").is_null());
  EXPECT_FALSE(spot.at("fresh").as_bool());
  EXPECT_TRUE(daemon.alarms().empty());
  EXPECT_THAT(daemon.command({"room"}).output, HasSubstr("not heard yet"));
  // It did arrive.
  const json::value payloads = daemon.ask("payloads");
  for (const json::value& source : payloads.at("sources").as_array()) {
    EXPECT_EQ(source.at("payloads").to_number<int>(), 1) << json::serialize(source);
  }
  broker.publish("room/north/hot", "31");
  ASSERT_TRUE(eventually(patience, [&] { return value_at(daemon, "hot") == 31; }));
  EXPECT_TRUE(daemon.spot("north-hot/temperature").at("fresh").as_bool());
}

}  // namespace
}  // namespace baskwell::daemon_test
