#include "app/readings_csv.h"

#include <gtest/gtest.h>

#include <random>
#include <string>
#include <vector>

#include "core/moment.h"
#include "peers/peers.h"

namespace baskwell {
namespace {

struct Line {
  std::uint64_t number;
  std::string time, value, medium, problem;
};

std::vector<Line> lines_of(const std::string& text) {
  const peers::TempFolder folder;
  auto csv = ReadingsCsv::open(folder.write("readings.csv", text));
  EXPECT_TRUE(csv.ok());
  std::vector<Line> lines;
  ReadingLine line;
  std::string_view problem;
  while (csv.value().next(line, problem)) {
    lines.push_back({line.number, std::string(line.time), std::string(line.value), std::string(line.medium),
                     std::string(problem)});
  }
  return lines;
}

TEST(ReadingsCsv, ReadsColumnsInAnyOrderWithOrWithoutALastNewline) {
  for (const std::string end : {"", "\n", "\r\n"}) {
    const auto lines = lines_of(
        "\xEF\xBB\xBFvalue,medium,time,enclosure,zone,quantity\r\n31.4,surface,T,shelf-1,hot,temperature" +
        end);
    ASSERT_EQ(lines.size(), 1U);
    EXPECT_EQ(lines[0].number, 2U);
    EXPECT_EQ(lines[0].time, "T");
    EXPECT_EQ(lines[0].value, "31.4");
    EXPECT_EQ(lines[0].medium, "surface");
    EXPECT_EQ(lines[0].problem, "");
  }
}

TEST(ReadingsCsv, NamesWhatIsWrongWithAHeader) {
  const peers::TempFolder folder;
  const auto refusal = [&](const std::string& text) {
    const auto csv = ReadingsCsv::open(folder.write("r.csv", text));
    return csv.ok() ? std::string("opened") : csv.error().text;
  };
  EXPECT_NE(refusal("").find("the file is empty"), std::string::npos);
  EXPECT_NE(refusal("time,enclosure,zone,value\n").find("column 'quantity' is missing"), std::string::npos);
  EXPECT_NE(refusal("time,enclosure,zone,quantity,value,smell\n").find("unknown column 'smell'"),
            std::string::npos);
  EXPECT_NE(ReadingsCsv::open(folder.file("absent.csv")).error().text.find("cannot be opened"),
            std::string::npos);
}

TEST(ReadingsCsv, TellsLinesThatCannotBeTakenApartAndGoesOn) {
  const std::string header = "time,enclosure,zone,quantity,value\n";
  const auto lines = lines_of(header + "a,b,c,d\n" + std::string(200'000, 'x') + "\na,b,c,d,1\n");
  ASSERT_EQ(lines.size(), 3U);
  EXPECT_NE(lines[0].problem.find("fields"), std::string::npos);
  EXPECT_NE(lines[1].problem.find("64 KB"), std::string::npos);
  EXPECT_EQ(lines[2].problem, "");
  EXPECT_EQ(lines[2].number, 4U);
}

// Lines may fall anywhere on the border of what is read at once.
TEST(ReadingsCsv, FindsEveryLineOfAFileLargerThanItsBuffer) {
  std::string text = "time,enclosure,zone,quantity,value\n";
  for (int i = 0; i < 120'000; ++i)
    text += "2026-01-01T00:00:00Z,shelf-1,hot,temperature," + std::to_string(i) + "\n";
  const auto lines = lines_of(text);
  ASSERT_EQ(lines.size(), 120'000U);
  for (std::size_t i = 0; i < lines.size(); ++i) ASSERT_EQ(lines[i].value, std::to_string(i));
}

TEST(TimeReader, AgreesWithTheGeneralReaderOnMomentsAndOnNonsense) {
  const std::uint64_t seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937_64 random(seed);
  TimeReader reader;
  for (int i = 0; i < 20'000; ++i) {
    std::string text = rfc3339(UtcMs{static_cast<std::int64_t>(random() % 4'000'000'000'000ULL)});
    // Stay on few days, so that the remembered day is used.
    text.replace(0, 10, i % 2 == 0 ? "2026-03-29" : "2026-10-25");
    if (random() % 3 == 0) text[random() % text.size()] = static_cast<char>(' ' + random() % 95);
    UtcMs quick;
    const bool read = reader.read(text, quick);
    const auto general = utc_from_rfc3339(text);
    ASSERT_EQ(read, general.has_value()) << text;
    if (read) {
      ASSERT_EQ(quick.ms, general->ms) << text;
    }
  }
}

}  // namespace
}  // namespace baskwell
