// Measured data of others through `baskwell replay`.
// Office: Candanedo & Feldheim 2016, Energy and Buildings 112:28-39 (UCI 357, CC BY 4.0), read where it lies,
// not copied; its summary: tests/reference/real-summary.csv. Outdoors: hourly temperatures of the npm package
// vega-datasets 3.2.1.

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "core/moment.h"
#include "naive_alarms.h"
#include "program.h"

namespace baskwell::replay_test {
namespace {

namespace fs = std::filesystem;

struct Office {
  std::vector<Sample> temperature;
  std::string csv = "time,enclosure,zone,quantity,value\n";
};

// Local time of Mons, Belgium, in February: UTC+1.
Office read_office(const fs::path& file) {
  Office office;
  std::ifstream in(file);
  for (std::string line; std::getline(in, line);) {
    const auto f = split(line, ',');
    if (line.starts_with("#") || f.size() < 3 || f[0] == "local_time") continue;
    const auto at = utc_from_rfc3339(f[0] + "+01:00");
    if (!at) {
      ADD_FAILURE() << line;
      continue;
    }
    office.temperature.push_back({at->ms, std::stod(f[1])});
    office.csv += rfc3339(*at) + ",office,middle,temperature," + f[1] + "\n";
    office.csv += rfc3339(*at) + ",office,middle,humidity," + f[2] + "\n";
  }
  return office;
}

// An enclosure whose middle is to be at most `high`; the animal is there only so that somebody lives in it.
std::string office_settings(double low, double high) {
  std::ostringstream text;
  text << room_head("Europe/Brussels") << "[enclosures.office]\nlights = \"none\"\n"
       << "bands.middle.temperature = { day = [" << low << ", " << high << "], night = [" << low << ", "
       << high << "], harm = [-20, 60], source = \"of this test\" }\n"
       << "[animals]\nsomebody = { species = \"corn-snake\", enclosure = \"office\" }\n"
       << "[alarms.too-hot]\non_delay = \"20 min\"\noff_delay = \"10 min\"\ndeadband = 0.5\n"
       << "[alarms.too-cold]\non_delay = \"45 min\"\noff_delay = \"10 min\"\ndeadband = 0.5\n";
  return text.str();
}

class OfficeSeries : public testing::TestWithParam<const char*> {};

TEST_P(OfficeSeries, RaisesTheAlarmsThatANaiveLoopFinds) {
  const fs::path file = fs::path(BASKWELL_SHARED_DATA_DIR) / (std::string(GetParam()) + ".csv");
  if (!fs::exists(file))
    GTEST_SKIP() << "SKIPPED: the measured series " << GetParam() << " is not on this machine";
  const Office office = read_office(file);
  ASSERT_GT(office.temperature.size(), 1000U);

  // A band that some of it must leave on both sides: between its own quarter points, plus and minus a little.
  std::vector<double> sorted;
  for (const Sample& sample : office.temperature) sorted.push_back(sample.value);
  std::sort(sorted.begin(), sorted.end());
  const double low = sorted[sorted.size() / 10] + 0.05;
  const double high = sorted[sorted.size() * 9 / 10] - 0.05;
  const Output output = replay(office_settings(low, high), office.csv);

  // Judging leaves out nothing of such a calm series, so the naive loop may see all of it.
  auto expected =
      naive_alarms(office.temperature, {"too-hot", true, high, 0.5, 20 * minute_ms, 10 * minute_ms});
  const auto cold =
      naive_alarms(office.temperature, {"too-cold", false, low, 0.5, 45 * minute_ms, 10 * minute_ms});
  ASSERT_FALSE(expected.empty());
  ASSERT_FALSE(cold.empty());
  expected.insert(expected.end(), cold.begin(), cold.end());
  std::sort(expected.begin(), expected.end());
  auto found = band_lines(output, "office", "middle");
  std::erase_if(found, [](const std::string& line) { return line.find("too-d") != std::string::npos; });
  std::sort(found.begin(), found.end());
  EXPECT_EQ(found, expected);
}

TEST_P(OfficeSeries, HasTheCountsAndFiguresOfItsPublishedSummary) {
  const fs::path file = fs::path(BASKWELL_SHARED_DATA_DIR) / (std::string(GetParam()) + ".csv");
  if (!fs::exists(file))
    GTEST_SKIP() << "SKIPPED: the measured series " << GetParam() << " is not on this machine";
  const Output output = replay(office_settings(0, 50), read_office(file).csv);
  int compared = 0;
  std::ifstream summary(BASKWELL_REFERENCE_DIR "/real-summary.csv");
  for (std::string line; std::getline(summary, line);) {
    const auto f = split(line, ',');
    if (f.size() < 6 || f[0] != GetParam()) continue;
    const bool warm = f[1] == "temperature_c";
    const auto found =
        output.channels.find(warm ? "office/middle/air/temperature" : "office/middle/air/humidity");
    ASSERT_NE(found, output.channels.end());
    EXPECT_EQ(found->second.good, std::stol(f[2]));
    EXPECT_NEAR(found->second.min, std::stod(f[3]), 1e-6);
    EXPECT_NEAR(found->second.max, std::stod(f[4]), 1e-6);
    EXPECT_NEAR(found->second.mean, std::stod(f[5]), 1e-7);
    ++compared;
  }
  EXPECT_EQ(compared, 2);
}

INSTANTIATE_TEST_SUITE_P(Measured, OfficeSeries,
                         testing::Values("occupancy-datatest", "occupancy-datatraining",
                                         "occupancy-datatest2"));

TEST(HourlyOutdoors, MinMeanMaxAndCountAreThoseOfTheFile) {
  const fs::path file =
      fs::path(BASKWELL_SOURCE_DIR) / ".build/npm/package/data/seattle-weather-hourly-normals.csv";
  if (!fs::exists(file))
    GTEST_SKIP() << "SKIPPED: vega-datasets is not on this machine (.ci/npm-data fetches it)";
  std::ifstream in(file);
  std::string csv = "time,enclosure,zone,quantity,value\n";
  std::vector<double> values;
  for (std::string line; std::getline(in, line);) {
    const auto f = split(line, ',');
    if (f.size() < 3 || f[0] == "date") continue;
    values.push_back(std::stod(f[2]));
    csv += f[0] + "Z,room,room,temperature," + f[2] + "\n";
  }
  ASSERT_GT(values.size(), 8000U);
  const Output output = replay(room_head("America/Los_Angeles"), csv);
  ASSERT_EQ(output.channels.size(), 1U);
  const Summary& found = output.channels.begin()->second;
  double sum = 0;
  for (const double value : values) sum += value;
  EXPECT_EQ(found.good, static_cast<long>(values.size()));
  EXPECT_DOUBLE_EQ(found.min, *std::min_element(values.begin(), values.end()));
  EXPECT_DOUBLE_EQ(found.max, *std::max_element(values.begin(), values.end()));
  EXPECT_NEAR(found.mean, sum / static_cast<double>(values.size()), 1e-7);
}

}  // namespace
}  // namespace baskwell::replay_test
