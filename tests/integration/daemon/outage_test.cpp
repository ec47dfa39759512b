// A power cut in the demo room, over a real broker: the daemon says what was away from when to when, tells a
// person once things have settled, and again when the table's timer proves to have stood still.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
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
using testing::HasSubstr;

constexpr int pace = slowness > 1 ? 200 : 600;
constexpr std::int64_t cut_after_ms = 2 * hour_ms;  // lights-on was seen half an hour after the start
constexpr int cut_min = 40;

// Subjects of the letters about outages.
std::vector<std::string> outage_subjects(const Mailbox& mailbox) {
  std::vector<std::string> found;
  for (const json::value& letter : mailbox.letters()) {
    const std::string subject = text(letter.at("headers"), "subject");
    if (subject.find("was away") != std::string::npos) found.push_back(subject);
  }
  return found;
}

json::object newest_outage(const Daemon& daemon) {
  const Ended ended =
      run({BASKWELL_PROGRAM, "outage", "--last", "--json", "--settings", daemon.folder().file("room.toml")});
  EXPECT_EQ(ended.status, 0) << ended.output;
  const std::size_t begin = ended.output.find('[');
  const json::array list =
      json::parse(ended.output.substr(begin == std::string::npos ? 0 : begin)).as_array();
  return list.empty() ? json::object() : list[0].as_object();
}

void expect_moment(const json::object& outage, std::string_view key, std::string_view should) {
  const auto is = utc_from_rfc3339(text(outage, key));
  ASSERT_TRUE(is.has_value()) << json::serialize(outage);
  // What a busy machine adds to a reading's way, times the pace.
  constexpr std::int64_t within_ms = 4 * minute_ms;
  EXPECT_LE(std::abs(*is - *utc_from_rfc3339(should)), within_ms) << rfc3339(*is) << " against " << should;
}

TEST(Outage, APowerCutIsNamedTimedCheckedAndTold) {
  const BrokerPeer broker;
  const Mailbox mailbox;
  const std::string address = "tcp://127.0.0.1:" + std::to_string(broker.settings().port);
  Daemon daemon(demo_settings(broker, mailbox));
  const auto begin = std::chrono::system_clock::now() + std::chrono::seconds(5 * slowness);
  const std::int64_t begin_ms = std::chrono::duration_cast<milliseconds>(begin.time_since_epoch()).count();
  const std::vector<std::string> clock{"--pace",   std::to_string(pace),    "--start", "2026-11-24T07:30:00Z",
                                       "--anchor", rfc3339(UtcMs{begin_ms})};
  peers::Start start;
  start.argv = {BASKWELL_DEMO_ROOM, "--broker", address, "--seed", "7"};
  start.argv.insert(start.argv.end(), clock.begin(), clock.end());
  start.argv.insert(start.argv.end(),
                    {"--fault", "2026-11-24T09:30:00Z power-cut all for " + std::to_string(cut_min)});
  start.ready = "publishing";
  start.ready_within = patience;
  auto room = peers::Process::start(start);
  ASSERT_TRUE(room.ok()) << room.error().text;
  ASSERT_LT(std::chrono::system_clock::now(), begin) << "too slow a machine for this pace";
  std::this_thread::sleep_until(begin);  // the probes send from now on
  daemon.start(clock);

  // Two hours after the power is back everything has settled.
  const auto settled_by = std::chrono::milliseconds((cut_after_ms + 6 * hour_ms) / pace) + patience;
  ASSERT_TRUE(eventually(settled_by, [&] {
    std::this_thread::sleep_for(milliseconds(200));
    return !outage_subjects(mailbox).empty();
  })) << daemon.log();
  EXPECT_THAT(outage_subjects(mailbox)[0], HasSubstr("Mains power"));
  const json::object settled = newest_outage(daemon);
  EXPECT_EQ(text(settled, "outage"), "O1");
  EXPECT_EQ(text(settled, "kind"), "mains");
  EXPECT_EQ(text(settled, "stage"), "settled");
  expect_moment(settled, "from", "2026-11-24T09:30:00Z");
  expect_moment(settled, "to", "2026-11-24T10:10:00Z");
  EXPECT_EQ(settled.at("enclosures").as_array().size(), 11U);  // eight, and three tubs with a probe

  // At 20:40 the table's lights go off, late by the length of the cut.
  const auto late_by = std::chrono::milliseconds(12 * hour_ms / pace) + patience;
  ASSERT_TRUE(eventually(late_by, [&] {
    std::this_thread::sleep_for(milliseconds(200));
    return outage_subjects(mailbox).back().find("Look at Table 1") != std::string::npos;
  })) << daemon.log();
  EXPECT_EQ(daemon.stop(), 0);
  EXPECT_EQ(room.value().stop(), 0);

  // From the store, the daemon gone.
  const json::object after = newest_outage(daemon);
  for (const json::value& line : after.at("enclosures").as_array()) {
    if (text(line, "enclosure") != "table-1") continue;
    EXPECT_NEAR(line.at("lights_late_min").to_number<double>(), cut_min, 4);
    EXPECT_EQ(text(line, "verdict"), "look");
  }
  const Ended check =
      run({BASKWELL_PROGRAM, "outage", "O1", "--settings", daemon.folder().file("room.toml")});
  EXPECT_EQ(check.status, 0);
  EXPECT_THAT(check.output, HasSubstr("Table 1"));
  EXPECT_THAT(check.output, HasSubstr("look  lights run"));
  const Ended unknown =
      run({BASKWELL_PROGRAM, "outage", "O9", "--settings", daemon.folder().file("room.toml")});
  EXPECT_EQ(unknown.status, 1);
  EXPECT_THAT(unknown.output, HasSubstr("no outage is called 'O9'"));
}

}  // namespace
}  // namespace baskwell::daemon_test
