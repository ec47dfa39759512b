#pragma once
// A channel plugin as the delivery threads call it. The call keeps the plugin's instance alive.

#include <memory>

#include "notify/letter.h"

namespace baskwell::plugin_host {
class DeliveryChannel;
}

namespace baskwell::notify {

[[nodiscard]] ChannelCall through(std::shared_ptr<plugin_host::DeliveryChannel> channel);

}  // namespace baskwell::notify
