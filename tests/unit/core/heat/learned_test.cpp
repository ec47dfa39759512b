// What was learned of the heating, as text and back: the same belief, the same alarms, no trust in the text.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <random>

#include "core/alarm/words.h"
#include "core/engine.h"
#include "room_builder.h"
#include "seed.h"

namespace baskwell {
namespace {

using testing::HasSubstr;

constexpr std::string_view boot = "boot-1";
constexpr UtcMs begin{1'790'812'800'000};  // 2026-10-01T00:00:00Z, an hour after local midnight in London

// Two vivaria with a mat on an on-off thermostat each, one probe at the hot spot. An exponential with 70 min
// towards the room's 20 degC (common practice, no source), 20 K more while it heats; steps of a digital
// probe.
class Vivaria {
 public:
  Vivaria() {
    builder.probe("probe-room", none, Zone::room);
    for (const char* id : {"shelf-1", "shelf-2"}) {
      const Index enclosure = builder.enclosure(id);
      Heater mat;
      mat.id = std::string("mat-") + id;
      mat.enclosures = {enclosure};
      builder.room.heaters.push_back(mat);
      Thermostat thermostat;
      thermostat.id = std::string("thermostat-") + id;
      thermostat.heaters = {enclosure};
      thermostat.probe_enclosure = enclosure;
      builder.room.thermostats.push_back(thermostat);
      builder.probe(std::string("probe-") + id, enclosure, Zone::hot, Quantity::temperature, Medium::surface);
    }
    builder.person("kim");
    renew();
    BrokerEvent broker;
    broker.at = now;
    broker.connected = true;
    engine->step(broker, effects);
  }

  void renew() { engine = std::make_unique<Engine>(builder.done(), now); }
  // As a daemon does after a kill; `learned`: what the store has.
  void restart(const std::string& learned) {
    const std::string state = engine->snapshot(now, boot);
    renew();
    ASSERT_TRUE(engine->restore(state, now, boot, effects).ok());
    ASSERT_TRUE(engine->take_learned(learned).ok());
  }

  void run(std::int64_t for_ms) {
    for (std::int64_t passed = 0; passed < for_ms; passed += minute_ms) {
      now = {now.utc + minute_ms, now.elapsed + minute_ms};
      hear(0, 20.0);
      const std::int64_t hour = (now.utc.ms / hour_ms + 1) % 24;
      const double set = hour >= 8 && hour < 20 ? 31.0 : 27.0;
      for (std::size_t i = 0; i < 2; ++i) {
        heats_[i] = degc_[i] < set - (heats_[i] ? -0.4 : 0.4);
        const double towards = heats_[i] && !dead[i] ? 40.0 : 20.0;
        degc_[i] += (towards - degc_[i]) / 70.0;
        hear(static_cast<Index>(i + 1), degc_[i]);
      }
    }
  }

  // "not-heating unacknowledged", of the heating kinds, in order.
  [[nodiscard]] std::vector<std::string> heating() const {
    std::vector<std::string> lines;
    for (const TransitionRecord& record : effects.transitions) {
      if (is_heating_kind(record.kind))
        lines.push_back(std::string(row_of(record.kind).name) + " " + std::string(name_of(record.to)));
    }
    return lines;
  }
  [[nodiscard]] heat::Belief belief(Index enclosure = 0) const {
    return engine->heat_belief(enclosure, now).value();
  }

  test::RoomBuilder builder;
  Stamp now{begin, ElapsedMs{hour_ms}};
  Effects effects;
  std::unique_ptr<Engine> engine;
  std::array<bool, 2> dead{};

 private:
  void hear(Index channel, double degc) {
    ReadingEvent event;
    event.at = now;
    event.measured = now.utc;
    event.channel = channel;
    event.unit = Unit::degc;
    const double noise = std::uniform_real_distribution<double>(-0.05, 0.05)(random_);
    event.value = {std::llround((degc + noise) / 0.0625) * 625, 4};
    engine->step_reading(event, effects);
  }

  std::mt19937 random_{7};
  std::array<double, 2> degc_{25, 25};
  std::array<bool, 2> heats_{};
};

void expect_alike(double is, double should, double within) {
  EXPECT_EQ(std::isnan(is), std::isnan(should));
  if (!std::isnan(should)) {
    EXPECT_NEAR(is, should, within);
  }
}

TEST(Learned, TheBeliefIsTheSameAfterwards) {
  Vivaria one;
  one.run(9 * day_ms);
  ASSERT_TRUE(one.belief().judged);
  ASSERT_GT(one.belief().falls_seen, 0);
  const std::string text = one.engine->learned();
  const heat::Belief before = one.belief();
  one.renew();
  ASSERT_FALSE(one.belief().judged);
  ASSERT_TRUE(one.engine->take_learned(text).ok());
  EXPECT_EQ(one.engine->learned(), text);
  const heat::Belief after = one.belief();
  EXPECT_TRUE(after.judged);
  EXPECT_EQ(after.falls_seen, before.falls_seen);
  expect_alike(after.fast_minutes, before.fast_minutes, 0.01 * before.fast_minutes);
  expect_alike(after.slow_minutes, before.slow_minutes, 0.01 * before.slow_minutes);
  for (const auto phase : {&heat::Belief::day, &heat::Belief::night}) {
    expect_alike((after.*phase).level_degc, (before.*phase).level_degc, 0.02);
    expect_alike((after.*phase).swing_k, (before.*phase).swing_k, 0.01);
    // The limits before are those of the latest smoothing.
    expect_alike((after.*phase).low_k, (before.*phase).low_k, 0.15);
    expect_alike((after.*phase).high_k, (before.*phase).high_k, 0.15);
  }
  ASSERT_EQ(after.probes.size(), 1U);
  EXPECT_EQ(after.probes[0].days_learned, before.probes[0].days_learned);
  EXPECT_EQ(after.probes[0].room_share, before.probes[0].room_share);
  for (std::size_t i = 0; i < before.probes[0].course_degc.size(); ++i)
    expect_alike(after.probes[0].course_degc[i], before.probes[0].course_degc[i], 0.25);
}

// The first days count by a median of what came, which is not kept: it must not be pulled to nothing.
TEST(Learned, ARestartInTheFirstDaysSpoilsNothing) {
  Vivaria one;
  Vivaria plain;
  plain.run(4 * day_ms);
  for (int i = 0; i < 8; ++i) {
    one.run(12 * hour_ms);
    one.restart(one.engine->learned());
  }
  const heat::Belief is = one.belief(), should = plain.belief();
  // Each restart costs the quarter of an hour that gathers and the gap after it.
  EXPECT_NEAR(is.probes[0].days_learned, should.probes[0].days_learned, 0.2);
  for (std::size_t q = 0; q < should.probes[0].course_degc.size(); ++q)
    expect_alike(is.probes[0].course_degc[q], should.probes[0].course_degc[q], 0.8);
}

TEST(Learned, WhatTheRoomNoLongerHasIsLeftOut) {
  Vivaria one;
  one.run(4 * day_ms);
  const std::string text = one.engine->learned();
  Room& room = one.builder.room;
  room.channels.pop_back();  // the probe of shelf-2
  room.instruments.pop_back();
  one.renew();
  ASSERT_TRUE(one.engine->take_learned(text).ok());
  EXPECT_TRUE(one.belief().judged);
  EXPECT_FALSE(one.engine->heat_belief(1, one.now).has_value());
  // What lies elsewhere now says nothing of there.
  room.channels[1].placements[0].zone = Zone::middle;
  one.renew();
  ASSERT_TRUE(one.engine->take_learned(text).ok());
  EXPECT_FALSE(one.belief().judged);
  EXPECT_EQ(one.belief().probes[0].days_learned, 0.0);
}

TEST(Learned, ADamagedTextIsRefusedWithItsLineAndChangesNothing) {
  Vivaria one;
  one.run(2 * day_ms);
  const std::string text = one.engine->learned();
  one.renew();
  const std::string fresh = one.engine->learned();
  const auto why = [&](const std::string& bad) {
    const Outcome outcome = one.engine->take_learned(bad);
    EXPECT_TRUE(one.engine->learned() == fresh);
    return outcome.ok() ? std::string() : outcome.error().text;
  };
  EXPECT_THAT(why("moths were here"), HasSubstr("not of a kind this program reads"));
  EXPECT_THAT(why(""), HasSubstr("not of a kind this program reads"));
  std::string bad = text;
  bad.replace(bad.find("\nprobe", bad.find("\nprobe") + 1) + 1, 5, "prong");
  EXPECT_THAT(why(bad), HasSubstr("line 3 of what was learned"));
  bad = text;
  bad.resize(bad.rfind(' '));
  EXPECT_THAT(why(bad), HasSubstr("line 6 of what was learned"));
  bad = text;
  bad.replace(bad.find("surface ") + 8, 1, "nan");
  EXPECT_THAT(why(bad), HasSubstr("line 3 of what was learned"));
}

TEST(Learned, NoTextCrashesIt) {
  std::mt19937_64 random(test::announced_seed());
  const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random() % n); };
  Vivaria one;
  one.run(2 * day_ms);
  const std::string text = one.engine->learned();
  constexpr std::array<std::string_view, 7> odd{
      "9223372036854775807", "-9223372036854775808", "nan", "1e308", "-1", "999999999", "255"};
  int taken = 0;
  for (int i = 0; i < 300; ++i) {
    std::string bad = text;
    if (below(2) == 0) {
      bad.erase(below(bad.size()), 1 + below(20));
    } else {
      const std::size_t at = bad.find(' ', below(bad.size() - 1));
      const std::size_t to = at == std::string::npos ? at : bad.find_first_of(" \n", at + 1);
      if (to != std::string::npos) bad.replace(at + 1, to - at - 1, odd[below(odd.size())]);
    }
    one.renew();
    const Outcome outcome = one.engine->take_learned(bad);
    ASSERT_TRUE(outcome.ok() || !outcome.error().text.empty());
    taken += outcome.ok() ? 1 : 0;
    if (!outcome.ok()) continue;
    one.run(hour_ms);
    static_cast<void>(one.belief());
    one.renew();
    static_cast<void>(one.engine->take_learned(one.engine->learned()));
  }
  EXPECT_GT(taken, 10);
}

TEST(Learned, AnAlarmThatWasOpenOverARestartEnds) {
  Vivaria one;
  one.run(6 * day_ms + 11 * hour_ms);
  ASSERT_THAT(one.heating(), testing::IsEmpty());
  const std::string learned = one.engine->learned();  // of up to an hour before
  one.dead[0] = true;
  one.run(hour_ms);
  ASSERT_THAT(one.heating(), testing::ElementsAre("not-heating unacknowledged"));
  const std::string evidence = one.engine->view(one.now).alarms.front().detail;
  one.restart(learned);
  EXPECT_EQ(one.engine->view(one.now).alarms.front().detail, evidence);
  ASSERT_EQ(one.belief().evidence.size(), 1U);
  EXPECT_THAT(one.belief().evidence[0], HasSubstr(evidence));
  one.run(30 * minute_ms);
  EXPECT_THAT(one.heating(), testing::SizeIs(1));  // nothing new is told of what was told
  one.dead[0] = false;
  one.run(4 * hour_ms);
  EXPECT_THAT(one.heating(),
              testing::ElementsAre("not-heating unacknowledged", "not-heating returned-unacknowledged"));
}

// What a restart loses is evidence of minutes and hours: what is found is the same, and not much later.
TEST(Learned, AFaultIsFoundAsWithoutTheInterruption) {
  const auto found = [](std::int64_t restart_after_ms) {
    Vivaria one;
    one.run(6 * day_ms + 10 * hour_ms);
    std::string learned = one.engine->learned();
    for (std::int64_t passed = 0; passed < 5 * hour_ms; passed += minute_ms) {
      if (passed == hour_ms) one.dead[0] = true;
      if (passed == restart_after_ms) one.restart(learned);
      one.run(minute_ms);
    }
    const auto& all = one.effects.transitions;
    return std::pair(one.heating(), all.empty() ? UtcMs{0} : all.front().at);
  };
  const auto [kinds, when] = found(-1);
  ASSERT_THAT(kinds, testing::Contains("not-heating unacknowledged"));
  for (const std::int64_t cut_ms :
       {10 * minute_ms, 58 * minute_ms, 65 * minute_ms, 75 * minute_ms, 90 * minute_ms, 3 * hour_ms}) {
    const auto [with_cut, later] = found(cut_ms);
    EXPECT_EQ(with_cut, kinds) << cut_ms / minute_ms << " min";
    EXPECT_LE(std::abs(later - when), hour_ms) << cut_ms / minute_ms << " min";
  }
}

}  // namespace
}  // namespace baskwell
