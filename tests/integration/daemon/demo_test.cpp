// The demo room's program drives the daemon over a real broker: three hours of a healthy room raise nothing;
// then a heater fails and its enclosure alone is too cold.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <thread>

#include "broker_peer.h"
#include "core/moment.h"
#include "demo_settings.h"
#include "harness.h"
#include "receivers.h"

namespace baskwell::daemon_test {
namespace {

namespace json = boost::json;
using intake::BrokerPeer;
using peers::eventually;
using std::chrono::milliseconds;
using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr int pace = slowness > 1 ? 200 : 600;
constexpr std::int64_t simulated_ms = 3 * hour_ms;

TEST(Demo, AHealthyRoomIsQuietAndAFailedHeaterIsTheOnlyAlarm) {
  const BrokerPeer broker;
  const Mailbox mailbox;
  const std::string address = "tcp://127.0.0.1:" + std::to_string(broker.settings().port);
  Daemon daemon(demo_settings(broker, mailbox));
  // Both clocks show the same: some real seconds from now it is eleven in the morning in the demo room.
  const auto begin = std::chrono::system_clock::now() + std::chrono::seconds(5 * slowness);
  const std::int64_t begin_ms = std::chrono::duration_cast<milliseconds>(begin.time_since_epoch()).count();
  const std::vector<std::string> clock{"--pace",   std::to_string(pace),    "--start", "2026-11-24T11:00:00Z",
                                       "--anchor", rfc3339(UtcMs{begin_ms})};
  peers::Start start;
  start.argv = {BASKWELL_DEMO_ROOM, "--broker", address, "--seed", "7"};
  start.argv.insert(start.argv.end(), clock.begin(), clock.end());
  start.ready = "publishing";
  start.ready_within = patience;
  auto room = peers::Process::start(start);
  ASSERT_TRUE(room.ok()) << room.error().text;
  ASSERT_LT(std::chrono::system_clock::now(), begin) << "too slow a machine for this pace";
  std::this_thread::sleep_until(begin);  // the probes send from now on
  daemon.start(clock);

  std::this_thread::sleep_until(begin + milliseconds(simulated_ms / pace));  // three hours of the room
  const json::value view = daemon.ask("room");
  EXPECT_GE(utc_from_rfc3339(text(view, "at")).value_or(UtcMs{0}), *utc_from_rfc3339("2026-11-24T14:00:00Z"));
  std::size_t fresh = 0;
  for (const json::value& spot : view.at("spots").as_array()) {
    EXPECT_TRUE(spot.at("fresh").as_bool()) << json::serialize(spot);
    ++fresh;
  }
  EXPECT_GT(fresh, 20U);
  EXPECT_TRUE(view.at("alarms").as_array().empty())
      << testing::PrintToString(short_lines(view.at("alarms").as_array()));
  const std::string raised = "SELECT kind, subject FROM transitions WHERE to_state = 'unacknowledged'";
  EXPECT_THAT(daemon.rows(raised), IsEmpty());
  EXPECT_TRUE(mailbox.letters().empty());

  const Ended fault = run({BASKWELL_DEMO_ROOM, "do", "heater-off shelf-2", "--broker", address});
  ASSERT_EQ(fault.status, 0) << fault.output;
  ASSERT_TRUE(eventually(patience, [&] {
    std::this_thread::sleep_for(milliseconds(50));  // each look starts a program
    return !mailbox.letters().empty();
  })) << daemon.log();
  const json::array alarms = daemon.alarms();
  ASSERT_EQ(alarms.size(), 1U) << testing::PrintToString(short_lines(alarms));
  EXPECT_EQ(text(alarms[0], "kind"), "too-cold");
  EXPECT_EQ(text(alarms[0], "enclosure"), "shelf-2");
  EXPECT_THAT(text(mailbox.letters()[0].at("headers"), "subject"),
              AllOf(HasSubstr("Shelf 2"), HasSubstr("Bramble"), HasSubstr("°C"), HasSubstr("too cold")));
  EXPECT_THAT(daemon.rows(raised), testing::Each(HasSubstr("too-cold|shelf-2/")));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(room.value().stop(), 0);
}

}  // namespace
}  // namespace baskwell::daemon_test
