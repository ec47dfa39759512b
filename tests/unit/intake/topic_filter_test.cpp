// The examples of OASIS MQTT Version 5.0 (OASIS Standard, 7 March 2019), section 4.7, non-normative comments
// included; quoted from memory of its text, each with its section.
#include "intake/topic_filter.h"

#include <gtest/gtest.h>

#include <string>

namespace baskwell::intake {
namespace {

struct Case {
  const char* section;
  const char* filter;
  const char* topic;
  bool matches;
};

constexpr Case cases[] = {
    {"4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1", true},
    {"4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
    {"4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
    {"4.7.1.2", "sport/#", "sport", true},
    {"4.7.1.2", "#", "sport/tennis/player1", true},
    {"4.7.1.3", "sport/tennis/+", "sport/tennis/player1", true},
    {"4.7.1.3", "sport/tennis/+", "sport/tennis/player2", true},
    {"4.7.1.3", "sport/tennis/+", "sport/tennis/player1/ranking", false},
    {"4.7.1.3", "sport/+", "sport", false},
    {"4.7.1.3", "sport/+", "sport/", true},
    {"4.7.1.3", "+/tennis/#", "sport/tennis/player1", true},
    {"4.7.1.3", "sport/+/player1", "sport/tennis/player1", true},
    {"4.7.1.3", "+/+", "/finance", true},
    {"4.7.1.3", "/+", "/finance", true},
    {"4.7.1.3", "+", "/finance", false},
    {"4.7.2", "#", "$SYS/monitor/Clients", false},
    {"4.7.2", "+/monitor/Clients", "$SYS/monitor/Clients", false},
    {"4.7.2", "$SYS/#", "$SYS/monitor/Clients", true},
    {"4.7.2", "$SYS/monitor/+", "$SYS/monitor/Clients", true},
    {"4.7.3", "ACCOUNTS", "Accounts", false},
    {"4.7.3", "Accounts payable", "Accounts payable", true},
    {"4.7.3", "/finance", "finance", false},
    {"4.7.3", "/", "/", true},
};

TEST(TopicFilter, MatchesAsTheSpecificationSays) {
  for (const Case& one : cases) {
    EXPECT_EQ(matches(one.filter, one.topic), one.matches)
        << "section " << one.section << ": filter " << one.filter << ", topic " << one.topic;
  }
}

TEST(TopicFilter, KnowsAValidFilter) {
  for (const char* valid :
       {"#", "sport/tennis/#", "+", "+/tennis/#", "sport/+/player1", "/", "a b", "a//b"}) {
    EXPECT_TRUE(valid_filter(valid)) << valid;
  }
  // Section 4.7.1.2: "sport/tennis#" and "sport/tennis/#/ranking"; 4.7.1.3: "sport+"; 4.7.3: no name is
  // empty.
  for (const char* invalid : {"", "sport/tennis#", "sport/tennis/#/ranking", "sport+", "a/#/#"}) {
    EXPECT_FALSE(valid_filter(invalid)) << invalid;
  }
  EXPECT_FALSE(valid_filter(std::string("a\0b", 3)));
  EXPECT_FALSE(valid_filter(std::string(65'536, 'x')));
}

}  // namespace
}  // namespace baskwell::intake
