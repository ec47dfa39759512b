#include "intake/trouble.h"

#include <gtest/gtest.h>

namespace baskwell::intake {
namespace {

TEST(Trouble, IsNewsWhenACauseJoinsOrLeavesAndNotWhenItKeepsOn) {
  Trouble trouble;
  EXPECT_FALSE(trouble.any());
  EXPECT_FALSE(trouble.take_news());
  trouble.begin(4, "four");
  EXPECT_TRUE(trouble.take_news());
  EXPECT_FALSE(trouble.take_news());
  trouble.begin(4, "four again");
  EXPECT_FALSE(trouble.take_news());
  EXPECT_EQ(trouble.words(), "four again");
  trouble.begin(1, "one");
  EXPECT_TRUE(trouble.take_news());
  EXPECT_EQ(trouble.words(), "one; four again");
  trouble.end(4);
  trouble.end(4);
  EXPECT_TRUE(trouble.take_news());
  trouble.end(1);
  EXPECT_TRUE(trouble.take_news());
  EXPECT_FALSE(trouble.any());
  EXPECT_EQ(trouble.words(), "");
}

TEST(Trouble, NamesThreeCausesAndCountsTheRest) {
  Trouble trouble;
  for (std::uint32_t cause = 0; cause < 10; ++cause) trouble.begin(cause, "c" + std::to_string(cause));
  EXPECT_EQ(trouble.words(), "c0; c1; c2; and 7 more");
}

}  // namespace
}  // namespace baskwell::intake
