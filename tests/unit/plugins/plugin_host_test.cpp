// The host: names, versions, descriptions, and plugins that misbehave.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "decoding.h"
#include "plugin_host/channel.h"

namespace baskwell::plugin_host {
namespace {

const std::string real = BASKWELL_PLUGINS;
const std::string made = BASKWELL_TEST_PLUGINS;
using Words = std::vector<std::string>;

std::string refusal(std::string_view name, const Folders& folders = {BASKWELL_TEST_PLUGINS}) {
  const Result<DecoderPlugin> loaded = DecoderPlugin::load(name, folders);
  return loaded.ok() ? "loaded" : loaded.error().text;
}

testing::AssertionResult holds(const std::string& text, std::string_view part) {
  if (text.find(part) != std::string::npos) return testing::AssertionSuccess();
  return testing::AssertionFailure() << "'" << text << "' does not hold '" << part << "'";
}

TEST(PluginHost, FindsThePluginsBesideTheBuild) {
  const Result<DecoderPlugin> plain = DecoderPlugin::load("plain");
  ASSERT_TRUE(plain.ok()) << plain.error().text;
  EXPECT_EQ(plain.value().about().name(), "plain");
  EXPECT_EQ(plain.value().about().version(), "1.0");
}

TEST(PluginHost, TakesTheFirstFolderThatHasIt) {
  EXPECT_EQ(refusal("plain", {"/nonexistent", real}), "loaded");
  EXPECT_TRUE(
      holds(refusal("plain", {"/nonexistent", made}), "no plugin named 'plain' in /nonexistent, " + made));
}

TEST(PluginHost, NamesCannotCarryAPath) {
  for (const char* name : {"", "../plugins/plain", "plain.so", "/etc/passwd", "Plain", "pl ain", "pl\nain",
                           "a/b", ".", "plain\xFF", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"}) {
    EXPECT_TRUE(holds(refusal(name, {real}), "is not a plugin name")) << name;
  }
}

TEST(PluginHost, RefusesWhatIsNoPluginOfThisVersion) {
  EXPECT_TRUE(holds(refusal("only-version-9"),
                    "another version of the plugin interface; this program speaks version 1"));
  EXPECT_TRUE(
      holds(refusal("says-version-9"), "version 9 of the plugin interface; this program speaks version 1"));
  EXPECT_TRUE(holds(refusal("no-entry"), "not a Baskwell plugin"));
  EXPECT_TRUE(holds(refusal("other-name"), "calls itself by another name"));
  EXPECT_TRUE(holds(refusal("garbage-channel"), "is a channel, not a decoder"));
  const Result<ChannelPlugin> channel = ChannelPlugin::load("plain", {real});
  ASSERT_FALSE(channel.ok());
  EXPECT_TRUE(holds(channel.error().text, "is a decoder, not a channel"));
}

TEST(PluginHost, AFileThatIsNoSharedObjectIsRefused) {
  const std::filesystem::path folder = std::filesystem::temp_directory_path() / "baskwell-no-object";
  std::filesystem::create_directories(folder);
  std::ofstream(folder / "text.so") << "not an object\n";
  EXPECT_TRUE(holds(refusal("text", {folder}), "cannot load the plugin"));
  std::filesystem::remove_all(folder);
}

TEST(PluginHost, APluginInPlainCWorks) {
  Result<Decoder> decoder = open("written-in-c", {{{"", BW_UNIT_DEGC}}, std::nullopt, {}}, made);
  ASSERT_TRUE(decoder.ok()) << decoder.error().text;
  EXPECT_EQ(decode(decoder.value(), "\x20").readings, Words{"0: 32 degC"});
  const Outcomes got = decode(decoder.value(), "ab");
  EXPECT_EQ(got.decoded, Decoded::unreadable);
  EXPECT_EQ(got.problem, "2 bytes instead of one");
  const Result<Decoder> refused = open("written-in-c", {{}, std::nullopt, {}}, made);
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().text, "exactly one quantity can be wanted, not 0");
}

TEST(PluginHost, ADecoderOutlivesItsPluginObjectAndMoves) {
  std::optional<Decoder> kept;
  {
    Result<Decoder> opened = open("written-in-c", {{{"", BW_UNIT_DEGC}}, std::nullopt, {}}, made);
    kept.emplace(std::move(opened).value());
  }
  EXPECT_EQ(decode(*kept, "\x01").readings, Words{"0: 1 degC"});
}

TEST(PluginHost, KeysArePlainOrOpenEnded) {
  const Result<DecoderPlugin> plugin = DecoderPlugin::load("written-in-c", {made});
  ASSERT_TRUE(plugin.ok());
  const Description& about = plugin.value().about();
  EXPECT_TRUE(about.understands("flavour"));
  EXPECT_TRUE(about.understands("note.Anything"));
  EXPECT_FALSE(about.understands("note."));
  EXPECT_FALSE(about.understands("note"));
  EXPECT_FALSE(about.understands("flavour.x"));
  const Result<Decoder> refused =
      plugin.value().open({{{"", BW_UNIT_DEGC}}, std::nullopt, {{"flavor", "x"}}});
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().text, "written-in-c: unknown key 'flavor'; known: flavour, note.*");
}

TEST(PluginHost, NonsenseFromADecoderBecomesAProblem) {
  Result<Decoder> decoder = open("garbage", {{{"", BW_UNIT_DEGC}}, std::nullopt, {}}, made);
  ASSERT_TRUE(decoder.ok());
  struct Case {
    const char* payload;
    std::size_t readings;
    const char* problem;
  };
  for (const Case& c : std::vector<Case>{{"i", 0, "something that is not wanted"},
                                         {"u", 0, "unknown unit"},
                                         {"q", 0, "unit of another quantity"},
                                         {"p", 0, "0 to 18 places"},
                                         {"n", 0, "0 to 18 places"},
                                         {"t", 0, "a time outside the years 1970 to 9999"},
                                         {"f", 0, "a flag other than 0 and 1"},
                                         {"2", 1, "two readings for the same thing"},
                                         {"0", 0, "no reading"},
                                         {"s", 0, "success without a reading"},
                                         {"a", 0, "an unknown answer"},
                                         {"e", 0, "???"},
                                         {"c", 0, "gave no cause"}}) {
    SCOPED_TRACE(c.payload);
    const Outcomes got = decode(decoder.value(), c.payload);
    EXPECT_EQ(got.decoded, c.readings == 0 ? Decoded::unreadable : Decoded::in_part);
    EXPECT_EQ(got.readings.size(), c.readings);
    EXPECT_TRUE(holds(got.problem, c.problem));
  }
  EXPECT_EQ(decode(decoder.value(), "x").decoded, Decoded::whole);  // and a good one is taken again
}

TEST(PluginHost, AnExceptionOutOfADecoderBecomesAProblem) {
  Result<Decoder> decoder = open("throws", {{{"", BW_UNIT_DEGC}}, std::nullopt, {}}, made);
  ASSERT_TRUE(decoder.ok());
  EXPECT_EQ(decode(decoder.value(), "1").decoded, Decoded::unreadable);
  const Outcomes got = decode(decoder.value(), "12");
  EXPECT_EQ(got.decoded, Decoded::in_part);
  EXPECT_TRUE(holds(got.problem, "an exception"));
  const Result<Decoder> refused = open("throws", {{{"", BW_UNIT_DEGC}}, std::nullopt, {{"open", "1"}}}, made);
  ASSERT_FALSE(refused.ok());
  EXPECT_TRUE(holds(refused.error().text, "threw an exception"));
}

TEST(PluginHost, WhatAChannelAnswersIsChecked) {
  const Result<ChannelPlugin> plugin = ChannelPlugin::load("garbage-channel", {made});
  ASSERT_TRUE(plugin.ok()) << plugin.error().text;
  Result<DeliveryChannel> channel = plugin.value().open({});
  ASSERT_TRUE(channel.ok());
  const auto answer = [&](const std::string& address) {
    Message message;
    message.address = address;
    return channel.value().deliver(message, std::chrono::milliseconds(1500));
  };
  EXPECT_EQ(answer("0").result, DeliveryResult::delivered);
  EXPECT_EQ(answer("0").answer, "two lines ?( in 1500 ms");
  EXPECT_EQ(answer("1").result, DeliveryResult::try_again);
  EXPECT_EQ(answer("2").result, DeliveryResult::refused);
  EXPECT_EQ(answer("3").result, DeliveryResult::acknowledged);
  EXPECT_EQ(answer("77").result, DeliveryResult::refused);
  EXPECT_TRUE(holds(answer("77").answer, "is faulty: it answered 77"));
  const Result<DeliveryChannel> refused = plugin.value().open({{"mood", "!"}});
  ASSERT_FALSE(refused.ok());
  EXPECT_EQ(refused.error().text, "no");
}

TEST(OneLine, IsValidUtf8WithoutControlCharacters) {
  const auto line = [](std::string_view text) { return one_line(text.data(), text.size()); };
  EXPECT_EQ(line("a\tb\r\n"), "a b");
  EXPECT_EQ(line("caf\u00E9 \U0001F98E"), "caf\u00E9 \U0001F98E");
  EXPECT_EQ(line("\xC0\xAF"), "??");            // overlong
  EXPECT_EQ(line("\xED\xA0\x80"), "???");       // a surrogate
  EXPECT_EQ(line("\xF4\x90\x80\x80"), "????");  // above U+10FFFF
  EXPECT_EQ(line("cut \xE2\x82"), "cut ??");
}

}  // namespace
}  // namespace baskwell::plugin_host
