// Damaged settings never crash, hang or load with an error: random changes to the commented example, which
// has every key. Seeds are printed; BASKWELL_SEED runs one again.

#include <gtest/gtest.h>

#include <cstdlib>
#include <random>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

std::string mutated(std::string text, std::mt19937_64& random) {
  const auto below = [&](std::size_t bound) { return static_cast<std::size_t>(random() % bound); };
  static const std::vector<std::string> pieces{
      "[",    "]",    "{",    "}",       "\"",         "=",        ",",
      "\n",   "#",    "nan",  "inf",     "-1",         "1e308",    "9223372036854775807",
      "\"\"", "[]",   "{}",   "true",    "2026-02-29", "{tub}",    "{enclosure}",
      "+",    "\x01", "\xc3", "shelf-1", "north",      "\"none\"", "[[",
      "'''"};
  static const std::vector<std::string> values{
      "nan",      "-1",        "0",           "1e308",         "9223372036854775807",
      "\"\"",     "[]",        "{}",          "true",          "2024-02-29",
      "08:00:00", "\"none\"",  "\"shelf-1\"", "\"a/{tub}/+\"", "[[1, 2], {}]",
      "\"/x\"",   "\"north\"", "\"hot\""};
  for (std::size_t change = 1 + below(4); change > 0; --change) {
    const std::size_t at = below(text.size());
    switch (below(10)) {
      case 0:
        text[at] = static_cast<char>(below(256));
        break;
      case 1:
        text.erase(at, 1 + below(20));
        break;
      case 2:
        text.insert(at, pieces[below(pieces.size())]);
        break;
      case 3:
        text.insert(at, text.substr(below(text.size()), below(80)));
        break;
      case 4:
      case 5:
      case 6:
      case 7:
      case 8: {  // most often: one value for another, the form kept: the mistakes that pass the TOML reader
        const std::size_t equals = text.find("= ", at);
        const std::size_t end = equals == std::string::npos ? equals : text.find_first_of(",\n}]", equals);
        if (end != std::string::npos)
          text.replace(equals + 2, end - equals - 2, values[below(values.size())]);
        break;
      }
      default: {  // one line twice, or gone
        const std::size_t begin = text.rfind('\n', at);
        const std::size_t end = text.find('\n', at);
        if (begin == std::string::npos || end == std::string::npos || end <= begin) break;
        if (below(2) == 0) {
          text.erase(begin, end - begin);
        } else {
          text.insert(end, text.substr(begin, end - begin));
        }
      }
    }
    if (text.empty()) text = "\n";
  }
  return text;
}

TEST(Mutations, NeverCrashAndNeverLoadWithAnError) {
  const std::string example = text_of_file(std::filesystem::path(BASKWELL_CONFIG_DIR) / "baskwell.toml");
  const SettingsFolder folder;
  const char* given = std::getenv("BASKWELL_SEED");  // NOLINT(concurrency-mt-unsafe): one thread
  const std::uint64_t seed = given == nullptr ? 20261124 : std::strtoull(given, nullptr, 10);
  std::printf("BASKWELL_SEED=%llu\n", static_cast<unsigned long long>(seed));
  folder.write("care/.keep", "");
  std::filesystem::copy(std::filesystem::path(BASKWELL_CONFIG_DIR) / "care", folder.path() / "care");
  std::mt19937_64 random(seed);
  int loaded = 0;
  int beyond_syntax = 0;
  for (int round = 0; round < 1500; ++round) {
    const std::string text = mutated(example, random);
    const LoadOutcome outcome = folder.load(text);
    ASSERT_EQ(outcome.settings.has_value(), !has_errors(outcome.findings)) << "round " << round;
    for (const std::string& line : folder.lines(outcome)) {
      ASSERT_EQ(line.find('\n'), std::string::npos) << "round " << round;
      beyond_syntax += line.find("not TOML") == std::string::npos ? 1 : 0;
    }
    if (!outcome.settings) continue;
    ++loaded;
    // Whatever loads holds together: every reference lands.
    const Room& room = outcome.settings->room;
    for (const Channel& channel : room.channels) ASSERT_LT(channel.instrument, room.instruments.size());
    for (const Occupancy& stay : room.occupancies) ASSERT_LT(stay.enclosure, room.enclosures.size());
    for (const ProbeSource& source : outcome.settings->probes)
      ASSERT_LT(source.instrument, room.instruments.size());
    (void)capabilities(*outcome.settings, UtcMs{1'790'000'000'000});
  }
  // The mutations reach both sides of the line, or this test could not fail.
  EXPECT_GT(loaded, 50);
  EXPECT_GT(beyond_syntax, 300);
}

}  // namespace
}  // namespace baskwell::settings_test
