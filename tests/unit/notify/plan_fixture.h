#pragma once
// The plan with four people and two channels, one moment after the other.

#include <gtest/gtest.h>

#include <string>
#include <string_view>
#include <vector>

#include "notify/plan.h"
#include "outbox_words.h"

namespace baskwell::notify {

class PlanTest : public ::testing::Test {
 protected:
  static std::vector<Person> people() {
    return {person("anna", {"mail", "hook"}), person("ben", {"hook"}), person("two-boxes", {"mail", "mail"}),
            person("gone", {"pager"}), person("nobody", {})};
  }

  void add(const Wanted& wanted, std::int64_t ms) { plan_.add(message(wanted), at(ms), settled_); }
  std::string taken(std::string_view channel, std::int64_t ms) {
    const auto attempt = plan_.take(channel, at(ms));
    if (!attempt) return "";
    last_ = *attempt;
    return attempt->letter.id;
  }
  Aftermath answered(const ChannelAnswer& answer, std::int64_t ms) {
    return plan_.answer(last_, answer, at(ms));
  }
  // Endings since the last call, as "M1 withdrawn".
  std::vector<std::string> endings() {
    std::vector<std::string> texts;
    for (const Settlement& one : settled_) texts.push_back(one.id + " " + std::string(name_of(one.ending)));
    settled_.clear();
    return texts;
  }
  std::int64_t due_after(std::string_view channel, std::int64_t ms) {
    const ElapsedMs due = plan_.next_due(channel, at(ms));
    return due.ms == INT64_MAX ? -1 : due - at(0).elapsed;
  }

  DeliveryPlan plan_{people(), {"mail", "hook"}, PlanSettings{}};
  std::vector<Settlement> settled_;
  Attempt last_;
};

}  // namespace baskwell::notify
