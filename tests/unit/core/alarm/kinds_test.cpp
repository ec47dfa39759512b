// The table of alarm kinds, and that docs/alarm-kinds.md says the same. Delays: the reference on husbandry,
// section 8 ("defaults that follow", proposals), as the issue's defaults narrow them.

#include "core/alarm/kinds.h"

#include <gtest/gtest.h>

#include <set>
#include <string>

#include "core/alarm/message_text.h"
#include "files.h"

namespace baskwell {
namespace {

const AlarmSettings& defaults(AlarmKind kind) {
  return row_of(kind).defaults;
}

TEST(AlarmKinds, AreThoseOfTheIssues) {
  const std::set<std::string_view> wanted{"too-cold",
                                          "too-hot",
                                          "no-refuge",
                                          "too-dry",
                                          "too-damp",
                                          "probe-silent",
                                          "probe-implausible",
                                          "probe-frozen",
                                          "intake-trouble",
                                          "store-trouble",
                                          "delivery-failed",
                                          "clock-unsure",
                                          "not-heating",
                                          "heating-stuck-on",
                                          "heating-weak",
                                          "thermostat-drift",
                                          "thermostat-reset",
                                          "thermostat-hunting",
                                          "thermostat-probe-moved",
                                          "probe-moved",
                                          "high-cutout-open",
                                          "room-cold",
                                          "room-hot",
                                          "night-drop-shifted",
                                          "gradient-lost"};
  std::set<std::string_view> names;
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    names.insert(row.name);
    EXPECT_EQ(alarm_kind_from(row.name), row.kind);
    EXPECT_EQ(row_of(row.kind).name, row.name);
  }
  EXPECT_EQ(names, wanted);
  EXPECT_FALSE(alarm_kind_from("too_hot").has_value());
}

TEST(AlarmKinds, EachSaysWhatAPersonNeeds) {
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    SCOPED_TRACE(row.name);
    EXPECT_FALSE(row.cause.empty());
    EXPECT_FALSE(row.consequence.empty());
    EXPECT_FALSE(row.time_to_respond.empty());
    EXPECT_FALSE(row.source.empty());
    EXPECT_TRUE(row.first_action.ends_with('.'));
    EXPECT_LE(characters_in(row.first_action), 42U);
    for (const char c : row.first_action) EXPECT_FALSE(c >= '0' && c <= '9') << "no arithmetic at night";
    // What core/heat finds is a fault with a figure beside it, not a figure beyond a limit.
    const bool measured = row.has_value && !is_heating_kind(row.kind);
    EXPECT_EQ(measured, row.defaults.deadband > 0);
    EXPECT_EQ(measured, row.defaults.worsen_step > 0);
    EXPECT_TRUE(!measured || !row.harm_means.empty());
  }
}

TEST(AlarmKinds, HaveTheDelaysOfTheReference) {
  // "overheat high 5 min, medium 15; cold 30-60; RH 3 h; no data 15 min medium, 60 high": the last two are
  // the silence itself, measured before the alarm, so no delay follows.
  EXPECT_EQ(defaults(AlarmKind::too_hot).on_delay_ms, 15 * minute_ms);
  EXPECT_EQ(defaults(AlarmKind::too_hot).harm_on_delay_ms, 5 * minute_ms);
  // Issue 2, item 6, over the reference: overheating has a higher priority than cold.
  EXPECT_EQ(defaults(AlarmKind::too_hot).priority, Priority::high);
  EXPECT_EQ(defaults(AlarmKind::too_hot).harm_priority, Priority::high);
  for (const std::int64_t delay_ms :
       {defaults(AlarmKind::too_cold).on_delay_ms, defaults(AlarmKind::too_cold).harm_on_delay_ms}) {
    EXPECT_GE(delay_ms, 30 * minute_ms);
    EXPECT_LE(delay_ms, 60 * minute_ms);
  }
  EXPECT_EQ(defaults(AlarmKind::too_dry).on_delay_ms, 3 * hour_ms);
  EXPECT_EQ(defaults(AlarmKind::too_damp).on_delay_ms, 3 * hour_ms);
  EXPECT_EQ(defaults(AlarmKind::probe_silent).on_delay_ms, 0);
  EXPECT_EQ(defaults(AlarmKind::probe_silent).harm_priority, Priority::high);
  EXPECT_EQ(defaults(AlarmKind::delivery_failed).on_delay_ms, 0);
  EXPECT_EQ(defaults(AlarmKind::store_trouble).on_delay_ms, minute_ms);
  EXPECT_EQ(defaults(AlarmKind::clock_unsure).on_delay_ms, 15 * minute_ms);
  // "Deadband 0.5 C, 3 % RH; clear must hold 10 min"
  EXPECT_EQ(defaults(AlarmKind::too_cold).deadband, 0.5);
  EXPECT_EQ(defaults(AlarmKind::too_dry).deadband, 3.0);
  EXPECT_EQ(defaults(AlarmKind::no_refuge).off_delay_ms, 10 * minute_ms);
}

TEST(AlarmKinds, OverheatingIsSoonerAndHigherThanCold) {
  const AlarmSettings& cold = defaults(AlarmKind::too_cold);
  for (const AlarmKind kind : {AlarmKind::too_hot, AlarmKind::no_refuge}) {
    EXPECT_LT(defaults(kind).on_delay_ms, cold.on_delay_ms);
    EXPECT_LT(defaults(kind).harm_on_delay_ms, cold.harm_on_delay_ms);
    EXPECT_GE(defaults(kind).priority, cold.priority);
  }
  EXPECT_GT(defaults(AlarmKind::too_hot).priority, cold.priority);
  EXPECT_GT(defaults(AlarmKind::heating_stuck_on).priority, defaults(AlarmKind::not_heating).priority);
}

TEST(AlarmKinds, RepeatByPriority) {
  for (const AlarmKindRow& row : alarm_kind_rows()) {
    SCOPED_TRACE(row.name);
    const auto wanted = [](Priority priority) {
      return priority == Priority::high ? 3 * minute_ms : priority == Priority::medium ? hour_ms : 0;
    };
    EXPECT_EQ(row.defaults.repeat_ms, wanted(row.defaults.priority));
    EXPECT_EQ(row.defaults.harm_repeat_ms, wanted(row.defaults.harm_priority));
    EXPECT_GE(row.defaults.harm_priority, row.defaults.priority);
    EXPECT_LE(row.defaults.harm_on_delay_ms, row.defaults.on_delay_ms);
  }
}

TEST(Priority, ReadsBackTheNamesItWrites) {
  for (const Priority priority : {Priority::low, Priority::medium, Priority::high}) {
    EXPECT_EQ(priority_from(name_of(priority)), priority);
  }
  EXPECT_FALSE(priority_from("urgent").has_value());
}

// ---- The page

std::string delay_text(std::int64_t delay_ms) {
  return delay_ms == 0 ? "at once" : "after " + duration_text(delay_ms);
}

std::string repeat_text(std::int64_t repeat_ms) {
  return repeat_ms == 0 ? "not repeated" : "repeated every " + duration_text(repeat_ms);
}

std::string section_of(const AlarmKindRow& row) {
  const AlarmSettings& set = row.defaults;
  const auto line = [](std::string_view label, std::string_view text) {
    return std::string("- ").append(label).append(": ").append(text).append("\n");
  };
  std::string text = "### " + std::string(row.name) + "\n\n";
  text += line("First action", row.first_action);
  text += line("Time to respond", row.time_to_respond);
  text += line("Cause", row.cause);
  text += line("Consequence", row.consequence);
  text += line("Raised", "`" + std::string(name_of(set.priority)) + "` " + delay_text(set.on_delay_ms) +
                             ", " + repeat_text(set.repeat_ms));
  if (!row.harm_means.empty()) {
    text += line("Raised when " + std::string(row.harm_means), "`" + std::string(name_of(set.harm_priority)) +
                                                                   "` " + delay_text(set.harm_on_delay_ms) +
                                                                   ", " + repeat_text(set.harm_repeat_ms));
  }
  text += line("Over", (set.off_delay_ms == 0 ? "at once"
                                              : "after " + duration_text(set.off_delay_ms) + " without it"));
  if (set.deadband > 0) {
    const bool humidity = row.kind == AlarmKind::too_dry || row.kind == AlarmKind::too_damp;
    const Quantity quantity = humidity ? Quantity::humidity : Quantity::temperature;
    text += line("Deadband", quantity_text(set.deadband, quantity));
    text += line("Told again when acknowledged and worse by", quantity_text(set.worsen_step, quantity));
  }
  text += line("Where the defaults come from", row.source);
  return text + "\n";
}

TEST(AlarmKinds, ThePageSaysTheSame) {
  const std::string path = std::string(BASKWELL_SOURCE_DIR) + "/docs/alarm-kinds.md";
  const std::string page = test::read_file(path);
  const std::string mark = "<!-- from daemon/core/alarm/kinds.cpp; held by core_alarm_test -->\n\n";
  const std::size_t start = page.find(mark);
  ASSERT_NE(start, std::string::npos);
  std::string wanted = page.substr(0, start + mark.size());
  for (const AlarmKindRow& row : alarm_kind_rows()) wanted += section_of(row);
  wanted.pop_back();
  test::expect_file_holds(path, wanted);
}

}  // namespace
}  // namespace baskwell
