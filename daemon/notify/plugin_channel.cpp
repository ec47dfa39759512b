#include "notify/plugin_channel.h"

#include <chrono>
#include <utility>

#include "core/check.h"
#include "plugin_host/channel.h"

namespace baskwell::notify {

namespace {

Answer answer_from(plugin_host::DeliveryResult result) {
  switch (result) {
    case plugin_host::DeliveryResult::delivered:
      return Answer::delivered;
    case plugin_host::DeliveryResult::try_again:
      return Answer::try_again;
    case plugin_host::DeliveryResult::refused:
      return Answer::refused;
    case plugin_host::DeliveryResult::acknowledged:
      return Answer::acknowledged;
  }
  return Answer::refused;
}

}  // namespace

ChannelCall through(std::shared_ptr<plugin_host::DeliveryChannel> channel) {
  CHECK(channel != nullptr);
  return [channel = std::move(channel)](const Letter& letter, std::uint32_t timeout_ms) {
    plugin_host::Message message;
    message.id = letter.id;
    message.person = letter.person_name;
    message.address = letter.address;
    message.priority = name_of(letter.priority);
    message.headline = letter.headline;
    message.body = letter.body;
    message.json = letter.json;
    message.utc_ms = letter.written.ms;
    plugin_host::Delivery delivery = channel->deliver(message, std::chrono::milliseconds(timeout_ms));
    return ChannelAnswer{answer_from(delivery.result), std::move(delivery.answer)};
  };
}

}  // namespace baskwell::notify
