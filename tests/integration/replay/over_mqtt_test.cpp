// The measured office series through the running daemon over MQTT, at a fast pace, and through `baskwell
// replay`: the same band alarms in the same order, those that a naive loop finds. Source: Candanedo &
// Feldheim 2016, Energy and Buildings 112:28-39 (UCI 357, CC BY 4.0), read where it lies.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include "broker_peer.h"
#include "core/moment.h"
#include "harness.h"
#include "naive_alarms.h"
#include "program.h"
#include "stream_publisher.h"

namespace baskwell::replay_test {
namespace {

namespace fs = std::filesystem;
using daemon_test::patience;
using daemon_test::slowness;
using std::chrono::milliseconds;
using std::chrono::system_clock;

// The two days take 40 s. What the machine is late by, a quarter of a second, is a quarter of an hour of the
// room.
constexpr int pace = slowness > 1 ? 1000 : 4000;
constexpr std::int64_t tolerance_ms = 15 * minute_ms;
constexpr std::int64_t on_delay_ms = 30 * minute_ms;
constexpr std::int64_t off_delay_ms = 20 * minute_ms;

struct Row {
  UtcMs at;
  std::string temperature;
  std::string humidity;
};

// Local time of Mons, Belgium, in February: UTC+1.
std::vector<Row> read_office(const fs::path& file) {
  std::vector<Row> rows;
  std::ifstream in(file);
  for (std::string line; std::getline(in, line);) {
    const auto f = split(line, ',');
    if (line.starts_with("#") || f.size() < 3 || f[0] == "local_time") continue;
    const auto at = utc_from_rfc3339(f[0] + "+01:00");
    if (at) rows.push_back({*at, f[1], f[2]});
  }
  return rows;
}

// Bands that some of it must leave: its warm hours, its dampest afternoon.
std::string settings() {
  return room_head("Europe/Brussels") + R"([enclosures.office]
lights = "none"
bands.middle.temperature = { day = [nan, 22], night = [nan, 22], harm = "none" }
bands.middle.humidity = { day = [nan, 30], night = [nan, 30], harm = "none" }
[animals]
somebody = { species = "corn-snake", enclosure = "office" }
[instruments.desk]
topic = "office"
time = "/time"
enclosure = "office"
zone = "middle"
channels = [{ pointer = "/t", unit = "degC" }, { pointer = "/h", unit = "%RH" }]
[alarms.too-hot]
on_delay = "30 min"
off_delay = "20 min"
deadband = 0.5
[alarms.too-damp]
on_delay = "30 min"
off_delay = "20 min"
deadband = 3
)";
}

std::vector<std::string> naive(const std::vector<Row>& rows, std::int64_t longer_ms) {
  std::vector<Sample> warm;
  std::vector<Sample> damp;
  for (const Row& row : rows) {
    warm.push_back({row.at.ms, std::stod(row.temperature)});
    damp.push_back({row.at.ms, std::stod(row.humidity)});
  }
  auto all =
      naive_alarms(warm, {"too-hot", true, 22, 0.5, on_delay_ms + longer_ms, off_delay_ms + longer_ms});
  const auto other =
      naive_alarms(damp, {"too-damp", true, 30, 3, on_delay_ms + longer_ms, off_delay_ms + longer_ms});
  all.insert(all.end(), other.begin(), other.end());
  std::sort(all.begin(), all.end());
  return all;
}

// "TIME KIND STATE" without the time.
std::vector<std::string> what(const std::vector<std::string>& lines) {
  std::vector<std::string> all;
  all.reserve(lines.size());
  for (const std::string& line : lines) all.push_back(line.substr(line.find(' ') + 1));
  return all;
}

std::string replay_file(const std::vector<Row>& rows) {
  std::string csv = "time,enclosure,zone,quantity,value\n";
  for (const Row& row : rows) {
    csv += rfc3339(row.at) + ",office,middle,temperature," + row.temperature + "\n";
    csv += rfc3339(row.at) + ",office,middle,humidity," + row.humidity + "\n";
  }
  return csv;
}

TEST(OverMqtt, TheDaemonRaisesWhatReplayAndANaiveLoopRaise) {
  const fs::path file = fs::path(BASKWELL_SHARED_DATA_DIR) / "occupancy-datatest.csv";
  if (!fs::exists(file))
    GTEST_SKIP() << "SKIPPED: the measured series occupancy-datatest is not on this machine";
  const std::vector<Row> rows = read_office(file);
  ASSERT_GT(rows.size(), 2000U);
  const auto expected = naive(rows, 0);
  ASSERT_GE(expected.size(), 6U);
  // Chosen so that what comes does not hang on the tolerance.
  ASSERT_EQ(what(naive(rows, tolerance_ms)), what(expected));
  ASSERT_EQ(what(naive(rows, -tolerance_ms)), what(expected));
  EXPECT_EQ(band_lines(replay(settings(), replay_file(rows)), "office", "middle"), expected);

  const intake::BrokerPeer broker;
  daemon_test::Daemon daemon(settings() + daemon_test::broker_at(broker.settings().port));
  const auto begin = system_clock::now();
  const std::int64_t begin_ms = std::chrono::duration_cast<milliseconds>(begin.time_since_epoch()).count();
  // The clock begins some hours before the first reading, time for the daemon to start.
  const UtcMs shown = rows[0].at - std::int64_t{3000} * pace;
  daemon.start(
      {"--pace", std::to_string(pace), "--anchor", rfc3339(UtcMs{begin_ms}), "--start", rfc3339(shown)});
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  intake::StreamPublisher publisher(broker.settings().port);
  for (const Row& row : rows) {
    // A reading comes when the room's clock shows its time. Rounded up, so that it never comes before.
    std::this_thread::sleep_until(begin + milliseconds((row.at - shown) / pace + 1));
    publisher.publish("office", 1, [&](int) {
      return R"({"time":")" + rfc3339(row.at) + R"(","t":)" + row.temperature + R"(,"h":)" + row.humidity +
             "}";
    });
  }
  const auto stored = [&] { return std::stoul(daemon.rows("SELECT count(*) FROM readings")[0]); };
  EXPECT_TRUE(peers::eventually(patience, [&] { return stored() == 2 * rows.size(); })) << stored();
  const auto spoilt = daemon.rows("SELECT count(*) FROM readings WHERE quality <> 0");
  EXPECT_EQ(spoilt[0], "0");

  std::vector<std::string> found;
  std::vector<std::int64_t> times;
  for (const std::string& line :
       daemon.rows("SELECT at_ms || ' ' || kind || ' ' || to_state FROM transitions WHERE subject LIKE "
                   "'office/middle/%' AND at_ms <= " +
                   std::to_string((rows.back().at + tolerance_ms).ms) + " ORDER BY at_ms, id")) {
    found.push_back(line);
    times.push_back(std::stoll(line));
  }
  ASSERT_EQ(what(found), what(expected));
  for (std::size_t i = 0; i < expected.size(); ++i) {
    const auto at = utc_from_rfc3339(expected[i].substr(0, expected[i].find(' ')));
    ASSERT_TRUE(at.has_value());
    EXPECT_LE(std::llabs(times[i] - at->ms), tolerance_ms)
        << expected[i] << " but " << rfc3339(UtcMs{times[i]});
  }
}

}  // namespace
}  // namespace baskwell::replay_test
