#include "plugin_host/channel.h"

#include <algorithm>
#include <array>
#include <limits>
#include <utility>

#include "plugin_host/opened.h"

namespace baskwell::plugin_host {
namespace {

constexpr std::size_t answer_bytes_max = 1024;

}  // namespace

struct DeliveryChannel::State {
  Opened<bw_channel> plugin;
};

DeliveryChannel::DeliveryChannel(std::unique_ptr<State> state) : state_(std::move(state)) {}
DeliveryChannel::~DeliveryChannel() = default;
DeliveryChannel::DeliveryChannel(DeliveryChannel&&) noexcept = default;
DeliveryChannel& DeliveryChannel::operator=(DeliveryChannel&&) noexcept = default;

Delivery DeliveryChannel::deliver(const Message& message, std::chrono::milliseconds timeout) {
  const bw_message plain{
      message.id.c_str(),       message.person.c_str(), message.address.c_str(), message.priority.c_str(),
      message.headline.c_str(), message.body.c_str(),   message.json.c_str(),    message.utc_ms};
  constexpr std::int64_t timeout_ms_max = std::numeric_limits<std::uint32_t>::max();
  const auto timeout_ms =
      static_cast<std::uint32_t>(std::clamp<std::int64_t>(timeout.count(), 1, timeout_ms_max));
  const Opened<bw_channel>& plugin = state_->plugin;
  std::array<char, answer_bytes_max> answer{};
  int said = -1;
  try {
    said = plugin.functions().deliver(plugin.self(), &plain, timeout_ms, answer.data(), answer.size());
  } catch (...) {
    return {DeliveryResult::refused, plugin.what() + " is faulty: it threw an exception"};
  }
  std::string line = one_line(answer.data(), answer.size());
  switch (said) {
    case BW_DELIVERED:
      return {DeliveryResult::delivered, std::move(line)};
    case BW_TRY_AGAIN:
      return {DeliveryResult::try_again, std::move(line)};
    case BW_REFUSED:
      return {DeliveryResult::refused, std::move(line)};
    case BW_ACKNOWLEDGED:
      return {DeliveryResult::acknowledged, std::move(line)};
    default:
      return {DeliveryResult::refused,
              plugin.what() + " is faulty: it answered " + std::to_string(said) + " (" + line + ")"};
  }
}

Result<ChannelPlugin> ChannelPlugin::load(std::string_view name, const Folders& folders) {
  Result<Description> about = Description::load(name, folders);
  if (!about) return about.error();
  if (about.value().channel() == nullptr) {
    return Error{"the plugin '" + std::string(name) + "' is a decoder, not a channel"};
  }
  return ChannelPlugin(std::move(about).value());
}

Result<DeliveryChannel> ChannelPlugin::open(const std::vector<Setting>& settings) const {
  if (Outcome keys = about_.check_keys(settings); !keys) return keys.error();
  const std::vector<bw_setting> plain = as_bw_settings(settings);
  auto state = std::make_unique<DeliveryChannel::State>();
  const bw_channel* functions = about_.channel();
  const Outcome opened = state->plugin.open(functions, "the channel '" + about_.name() + "'",
                                            [&](char* error, std::size_t size) {
                                              return functions->open(plain.data(), plain.size(), error, size);
                                            });
  if (!opened) return opened.error();
  return DeliveryChannel(std::move(state));
}

}  // namespace baskwell::plugin_host
