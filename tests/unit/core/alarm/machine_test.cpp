// The alarm machine against every transition of the ISA table, and none beside it. Source and what of it is
// from memory: the head of tests/reference/isa182-states.csv.

#include "core/alarm/machine.h"

#include <gtest/gtest.h>

#include <array>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <tuple>
#include <vector>

#include "files.h"

namespace baskwell {
namespace {

constexpr std::array letters{'A', 'B', 'C', 'D', 'G', 'H', 'I'};

std::string letter_of(AlarmState state) {
  return {letters[static_cast<std::size_t>(state)]};
}

using Key = std::tuple<std::string, std::string, bool>;  // from, input, whether the condition holds

std::map<Key, std::string> listed_transitions() {
  std::istringstream file(test::read_file(std::string(BASKWELL_REFERENCE_DIR) + "/isa182-states.csv"));
  std::map<Key, std::string> listed;
  bool head = true;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with('#')) continue;
    std::vector<std::string> cells;
    std::istringstream row(line);
    for (std::string cell; std::getline(row, cell, ',');) cells.push_back(cell);
    EXPECT_EQ(cells.size(), 5U) << line;
    if (head) {
      EXPECT_EQ(line, "from,input,condition,to,basis");
      head = false;
      continue;
    }
    EXPECT_TRUE(cells[2].empty() || cells[2] == "clear" || cells[2] == "holds") << line;
    for (const bool holds : {false, true}) {
      if (cells[2] == (holds ? "clear" : "holds")) continue;
      EXPECT_TRUE(listed.emplace(Key{cells[0], cells[1], holds}, cells[3]).second) << "twice: " << line;
    }
  }
  return listed;
}

TEST(AlarmMachine, HasEveryTransitionOfTheTableAndNoneBesideIt) {
  const std::map<Key, std::string> listed = listed_transitions();
  ASSERT_EQ(listed.size(), 46U);  // 20 that hold either way, and 6 that hang on the condition
  std::set<Key> met;
  for (int s = 0; s < alarm_state_count; ++s) {
    for (int i = 0; i < alarm_input_count; ++i) {
      for (const bool holds : {false, true}) {
        const auto from = static_cast<AlarmState>(s);
        const auto input = static_cast<AlarmInput>(i);
        const Key key{letter_of(from), std::string(name_of(input)), holds};
        const auto to = next_state(from, input, holds);
        const auto wanted = listed.find(key);
        const std::string pair = std::string(name_of(from)) + ", " + std::string(name_of(input));
        if (wanted == listed.end()) {
          EXPECT_FALSE(to.has_value()) << "not in the table: " << pair;
        } else {
          ASSERT_TRUE(to.has_value()) << "missing: " << pair;
          EXPECT_EQ(letter_of(*to), wanted->second) << pair;
          met.insert(key);
        }
      }
    }
  }
  EXPECT_EQ(met.size(), listed.size()) << "the table names an input or a state that does not exist";
}

TEST(AlarmMachine, NamesItsStatesAsTheStandardAbbreviatesThem) {
  // ISA-18.2 state diagram, codes as in the reference values section 7.
  EXPECT_EQ(code_of(AlarmState::normal), "NORM");
  EXPECT_EQ(code_of(AlarmState::unacknowledged), "UNACK");
  EXPECT_EQ(code_of(AlarmState::acknowledged), "ACKED");
  EXPECT_EQ(code_of(AlarmState::returned_unacknowledged), "RTNUN");
  EXPECT_EQ(code_of(AlarmState::shelved), "SHLVD");
  EXPECT_EQ(code_of(AlarmState::suppressed), "DSUPR");
  EXPECT_EQ(code_of(AlarmState::out_of_service), "OOSRV");
}

TEST(AlarmMachine, ReadsBackTheNamesItWrites) {
  std::set<std::string_view> names;
  for (int s = 0; s < alarm_state_count; ++s) {
    const auto state = static_cast<AlarmState>(s);
    names.insert(name_of(state));
    EXPECT_EQ(alarm_state_from(name_of(state)), state);
  }
  EXPECT_EQ(names.size(), static_cast<std::size_t>(alarm_state_count));
  EXPECT_FALSE(alarm_state_from("UNACK").has_value());
  EXPECT_FALSE(alarm_state_from("").has_value());
}

}  // namespace
}  // namespace baskwell
