// What is learned of the heating outlives kill -9, a restart, other settings; a text that cannot be read is
// kept and does not keep the daemon from watching. The demo room sends, at a high pace.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
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
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr int pace = slowness > 1 ? 200 : 600;

// Of the probe that is judged by.
double days_learned(const Daemon& daemon) {
  const Ended ended = daemon.command({"heat", "shelf-1", "--json"});
  EXPECT_EQ(ended.status, 0) << ended.output;
  return json::parse(ended.output).at("heating").at("probes").at(0).at("days_learned").to_number<double>();
}

std::vector<std::string> kept_aside(const Daemon& daemon) {
  std::vector<std::string> texts;
  for (const auto& entry : std::filesystem::directory_iterator(daemon.folder().path() / "store")) {
    if (entry.path().filename().string().find("-unreadable-learned-2") == std::string::npos) continue;
    std::ifstream file(entry.path());
    texts.emplace_back(std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>());
  }
  return texts;
}

TEST(Learned, OutlivesKillReloadAndDamage) {
  const BrokerPeer broker;
  const Mailbox mailbox;
  const std::string address = "tcp://127.0.0.1:" + std::to_string(broker.settings().port);
  Daemon daemon(demo_settings(broker, mailbox));
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
  std::this_thread::sleep_until(begin);  // the probes send from now on
  daemon.start(clock);

  // Four hours of the room later, by the hourly writing alone.
  const auto written_after = [&](std::string_view moment) {
    return "SELECT 1 FROM learned WHERE at_ms >= " + std::to_string(utc_from_rfc3339(moment)->ms);
  };
  const auto within = milliseconds(6 * hour_ms / pace) + patience;
  ASSERT_TRUE(eventually(within, [&] {
    std::this_thread::sleep_for(milliseconds(200));  // each look starts a program
    return !daemon.rows(written_after("2026-11-24T15:00:00Z")).empty();
  })) << daemon.log();
  daemon.kill_at_once();
  daemon.start(clock);
  // Of four hours not all quarters count: the first and the last are not whole.
  const double after_kill = days_learned(daemon);
  EXPECT_GT(after_kill, 3.0 / 24.0);
  EXPECT_LT(after_kill, 1.0);

  daemon.process().signal(SIGHUP);
  ASSERT_TRUE(daemon.process().wait_for_line("in force", patience).ok()) << daemon.log();
  const double after_reload = days_learned(daemon);
  EXPECT_GE(after_reload, after_kill);

  ASSERT_EQ(daemon.stop(), 0);
  daemon.start(clock);
  EXPECT_GE(days_learned(daemon), after_reload);  // written at the clean end
  EXPECT_THAT(kept_aside(daemon), IsEmpty());

  daemon.kill_at_once();
  const Ended damaged = run(
      {"sqlite3", daemon.store_file(), "UPDATE learned SET text = 'baskwell-heat 1' || char(10) || 'moths'"});
  ASSERT_EQ(damaged.status, 0) << damaged.output;
  daemon.start(clock);
  EXPECT_LT(days_learned(daemon), after_reload);
  EXPECT_THAT(daemon.log(), HasSubstr("the heating is learned anew: line 2 of what was learned"));
  EXPECT_THAT(kept_aside(daemon), ElementsAre("baskwell-heat 1\nmoths"));
  // Something readable lies on top at once: the next start finds it.
  daemon.kill_at_once();
  daemon.start(clock);
  EXPECT_THAT(kept_aside(daemon), testing::SizeIs(1));
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(room.value().stop(), 0);
}

}  // namespace
}  // namespace baskwell::daemon_test
