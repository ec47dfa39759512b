// Near names, topics, and values as people write them.

#include <gtest/gtest.h>

#include "settings/near_name.h"
#include "settings/table_reader.h"
#include "settings/topic.h"

namespace baskwell::settings {
namespace {

TEST(NearName, CountsEditsAndSwaps) {
  EXPECT_EQ(edit_distance("", "abc"), 3U);
  EXPECT_EQ(edit_distance("hides", "hides"), 0U);
  EXPECT_EQ(edit_distance("hiedsx", "hides"), 2U);
  EXPECT_EQ(edit_distance("ab", "ba"), 1U);           // Damerau 1964: a swap of neighbours is one
  EXPECT_EQ(edit_distance("kitten", "sitting"), 3U);  // the textbook example (Levenshtein)
}

TEST(NearName, NamesOnlyWhatIsNear) {
  const std::vector<std::string> known{"name", "size_cm", "hides", "material"};
  EXPECT_EQ(nearest_name("hidse", known), "hides");
  EXPECT_EQ(nearest_name("materail", known), "material");
  EXPECT_EQ(nearest_name("wings", known), "");
  EXPECT_EQ(nearest_name("", known), "");
  EXPECT_EQ(nearest_name(std::string(5000, 'x'), known), "");
  EXPECT_EQ(nearest_name("a", {}), "");
}

// MQTT 5.0 section 4.7.1.
TEST(Topic, FiltersOverlapAsTheirTopicsDo) {
  EXPECT_TRUE(filters_overlap("a/b", "a/b"));
  EXPECT_FALSE(filters_overlap("a/b", "a/b/c"));
  EXPECT_TRUE(filters_overlap("a/+", "a/b"));
  EXPECT_TRUE(filters_overlap("a/+/c", "+/b/c"));
  EXPECT_FALSE(filters_overlap("a/+/c", "+/b/d"));
  EXPECT_TRUE(filters_overlap("#", "a/b/c"));
  EXPECT_TRUE(filters_overlap("a/#", "a"));
  EXPECT_TRUE(filters_overlap("a", "a/#"));
  EXPECT_FALSE(filters_overlap("a/#", "b/a"));
  EXPECT_FALSE(filters_overlap("a/+", "a"));
}

TEST(Topic, WildcardsAreWholeLevels) {
  for (const char* good : {"a", "a/b", "+", "#", "a/+/b", "a/#", "/a", "a//b"})
    EXPECT_EQ(filter_mistake(good), "") << good;
  for (const char* bad : {"", "a/b+", "a#", "a/#/b", "{tub}/a", "a\nb"})
    EXPECT_NE(filter_mistake(bad), "") << bad;
  EXPECT_NE(topic_mistake("a/+"), "");
  EXPECT_TRUE(is_whole_level("rack/{tub}/air", "{tub}"));
  EXPECT_FALSE(is_whole_level("rack/tub-{tub}/air", "{tub}"));
  EXPECT_FALSE(is_whole_level("rack/air", "{tub}"));
}

TEST(Values, DurationsAndTimesOfDay) {
  EXPECT_EQ(duration_ms_from("30 s"), 30'000);
  EXPECT_EQ(duration_ms_from("15 min"), 900'000);
  EXPECT_EQ(duration_ms_from("3h"), 10'800'000);
  EXPECT_EQ(duration_ms_from("1.5 min"), 90'000);
  EXPECT_EQ(duration_ms_from("250 ms"), 250);
  for (const char* bad : {"", "s", "15", "15 m", "-3 s", "nan s", "1e99 h", "3 h later", "3  h"})
    EXPECT_FALSE(duration_ms_from(bad)) << bad;
  EXPECT_EQ(minute_from("00:00"), 0);
  EXPECT_EQ(minute_from("23:59"), 1439);
  for (const char* bad : {"24:00", "7:00", "07:60", "07-00", "0a:00", ""})
    EXPECT_FALSE(minute_from(bad)) << bad;
}

}  // namespace
}  // namespace baskwell::settings
