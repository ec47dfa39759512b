#pragma once
// What the channel tests share: opening a channel through the host, and a message as the daemon might send
// it.

#include <gtest/gtest.h>

#include <chrono>
#include <string>
#include <string_view>
#include <vector>

#include "plugin_host/channel.h"

namespace baskwell::plugin_host {

using std::chrono::milliseconds;
using std::chrono::seconds;

inline Result<DeliveryChannel> open_channel(std::string_view plugin, const std::vector<Setting>& settings) {
  const Result<ChannelPlugin> loaded = ChannelPlugin::load(plugin, {BASKWELL_PLUGINS});
  if (!loaded) return loaded.error();
  return loaded.value().open(settings);
}

// Opens, or fails the test and stops it there.
inline DeliveryChannel opened(std::string_view plugin, const std::vector<Setting>& settings) {
  Result<DeliveryChannel> channel = open_channel(plugin, settings);
  if (!channel) {
    ADD_FAILURE() << channel.error().text;
    std::abort();
  }
  return std::move(channel).value();
}

inline std::string refusal(std::string_view plugin, const std::vector<Setting>& settings) {
  const Result<DeliveryChannel> channel = open_channel(plugin, settings);
  return channel.ok() ? "opened" : channel.error().text;
}

inline Message example_message(const std::string& address) {
  Message message;
  message.id = "7f3a-12";
  message.person = "Ines Okafor";
  message.address = address;
  message.priority = "high";
  message.headline = "Tub 7, hot end 24.1 \u00B0C: too cold, check the mat's plug";
  message.body = message.headline + "\nBelow 28.0 \u00B0C since 03:12, falling 1.5 \u00B0C an hour.\n";
  message.json = R"({"kind":"too-cold","enclosure":"tub-7","value_degc":24.1})";
  message.utc_ms = 1'795'518'000'000;  // 2026-11-24T11:00:00Z
  return message;
}

inline testing::AssertionResult holds(std::string_view text, std::string_view part) {
  if (text.find(part) != std::string_view::npos) return testing::AssertionSuccess();
  return testing::AssertionFailure() << "'" << text << "' does not hold '" << part << "'";
}

// How long `work` took.
template <class Work>
milliseconds time_of(Work work) {
  const auto begin = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration_cast<milliseconds>(std::chrono::steady_clock::now() - begin);
}

}  // namespace baskwell::plugin_host
