// kill -9 in the middle of telling, again and again, with the real store: nobody is told twice, and what was
// not told was either being told at the moment of a kill or goes out after it.

#include <gtest/gtest.h>

#include <fstream>
#include <map>
#include <random>
#include <set>

#include "peers/peers.h"
#include "store/reader.h"

namespace baskwell::notify {
namespace {

constexpr int messages = 60;

std::map<std::string, int> told_in(const std::string& path) {
  std::map<std::string, int> told;
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) ++told[line];
  return told;
}

TEST(OutboxKilled, NobodyIsToldTwice) {
  const std::uint32_t seed = 20261124;
  RecordProperty("seed", std::to_string(seed));
  std::mt19937 random(seed);
  std::size_t kills_that_left_something_unsure = 0;
  for (int round = 0; round < 6; ++round) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " round " + std::to_string(round));
    const peers::TempFolder folder;
    const std::string store_file = folder.file("store.db");
    const std::string lines_file = folder.file("told");
    std::set<std::string> unsure;
    std::size_t kills = 0;
    for (int start = 0; start < 100; ++start) {
      peers::Start victim;
      victim.argv = {BASKWELL_KILLED_OUTBOX, store_file, lines_file,
                     std::to_string(start == 0 ? messages : 0)};
      victim.ready = "ready";
      auto process = peers::Process::start(victim);
      ASSERT_TRUE(process.ok()) << process.error().text;
      // Never before the first message is told: until then the outbox may not be committed.
      const auto die_after = (start == 0 ? 1 : 0) + random() % 8;
      bool ended = false;
      for (unsigned told = 0; told < die_after && !ended; ++told)
        ended = !process.value().wait_for_line("told ", std::chrono::milliseconds(3000)).ok();
      if (!ended) {
        process.value().kill();
        ++kills;
      } else {
        ASSERT_TRUE(process.value().wait_for_end(std::chrono::seconds(20)).ok());
      }
      const std::string output = process.value().output();
      for (std::size_t at = output.find("unsure "); at != std::string::npos;
           at = output.find("unsure ", at + 1))
        unsure.insert(output.substr(at + 7, output.find('\n', at) - at - 7));
      if (output.find("\nempty") != std::string::npos) break;
    }
    const auto told = told_in(lines_file);
    for (const auto& [id, times] : told) EXPECT_EQ(times, 1) << id << " was told twice";
    for (int i = 0; i < messages; ++i) {
      const std::string id = "M" + std::to_string(i);
      EXPECT_TRUE(told.count(id) == 1 || unsure.count(id) == 1) << id << " was lost";
    }
    EXPECT_LE(unsure.size(), 2 * kills) << "at most one for each channel and kill";
    EXPECT_GT(kills, 2U);
    kills_that_left_something_unsure += unsure.size();

    auto reader = store::StoreReader::open(store_file);
    ASSERT_TRUE(reader.ok()) << reader.error().text;
    const auto waiting = reader.value().messages(store::MessageState::waiting, 1000);
    ASSERT_TRUE(waiting.ok());
    EXPECT_TRUE(waiting.value().empty());
  }
  std::printf("messages unsure after a kill: %zu\n", kills_that_left_something_unsure);
}

}  // namespace
}  // namespace baskwell::notify
