// Random commands on the real plan and on a naive model beside it. Of the endings the model knows exactly
// which must come; of the attempts it knows what may never happen (two at once on one step, before
// not_before, after the end, without patience) and that in the end
// everything gets out.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>

#include "notify/plan.h"
#include "outbox_words.h"

namespace baskwell::notify {
namespace {

struct ModelMessage {
  MessageDraft draft;
  std::size_t number = 0;  // order of arrival
  std::size_t steps = 0;   // channels of its person
  bool live = true;        // its ending has not been told
  std::optional<Ending> ending;
  bool arrived = false;
  std::set<std::size_t> in_flight;
  std::set<std::size_t> refused;
  std::optional<ElapsedMs> due;  // when it was first seen due
  ElapsedMs latest_start;
};

class PlanAgainstModel {
 public:
  PlanAgainstModel(std::uint32_t seed, std::size_t bound) : random_(seed), bound_(bound) {
    PlanSettings settings;
    settings.most_messages = bound;
    plan_ = std::make_unique<DeliveryPlan>(people(), channels_, settings);
  }

  void run(int commands) {
    for (int i = 0; i < commands && !::testing::Test::HasFatalFailure(); ++i) command();
    if (!::testing::Test::HasFatalFailure()) drain();
  }

  std::size_t attempts = 0;
  std::map<Ending, std::size_t> endings;

 private:
  static std::vector<Person> people() {
    return {person("p0", {"a", "b", "c"}), person("p1", {"b", "b"}), person("p2", {"c"}), person("p3", {})};
  }
  static std::size_t steps_of(const std::string& id) {
    for (const Person& one : people())
      if (one.id == id) return one.channels.size();
    return 0;
  }

  std::uint32_t draw(std::uint32_t below) { return static_cast<std::uint32_t>(random_() % below); }

  void command() {
    now_.elapsed = now_.elapsed + draw(20) * second_ms;
    now_.utc = now_.utc + draw(20) * second_ms;  // drifts and steps against the elapsed clock
    if (draw(60) == 0) now_.elapsed = now_.elapsed + draw(300) * minute_ms;
    if (draw(60) == 0) now_.utc = now_.utc - draw(60) * minute_ms;
    switch (draw(8)) {
      case 0:
      case 1:
        add();
        break;
      case 2:
        if (draw(4) == 0) withdraw();
        break;
      case 3:
        pass_time();
        break;
      case 4:
      case 5:
        take(channels_[draw(3)]);
        break;
      default:
        answer(static_cast<Answer>(draw(4)));
    }
    compare();
  }

  bool may_end(const ModelMessage& one) const { return one.live && !one.ending; }

  void model_end(ModelMessage& one, Ending ending) {
    one.ending = ending;
    if (one.in_flight.empty()) told_ending(one);
  }
  // Its ending is told now: by a settlement.
  void told_ending(ModelMessage& one) {
    one.live = false;
    expected_.emplace_back(one.draft.id, *one.ending);
    ++endings[*one.ending];
  }

  void add() {
    ModelMessage made;
    made.number = ++number_;
    const auto reason = static_cast<TellReason>(draw(5));
    made.draft = message({.id = "M" + std::to_string(number_),
                          .occurrence = draw(10) == 0 ? "" : "A" + std::to_string(draw(6)),
                          .person = "p" + std::to_string(draw(4)),
                          .reason = reason,
                          .priority = static_cast<Priority>(draw(3))});
    made.draft.not_before = now_.utc + (draw(3) == 0 ? draw(120) * minute_ms : 0);
    made.steps = steps_of(made.draft.person);
    plan_->add(made.draft, now_, settled_);

    const MessageDraft& draft = made.draft;
    for (auto& [id, old] : model_) {
      const bool same = !draft.occurrence.empty() && old.draft.occurrence == draft.occurrence &&
                        old.draft.person == draft.person;
      if (!same || !may_end(old)) continue;
      if (draft.reason == TellReason::over || old.draft.reason == TellReason::over ||
          draft.priority >= old.draft.priority)
        model_end(old, Ending::replaced);
    }
    auto& kept = model_[draft.id] = made;
    if (draft.only_if_told && told_.count({draft.occurrence, draft.person}) == 0) {
      model_end(kept, Ending::not_needed);
    } else if (kept.steps == 0) {
      model_end(kept, Ending::no_channel);
    } else {
      model_make_place(kept);
    }
    model_mark_due();
  }

  void model_make_place(ModelMessage& newest) {
    std::size_t held = 0;
    ModelMessage* least = nullptr;
    for (auto& [id, old] : model_) {
      const bool in_plan = old.live || !old.in_flight.empty();
      if (&old == &newest || !in_plan) continue;
      ++held;
      if (!old.in_flight.empty()) continue;
      const auto rank = [](const ModelMessage& one) { return std::pair(one.draft.priority, one.number); };
      if (least == nullptr || rank(old) < rank(*least)) least = &old;
    }
    if (held < bound_) return;
    const bool gives_way = least == nullptr || least->draft.priority > newest.draft.priority;
    model_end(gives_way ? newest : *least, Ending::dropped);
  }

  void model_mark_due() {
    for (auto& [id, one] : model_)
      if (one.live && !one.due && one.draft.not_before <= now_.utc) one.due = now_.elapsed;
  }

  void withdraw() {
    const std::string occurrence = "A" + std::to_string(draw(6));
    plan_->withdraw(occurrence, settled_);
    for (auto& [id, one] : model_)
      if (may_end(one) && one.draft.occurrence == occurrence && one.draft.reason != TellReason::over)
        model_end(one, Ending::withdrawn);
  }

  void pass_time() {
    plan_->pass_time(now_, settled_);
    model_mark_due();
    for (auto& [id, one] : model_) {
      const bool for_ever = one.draft.priority == Priority::high && one.draft.reason != TellReason::over;
      if (may_end(one) && !for_ever && one.due && now_.elapsed - *one.due >= PlanSettings{}.give_up_ms)
        model_end(one, Ending::gave_up);
    }
  }

  void take(const std::string& channel) {
    const ElapsedMs promised = plan_->next_due(channel, now_);
    const auto attempt = plan_->take(channel, now_);
    model_mark_due();
    if (!attempt) return;
    ++attempts;
    ASSERT_LE(promised, now_.elapsed) << "next_due() said that there is nothing yet";
    ASSERT_EQ(attempt->channel, channel);
    ModelMessage& one = model_.at(attempt->letter.id);
    ASSERT_TRUE(may_end(one)) << "its life was over";
    ASSERT_TRUE(one.due) << "before its time";
    ASSERT_EQ(one.in_flight.count(attempt->step), 0U) << "twice at once";
    ASSERT_EQ(one.refused.count(attempt->step), 0U) << "refused before";
    const std::pair pair(one.draft.occurrence, one.draft.person);
    if (one.draft.reason == TellReason::over) {
      told_.erase(pair);
    } else if (!one.draft.occurrence.empty()) {
      told_.insert(pair);
    }
    if (!one.in_flight.empty() && !had_failure_since_start_.count(attempt->letter.id)) {
      const bool high = one.draft.priority == Priority::high;
      ASSERT_GE(now_.elapsed - one.latest_start, (high ? 5 : 60) * second_ms) << "without patience";
    }
    had_failure_since_start_.erase(attempt->letter.id);
    one.in_flight.insert(attempt->step);
    one.latest_start = now_.elapsed;
    flying_.push_back(*attempt);
  }

  void answer(Answer answer) {
    if (flying_.empty()) return;
    const std::size_t which = draw(static_cast<std::uint32_t>(flying_.size()));
    const Attempt attempt = flying_[which];
    flying_.erase(flying_.begin() + static_cast<std::ptrdiff_t>(which));
    const Aftermath aftermath = plan_->answer(attempt, {answer, "words"}, now_);
    ModelMessage& one = model_.at(attempt.letter.id);
    one.in_flight.erase(attempt.step);
    if (answer == Answer::refused) one.refused.insert(attempt.step);
    had_failure_since_start_.insert(attempt.letter.id);
    ASSERT_EQ(aftermath.in_flight, !one.in_flight.empty());
    if (arrived(answer)) {
      one.arrived = true;
      if (one.ending != Ending::acknowledged)
        one.ending = answer == Answer::acknowledged ? Ending::acknowledged : Ending::delivered;
    } else if (!one.ending && one.refused.size() == one.steps) {
      if (one.draft.priority == Priority::high && one.draft.reason != TellReason::over) {
        ASSERT_EQ(aftermath.again_in_ms, PlanSettings{}.longest_wait_ms);
        one.refused.clear();
      } else {
        one.ending = Ending::refused;
      }
    }
    const bool told = one.ending && (one.arrived || one.in_flight.empty());
    ASSERT_EQ(aftermath.ending, told ? one.ending : std::nullopt);
    if (!told) return;
    if (one.live) ++endings[*one.ending];
    one.live = false;
  }

  void compare() {
    std::vector<std::pair<std::string, Ending>> came;
    for (const Settlement& one : settled_) came.emplace_back(one.id, one.ending);
    settled_.clear();
    std::sort(came.begin(), came.end());
    std::sort(expected_.begin(), expected_.end());
    ASSERT_EQ(came, expected_);
    expected_.clear();
    std::size_t held = 0;
    for (const auto& [id, one] : model_) held += one.live || !one.in_flight.empty() ? 1 : 0;
    ASSERT_EQ(plan_->size(), held);
    ASSERT_LE(held, bound_);
  }

  // From now on every channel works and the clock goes straight on: nothing may stay behind.
  void drain() {
    for (int round = 0; round < 2000 && plan_->size() > 0; ++round) {
      while (!flying_.empty() && !::testing::Test::HasFatalFailure()) answer(Answer::delivered);
      pass_time();
      for (const std::string& channel : channels_) take(channel);
      if (::testing::Test::HasFatalFailure()) return;
      compare();
      if (!flying_.empty()) continue;
      ElapsedMs next = plan_->next_due("", now_);
      for (const std::string& channel : channels_) next = std::min(next, plan_->next_due(channel, now_));
      if (plan_->size() == 0) break;
      ASSERT_NE(next.ms, INT64_MAX) << "something waits for ever";
      const std::int64_t pause_ms = std::max<std::int64_t>(1, next - now_.elapsed);
      now_ = {now_.utc + pause_ms, now_.elapsed + pause_ms};
    }
    ASSERT_EQ(plan_->size(), 0U);
    for (const auto& [id, one] : model_) ASSERT_FALSE(one.live) << id << " never ended";
  }

  std::mt19937 random_;
  std::size_t bound_;
  std::vector<std::string> channels_{"a", "b", "c"};
  std::unique_ptr<DeliveryPlan> plan_;
  Stamp now_ = at(0);
  std::size_t number_ = 0;
  std::map<std::string, ModelMessage> model_;
  std::set<std::pair<std::string, std::string>> told_;
  std::set<std::string> had_failure_since_start_;
  std::vector<Attempt> flying_;
  std::vector<Settlement> settled_;
  std::vector<std::pair<std::string, Ending>> expected_;
};

TEST(PlanProperty, AgreesWithANaiveModelWhateverHappens) {
  std::map<Ending, std::size_t> seen;
  std::size_t attempts = 0;
  const std::uint32_t first_seed = 20261124;
  for (std::uint32_t seed = first_seed; seed < first_seed + 300; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    PlanAgainstModel both(seed, seed % 3 == 0 ? 4 : 1000);
    both.run(400);
    ASSERT_FALSE(HasFatalFailure());
    attempts += both.attempts;
    for (const auto& [ending, count] : both.endings) seen[ending] += count;
  }
  EXPECT_GT(attempts, 10000U);
  for (int i = 0; i <= static_cast<int>(Ending::no_channel); ++i) {
    const auto ending = static_cast<Ending>(i);
    if (ending == Ending::unsure) continue;  // only at a start: Delivery's
    EXPECT_GT(seen[ending], 0U) << name_of(ending) << " never came up: the commands are too tame";
  }
}

}  // namespace
}  // namespace baskwell::notify
