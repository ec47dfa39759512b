// Instruments, channels and placements: what the file's forms become, and what is wrong with them.

#include <gtest/gtest.h>

#include <cmath>

#include "settings_folder.h"

namespace baskwell::settings_test {
namespace {

using Lines = std::vector<std::string>;

Settings loaded(const std::string& more) {
  const SettingsFolder folder;
  LoadOutcome outcome = folder.load(good_room + more);
  for (const std::string& line : folder.lines(outcome)) ADD_FAILURE() << line;
  return std::move(outcome.settings).value();
}

Lines findings(const std::string& more) {
  return SettingsFolder().findings(good_room + more);
}

TEST(Instruments, ManyQuantitiesInOneMessage) {
  const Settings settings = loaded(
      "[instruments.box]\ntopic = \"box\"\ntime = \"/t\"\nkeep_queued = true\ntype = \"capacitive-rh\"\n"
      "interval = \"30 s\"\nenclosure = \"shelf\"\npresence = { topic = \"box/here\", online = \"1\", "
      "offline = \"0\" }\n"
      "channels = [\n"
      "  { pointer = \"/air/tempF\", unit = \"degF\", zone = \"cool\", offset = -1.8, measures = [-40, 212] "
      "},\n"
      "  { pointer = \"/rh\", unit = \"%RH\", zone = \"cool\", id = \"damp\" },\n"
      "  { pointer = \"/battery\", unit = \"V\" },\n]\n");
  const Room& room = settings.room;
  ASSERT_EQ(room.instruments.size(), 1U);
  EXPECT_EQ(room.instruments[0].type, ProbeType::capacitive_rh);
  EXPECT_EQ(room.instruments[0].interval_ms, 30'000);
  ASSERT_EQ(settings.probes.size(), 1U);
  const ProbeSource& source = settings.probes[0];
  EXPECT_EQ(source.decoder, "json");
  EXPECT_EQ(source.time_pointer, "/t");
  EXPECT_TRUE(source.keep_queued);
  ASSERT_EQ(source.channels.size(), 3U);
  const Channel& air = room.channels[0];
  EXPECT_EQ(air.id, "box/air-tempf");
  EXPECT_EQ(air.unit, Unit::degf);
  EXPECT_EQ(air.placements[0].zone, Zone::cool);
  EXPECT_EQ(air.placements[0].medium, Medium::air);
  // 1.8 degF is 1 degC by definition; 212 degF is 100 degC.
  EXPECT_DOUBLE_EQ(air.calibrations[0].offset, -1);
  EXPECT_EQ(air.calibrations[0].version, 1);
  EXPECT_DOUBLE_EQ(*air.measures_low, -40);
  EXPECT_DOUBLE_EQ(*air.measures_high, 100);
  EXPECT_EQ(room.channels[1].id, "box/damp");
  EXPECT_EQ(room.channels[2].quantity, Quantity::battery);
  EXPECT_TRUE(room.channels[2].placements.empty());
  ASSERT_EQ(settings.presences.size(), 1U);
  EXPECT_EQ(settings.presences[0].online, "1");
  EXPECT_EQ(settings.presences[0].instruments, std::vector<Index>{0});
}

TEST(Instruments, OneTopicForEachChannel) {
  const Settings settings = loaded(
      "[instruments.i]\nenclosure = \"shelf\"\nchannels = [\n"
      "  { topic = \"a/hot\", unit = \"degC\", zone = \"hot\", medium = \"surface\" },\n"
      "  { topic = \"a/pool\", unit = \"K\", zone = \"water\" },\n]\n");
  ASSERT_EQ(settings.probes.size(), 2U);
  EXPECT_EQ(settings.room.channels[0].id, "i/hot");
  EXPECT_EQ(settings.room.channels[1].placements[0].medium, Medium::water);
  EXPECT_EQ(settings.probes[1].decoder, "plain");
  EXPECT_EQ(settings.probes[1].channels[0].unit, Unit::kelvin);
}

TEST(Instruments, PlacementsAreInTheRoomsOwnTime) {
  const Settings settings = loaded(
      "[instruments.i]\ntopic = \"t\"\nunit = \"degC\"\nplacements = [\n"
      "  { enclosure = \"shelf\", zone = \"cool\", from = 2026-07-01T12:30:00 },\n"
      "  { zone = \"room\", from = 2026-01-01, to = 2026-07-01T11:30:00Z },\n]\n"
      "calibrations = [{ from = 2026-02-01, offset = 0.5 }, { from = 2026-07-01, offset = -0.25 }]\n");
  const Channel& channel = settings.room.channels[0];
  ASSERT_EQ(channel.placements.size(), 2U);
  EXPECT_EQ(channel.placements[0].enclosure, none) << "earliest first";
  EXPECT_EQ(channel.placements[0].span.from.ms, 1767225600000);  // 2026-01-01T00:00Z, London in winter
  EXPECT_EQ(channel.placements[1].span.from.ms,
            1782905400000);  // 2026-07-01T11:30Z is 12:30 in British summer time
  EXPECT_EQ(channel.placements[0].span.to.ms, 1782905400000);
  EXPECT_EQ(channel.calibrations[1].version, 2);
  EXPECT_EQ(channel.calibrations[1].from.ms, 1782860400000);  // 2026-06-30T23:00Z
}

TEST(Instruments, IdsTakenFromTopics) {
  const Settings settings = loaded(
      "[enclosures.den]\n[racks.low]\ntubs = 3\nprobes = [{ topic = \"low/{tub}/t\", unit = \"degC\", zone = "
      "\"hot\", "
      "id = \"low-probe-{tub}\", tubs = [1, 3] }]\n"
      "[instruments.lux]\ntopic = \"light/{enclosure}/lux\"\nunit = \"lux\"\nzone = \"middle\"\nenclosures = "
      "[\"den\", "
      "\"shelf\"]\npresence = \"light/{enclosure}/here\"\n");
  ASSERT_EQ(settings.probes.size(), 4U);
  EXPECT_EQ(settings.probes[0].filter, "low/+/t");
  EXPECT_EQ(settings.probes[1].topic, "low/3/t");
  EXPECT_EQ(settings.room.instruments[1].id, "low-probe-3");
  EXPECT_EQ(settings.room.channels[1].placements[0].enclosure, 4U);
  EXPECT_EQ(settings.room.enclosures[4].id, "low-3");
  EXPECT_EQ(settings.probes[2].filter, "light/+/lux");
  EXPECT_EQ(settings.probes[2].topic, "light/den/lux");
  EXPECT_EQ(settings.room.instruments[3].id, "lux-shelf");
  EXPECT_EQ(settings.presences[1].topic, "light/shelf/here");
}

TEST(Instruments, OneValueOnlyOnce) {
  EXPECT_EQ(
      findings(
          "[instruments.i]\ntopic = \"t\"\nunit = \"degC\"\nzone = \"room\"\n"
          "[instruments.j]\ntopic = \"t\"\nunit = \"degC\"\nzone = \"room\"\n"
          "[instruments.k]\ntopic = \"+\"\nunit = \"degC\"\nzone = \"room\"\n"
          "[instruments.l]\ntopic = \"t\"\nchannels = [{ pointer = \"/a\", unit = \"degC\", zone = \"room\" "
          "}, { pointer = \"/a\", unit = \"V\", id = \"b\" }]\n"),
      lines_of(R"(
room.toml:15:1: error: instruments.j: topic t is the value of instruments.i already, allowed: one channel for one value
room.toml:19:1: error: instruments.k: topic + is the value of instruments.i already, allowed: one channel for one value
room.toml:19:1: error: instruments.k: topic + is the value of instruments.j already, allowed: one channel for one value
room.toml:25:63: error: instruments.l.channels[2]: topic t with pointer /a is the value of instruments.l.channels[1] already, allowed: one channel for one value
)"));
}

TEST(Instruments, WhatIsWrongWithThem) {
  EXPECT_EQ(findings("[instruments.i]\ntopic = \"a/{tub}\"\nunit = \"degC\"\nenclosure = \"shelf\"\n"),
            lines_of(R"(
room.toml:11:1: error: instruments.i.zone: is missing, allowed: hot, middle, cool, hide, water, eggs, or room for its own air
room.toml:12:9: error: instruments.i.topic: has a mark in braces that means nothing here, allowed: a topic as "room/shelf-1/hot", + or {enclosure} for one whole level, # for the last levels
)"));
  EXPECT_EQ(
      findings(
          "[instruments.i]\ntopic = \"t\"\nkeep_queued = true\ndecoder = \"plain\"\nchannels = [{ pointer = "
          "\"rh\", unit = \"%RH\", zone = \"room\" }]\n"),
      lines_of(R"(
room.toml:13:15: error: instruments.i.keep_queued: a payload without its own time has none after it lay in a queue, allowed: false, or a time pointer
room.toml:14:11: error: instruments.i.decoder: plain payloads hold one number and no pointer, allowed: decoder = "json"
room.toml:15:25: error: instruments.i.channels[1].pointer: is no JSON pointer, allowed: a text that begins with /, as "/air/temperature" (RFC 6901)
)"));
  EXPECT_EQ(findings("[enclosures.b]\nprobes = [{ topic = \"x\", unit = \"degC\", zone = \"hot\" }, { topic "
                     "= \"y\", unit "
                     "= \"degC\", zone = \"hot\" }]\n"),
            lines_of(R"(
room.toml:12:57: error: enclosures.b.probes[2]: there is a second instrument with the id "b-hot-temperature", allowed: an id of its own
)"));
  EXPECT_EQ(
      findings("[racks.r]\ntubs = 2\nprobes = { topic = \"r{tub}\", unit = \"degC\", zone = \"hot\", tubs = "
               "[0, 2, "
               "2] }\n"),
      lines_of(R"(
room.toml:13:20: error: racks.r.probes.topic: {tub} is not a whole level, allowed: a topic as "room/shelf-1/hot", + or {enclosure} for one whole level, # for the last levels
room.toml:13:67: error: racks.r.probes.tubs[1]: is no tub of this rack, allowed: 1 to 2
room.toml:13:73: error: racks.r.probes.tubs[3]: is named twice, allowed: each tub once
)"));
}

}  // namespace
}  // namespace baskwell::settings_test
