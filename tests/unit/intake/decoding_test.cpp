#include "intake/decoding.h"

#include <gtest/gtest.h>

#include <string>

#include "intake_room.h"

namespace baskwell::intake {
namespace {

const plugin_host::Folders plugins = {BASKWELL_BUILD_DIR "/plugins"};

// A Decoding with a sink, fed by topic and payload.
class Bench {
 public:
  explicit Bench(const Settings& settings) : decoding_(opened(settings)), sink_(sink_into(heard)) {}

  void arrive(std::string_view topic, std::string_view payload, Stamp at = stamp(1000),
              Session session = Session::live, bool retained = false) {
    decoding_.take({.topic = topic,
                    .payload = payload,
                    .at = at,
                    .topic_hash = std::hash<std::string_view>{}(topic),
                    .session = session,
                    .retained = retained},
                   sink_);
  }
  void tick(std::int64_t elapsed_ms) { decoding_.tick(stamp(elapsed_ms), sink_); }
  void dropped(std::uint64_t count, std::int64_t elapsed_ms) {
    decoding_.dropped({.dropped_full = count}, {}, stamp(elapsed_ms), sink_);
  }
  void refused(std::string_view words) { decoding_.refused(words, stamp(1000), sink_); }
  [[nodiscard]] PayloadReport report() const { return decoding_.report(); }

  Heard heard;

 private:
  static Decoding opened(const Settings& settings) {
    Result<Decoding> decoding = Decoding::open(settings, plugins);
    if (!decoding) ADD_FAILURE() << decoding.error().text;
    return std::move(decoding).value();
  }
  Decoding decoding_;
  EventSink sink_;
};

TEST(Decoding, APlainNumberBecomesAReadingExactlyAsItCame) {
  Settings settings;
  add_source(settings, "room/a");
  Bench bench(settings);
  bench.arrive("room/a", "31.50", stamp(77));
  ASSERT_EQ(bench.heard.readings.size(), 1U);
  const ReadingEvent& reading = bench.heard.readings.front();
  EXPECT_EQ(reading.channel, 0U);
  EXPECT_EQ(reading.value, (Decimal{3150, 2}));
  EXPECT_EQ(reading.unit, Unit::degc);
  EXPECT_EQ(reading.at.elapsed.ms, 77);
  EXPECT_EQ(reading.measured, reading.at.utc);
  EXPECT_FALSE(reading.has_own_time || reading.retained || reading.queued || reading.not_a_number);
}

TEST(Decoding, OneJsonPayloadCarriesManyChannelsAndItsOwnTime) {
  Settings settings;
  add_source(settings, "first");
  ProbeSource& source = add_source(settings, "room/b", "json", {"/hot", "/cool"});
  source.time_pointer = "/time";
  source.channels[1].unit = Unit::degf;
  Bench bench(settings);
  bench.arrive("room/b", R"({"time":"2026-11-24T09:00:30.120Z","hot":null,"cool":74.3})");
  ASSERT_EQ(bench.heard.readings.size(), 2U);
  const ReadingEvent& hot =
      bench.heard.readings[0].channel == 1 ? bench.heard.readings[0] : bench.heard.readings[1];
  const ReadingEvent& cool =
      &hot == bench.heard.readings.data() ? bench.heard.readings[1] : bench.heard.readings[0];
  EXPECT_TRUE(hot.not_a_number);
  EXPECT_EQ(cool.channel, 2U);
  EXPECT_FALSE(cool.not_a_number);
  EXPECT_EQ(cool.value, (Decimal{743, 1}));
  EXPECT_EQ(cool.unit, Unit::degf);
  EXPECT_TRUE(cool.has_own_time);
  EXPECT_EQ(cool.measured.ms, 1'795'510'830'120);  // date -u -d 2026-11-24T09:00:30.120Z +%s%3N
}

TEST(Decoding, RetainedIsSaidAndTheKeptSessionIsAlwaysQueued) {
  Settings settings;
  add_source(settings, "live");
  add_source(settings, "kept").keep_queued = true;
  Bench bench(settings);
  bench.arrive("live", "1", stamp(1), Session::live, true);
  bench.arrive("kept", "2", stamp(2), Session::kept);
  bench.arrive("kept", "3", stamp(3), Session::live);  // not the session that this source uses
  ASSERT_EQ(bench.heard.readings.size(), 2U);
  EXPECT_TRUE(bench.heard.readings[0].retained);
  EXPECT_FALSE(bench.heard.readings[0].queued);
  EXPECT_FALSE(bench.heard.readings[1].retained);
  EXPECT_TRUE(bench.heard.readings[1].queued);
  EXPECT_EQ(bench.report().unknown_topics, 0U);
}

TEST(Decoding, APresenceTopicSpeaksForItsInstruments) {
  Settings settings;
  add_source(settings, "a");
  add_source(settings, "b");
  settings.presences.push_back(
      {.topic = "presence", .online = "here", .offline = "gone", .instruments = {0, 1}});
  Bench bench(settings);
  bench.arrive("presence", "here", stamp(5), Session::live, true);  // retained is as good
  bench.arrive("presence", "gone", stamp(6));
  bench.arrive("presence", "maybe", stamp(7));
  const auto presences = bench.heard.all<PresenceEvent>();
  ASSERT_EQ(presences.size(), 4U);
  EXPECT_TRUE(presences[0].present && presences[1].present);
  EXPECT_EQ(presences[1].instrument, 1U);
  EXPECT_FALSE(presences[2].present || presences[3].present);
  EXPECT_EQ(bench.report().bad_presences, 1U);
  ASSERT_EQ(bench.report().bad.size(), 1U);
  EXPECT_EQ(bench.report().bad[0].cause, "neither 'here' nor 'gone'");
}

TEST(Decoding, WhatCannotBeReadIsCountedAndKeptAndStopsNobody) {
  Settings settings;
  add_source(settings, "bad");
  add_source(settings, "good");
  add_source(settings, "half", "json", {"/a", "/b"});
  Bench bench(settings);
  for (int i = 0; i < 1000; ++i) {
    bench.arrive("bad", "what?");
    bench.arrive("good", "21.5");
  }
  bench.arrive("half", R"({"a":1,"b":[]})");
  const PayloadReport report = bench.report();
  EXPECT_EQ(report.sources[0].unreadable, 1000U);
  EXPECT_EQ(report.sources[0].readings, 0U);
  EXPECT_EQ(report.sources[1].readings, 1000U);
  EXPECT_EQ(report.sources[1].unreadable, 0U);
  EXPECT_EQ(report.sources[2].read_in_part, 1U);
  EXPECT_EQ(report.sources[2].readings, 1U);
  ASSERT_EQ(report.bad.size(), 20U);
  EXPECT_EQ(report.bad.back().topic, "half");
  EXPECT_EQ(report.bad.front().topic, "bad");
  EXPECT_EQ(report.bad.front().payload, "what?");
  EXPECT_NE(report.bad.front().cause, "");
  EXPECT_EQ(bench.heard.readings.size(), 1001U);
}

TEST(Decoding, ATopicThatNobodyAskedForIsCountedAndKept) {
  Settings settings;
  add_source(settings, "room/1/t").filter = "room/+/t";
  Bench bench(settings);
  for (int i = 2; i < 100; ++i) bench.arrive("room/" + std::to_string(i) + "/t", "20");
  EXPECT_EQ(bench.report().unknown_topics, 98U);
  EXPECT_EQ(bench.report().unknown.size(), 20U);
  EXPECT_EQ(bench.report().unknown.back().topic, "room/99/t");
  EXPECT_TRUE(bench.heard.readings.empty());
  EXPECT_TRUE(bench.heard.events.empty());
}

TEST(Decoding, FiveBadPayloadsInARowAreTroubleUntilAMinuteOfGoodOnes) {
  Settings settings;
  add_source(settings, "a");
  Bench bench(settings);
  for (int i = 0; i < 4; ++i) bench.arrive("a", "x", stamp(0));
  bench.arrive("a", "20", stamp(0));
  for (int i = 0; i < 4; ++i) bench.arrive("a", "x", stamp(1000));
  EXPECT_TRUE(bench.heard.events.empty());
  for (int i = 0; i < 100; ++i) bench.arrive("a", "x", stamp(1000));
  auto told = bench.heard.all<IntakeTroubleEvent>();
  ASSERT_EQ(told.size(), 1U);
  EXPECT_TRUE(told[0].bad);
  EXPECT_NE(told[0].detail.find("Instrument 0"), std::string::npos) << told[0].detail;
  EXPECT_NE(told[0].detail.find("'a'"), std::string::npos) << told[0].detail;
  bench.tick(200'000);  // silence is not good
  bench.arrive("a", "20", stamp(201'000));
  bench.arrive("a", "x", stamp(202'000));
  bench.arrive("a", "20", stamp(203'000));
  bench.tick(261'999);
  EXPECT_EQ(bench.heard.all<IntakeTroubleEvent>().size(), 1U);
  bench.tick(262'000);  // a minute after the last bad one
  told = bench.heard.all<IntakeTroubleEvent>();
  ASSERT_EQ(told.size(), 2U);
  EXPECT_FALSE(told[1].bad);
  EXPECT_EQ(bench.report().trouble, "");
}

TEST(Decoding, DropsAreTroubleUntilAMinuteWithoutAny) {
  Settings settings;
  Bench bench(settings);
  bench.dropped(0, 0);
  EXPECT_TRUE(bench.heard.events.empty());
  bench.dropped(3, 1000);
  bench.dropped(9, 30'000);
  bench.dropped(9, 60'000);
  bench.tick(89'999);
  ASSERT_EQ(bench.heard.all<IntakeTroubleEvent>().size(), 1U);
  EXPECT_TRUE(bench.heard.all<IntakeTroubleEvent>()[0].bad);
  bench.tick(90'000);
  ASSERT_EQ(bench.heard.all<IntakeTroubleEvent>().size(), 2U);
  EXPECT_FALSE(bench.heard.all<IntakeTroubleEvent>()[1].bad);
}

// An earlier run may have told of trouble that is gone by now; nobody else could end it.
TEST(Decoding, SaysOnceThatAllIsWellWhereNoTroubleWasFoundInHalfAnHour) {
  Settings settings;
  Bench bench(settings);
  bench.tick(5'000);
  bench.tick(5'000 + 30 * minute_ms - 1);
  EXPECT_TRUE(bench.heard.events.empty());
  bench.tick(5'000 + 30 * minute_ms);
  bench.tick(5'000 + 90 * minute_ms);
  ASSERT_EQ(bench.heard.all<IntakeTroubleEvent>().size(), 1U);
  EXPECT_FALSE(bench.heard.all<IntakeTroubleEvent>()[0].bad);

  Bench in_trouble(settings);
  in_trouble.tick(0);
  in_trouble.dropped(3, 29 * minute_ms);
  in_trouble.dropped(4, 31 * minute_ms);
  in_trouble.tick(31 * minute_ms);
  ASSERT_EQ(in_trouble.heard.all<IntakeTroubleEvent>().size(), 1U);
  EXPECT_TRUE(in_trouble.heard.all<IntakeTroubleEvent>()[0].bad);
}

TEST(Decoding, ARefusedSubscriptionIsTroubleUntilItIsAccepted) {
  Settings settings;
  Bench bench(settings);
  bench.refused("");
  bench.refused("the broker refused to send 'a'");
  bench.refused("the broker refused to send 'a'");
  bench.dropped(1, 1000);
  bench.refused("");
  bench.tick(100'000);
  const auto told = bench.heard.all<IntakeTroubleEvent>();
  ASSERT_EQ(told.size(), 4U);
  EXPECT_EQ(told[0].detail, "the broker refused to send 'a'");
  EXPECT_TRUE(told[1].bad && told[2].bad);
  EXPECT_EQ(told[2].detail.find("refused"), std::string::npos) << told[2].detail;
  EXPECT_FALSE(told[3].bad);
}

TEST(Decoding, ADecoderThatCannotBeOpenedIsAnErrorThatNamesTheTopic) {
  Settings settings;
  add_source(settings, "room/x", "no-such-decoder");
  const Result<Decoding> decoding = Decoding::open(settings, plugins);
  ASSERT_FALSE(decoding.ok());
  EXPECT_NE(decoding.error().text.find("room/x"), std::string::npos) << decoding.error().text;
  EXPECT_NE(decoding.error().text.find("no-such-decoder"), std::string::npos) << decoding.error().text;
}

}  // namespace
}  // namespace baskwell::intake
