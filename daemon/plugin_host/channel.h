#pragma once
// Channel plugins as the rest of the daemon sees them: one message to one person, one answer back.
// Errors: Result on load and open; deliver() always answers, a plugin that makes no sense is a refusal in
// words. Threads: a DeliveryChannel belongs to one thread at a time and may block it up to the time limit
// given.

#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "baskwell/plugin.h"
#include "core/result.h"
#include "plugin_host/library.h"

namespace baskwell::plugin_host {

// bw_message with strings of its own.
struct Message {
  std::string id;  // the same for every attempt
  std::string person;
  std::string address;
  std::string priority;  // high, medium, low
  std::string headline;
  std::string body;
  std::string json;
  std::int64_t utc_ms = 0;
};

enum class DeliveryResult { delivered, try_again, refused, acknowledged };

struct Delivery {
  DeliveryResult result = DeliveryResult::refused;
  std::string answer;  // one line: what the other side said, or the cause of the failure
};

class DeliveryChannel {
 public:
  ~DeliveryChannel();
  DeliveryChannel(DeliveryChannel&&) noexcept;
  DeliveryChannel& operator=(DeliveryChannel&&) noexcept;

  [[nodiscard]] Delivery deliver(const Message& message, std::chrono::milliseconds timeout);

 private:
  friend class ChannelPlugin;
  struct State;
  explicit DeliveryChannel(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

class ChannelPlugin {
 public:
  [[nodiscard]] static Result<ChannelPlugin> load(std::string_view name,
                                                  const Folders& folders = default_folders());
  [[nodiscard]] const Description& about() const { return about_; }
  [[nodiscard]] Result<DeliveryChannel> open(const std::vector<Setting>& settings) const;

 private:
  explicit ChannelPlugin(Description about) : about_(std::move(about)) {}
  Description about_;
};

}  // namespace baskwell::plugin_host
