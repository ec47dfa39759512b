#include "intake/topic_table.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>
#include <string>
#include <vector>

#include "intake/topic_filter.h"
#include "intake_room.h"

namespace baskwell::intake {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::UnorderedElementsAre;

std::vector<std::uint32_t> probes_for(TopicTable& table, std::string_view topic) {
  std::vector<std::uint32_t> found;
  for (const Target& target : table.find(topic, std::hash<std::string_view>{}(topic))) {
    if (target.kind == Target::Kind::probe) found.push_back(target.index);
  }
  return found;
}

TEST(TopicTable, FindsExactTopicsWildcardsAndPresences) {
  Settings settings;
  add_source(settings, "room/shelf-1/hot");
  add_source(settings, "room/+/cool");
  add_source(settings, "room/shelf-1/#").keep_queued = true;
  settings.presences.push_back({.topic = "room/shelf-1/hot", .instruments = {0}});
  TopicTable table(settings.probes, settings.presences);
  EXPECT_THAT(probes_for(table, "room/shelf-1/hot"), ElementsAre(0, 2));
  EXPECT_THAT(probes_for(table, "room/shelf-1/cool"), ElementsAre(1, 2));
  EXPECT_THAT(probes_for(table, "room/shelf-9/cool"), ElementsAre(1));
  EXPECT_THAT(probes_for(table, "room/shelf-1"), ElementsAre(2));
  EXPECT_THAT(probes_for(table, "room/shelf-9/hot"), IsEmpty());
  EXPECT_THAT(probes_for(table, ""), IsEmpty());
  const std::string topic = "room/shelf-1/hot";
  const auto targets = table.find(topic, std::hash<std::string_view>{}(topic));
  ASSERT_EQ(targets.size(), 3U);
  EXPECT_EQ(targets[0].session, Session::live);
  EXPECT_EQ(targets[1].session, Session::kept);
  EXPECT_EQ(targets[2].kind, Target::Kind::presence);
}

// Against matches(), which the specification's own examples hold: random filters and topics over few words.
TEST(TopicTable, AgreesWithTheMatcherOnRandomFiltersAndTopics) {
  constexpr unsigned seed = 20'261'124;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  const auto name = [&](bool filter) {
    const char* const words[] = {"a", "b", "", "$a", "+"};
    std::string text;
    const unsigned levels = 1 + random() % 4;
    for (unsigned level = 0; level < levels; ++level) {
      if (level > 0) text += '/';
      text += words[random() % (filter ? 5 : 4)];
    }
    if (filter && random() % 4 == 0) text += "/#";
    return text;
  };
  for (int round = 0; round < 200; ++round) {
    Settings settings;
    for (int i = 0; i < 12; ++i) {
      if (const std::string filter = name(true); valid_filter(filter)) add_source(settings, filter);
    }
    TopicTable table(settings.probes, settings.presences);
    for (int i = 0; i < 60; ++i) {
      const std::string topic = name(false);
      std::vector<std::uint32_t> expected;
      for (std::uint32_t p = 0; p < settings.probes.size(); ++p) {
        if (matches(settings.probes[p].topic, topic)) expected.push_back(p);
      }
      ASSERT_EQ(probes_for(table, topic), expected) << "topic '" << topic << "'";
      ASSERT_EQ(probes_for(table, topic), expected) << "topic '" << topic << "' the second time";
    }
  }
}

TEST(TopicTable, StaysRightUnderAStreamOfStrangeTopics) {
  Settings settings;
  add_source(settings, "room/+/hot");
  TopicTable table(settings.probes, settings.presences);
  for (int i = 0; i < 20'000; ++i) {
    const std::string number = std::to_string(i);
    ASSERT_THAT(probes_for(table, "stranger/" + number), IsEmpty());
    ASSERT_THAT(probes_for(table, "room/" + number + "/hot"), ElementsAre(0));
  }
  EXPECT_THAT(probes_for(table, "room/" + std::string(1000, 'x') + "/hot"), ElementsAre(0));
}

TEST(Subscriptions, EveryFilterOnceAndNoneThatAnotherTakesIn) {
  Settings settings;
  for (const char* topic : {"a/b", "a/b", "a/+", "c/#", "c", "c/d/+", "e/+/f", "e/g/+", "$SYS/x"}) {
    add_source(settings, topic);
  }
  add_source(settings, "a/b").keep_queued = true;
  settings.presences.push_back({.topic = "room/presence", .instruments = {}});
  const Subscriptions all = subscriptions_of(settings.probes, settings.presences);
  EXPECT_THAT(all.live, UnorderedElementsAre("a/+", "c/#", "e/+/f", "e/g/+", "room/presence", "$SYS/x"));
  EXPECT_THAT(all.kept, ElementsAre("a/b"));
}

TEST(Subscriptions, UseTheFilterThatManySourcesShare) {
  Settings settings;
  add_source(settings, "room/shelf-1/hot").filter = "room/+/hot";
  add_source(settings, "room/shelf-2/hot").filter = "room/+/hot";
  EXPECT_THAT(subscriptions_of(settings.probes, {}).live, ElementsAre("room/+/hot"));
  TopicTable table(settings.probes, {});
  EXPECT_THAT(probes_for(table, "room/shelf-2/hot"), ElementsAre(1));
  EXPECT_THAT(probes_for(table, "room/shelf-3/hot"), IsEmpty());  // an id that the settings do not know
}

}  // namespace
}  // namespace baskwell::intake
