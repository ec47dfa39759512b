#include "demoroom/program/broker_link.h"

#include <mqtt/async_client.h>

#include <atomic>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>
#include <utility>

namespace baskwell::demoroom {
namespace {

constexpr std::size_t kMostLines = 100;
constexpr int kQos = 1;
constexpr int kMostInFlight = 1000;
constexpr std::chrono::seconds kOneStep(5);

mqtt::connect_options connect_options(const LinkSettings& settings) {
  mqtt::connect_options options;
  options.set_clean_session(true);
  options.set_keep_alive_interval(20);
  options.set_connect_timeout(5);
  options.set_max_inflight(kMostInFlight);
  options.set_automatic_reconnect(1, 10);
  if (!settings.presence_topic.empty()) {
    options.set_will_message(mqtt::make_message(settings.presence_topic, "offline", kQos, true));
  }
  return options;
}

}  // namespace

struct BrokerLink::State {
  explicit State(const LinkSettings& wanted)
      : settings(wanted), client(wanted.uri, wanted.client_id, mqtt::create_options{}) {}

  LinkSettings settings;
  mqtt::async_client client;
  std::atomic<bool> opened{false};
  std::atomic<std::uint64_t> sent{0};
  std::atomic<std::uint64_t> dropped{0};
  std::mutex mutex;
  std::condition_variable arrived;
  std::deque<std::string> lines;  // guarded by mutex
  bool closed = false;

  void take(const mqtt::const_message_ptr& message) {
    if (message == nullptr || message->is_retained()) return;  // an old command is no command
    const std::lock_guard<std::mutex> lock(mutex);
    if (lines.size() >= kMostLines) return;  // whoever floods it gets no answer
    lines.push_back(message->to_string());
    arrived.notify_one();
  }

  // On Paho's thread, after it came back: nothing here may wait.
  void again() {
    if (!opened) return;
    try {
      client.subscribe(settings.listen_topic, kQos);
      if (!settings.presence_topic.empty()) {
        client.publish(mqtt::make_message(settings.presence_topic, "online", kQos, true));
      }
    } catch (const mqtt::exception&) {
      // Lost again at once: the next return does it.
    }
  }
};

BrokerLink::BrokerLink(std::unique_ptr<State> state) : state_(std::move(state)) {}
BrokerLink::~BrokerLink() {
  close();
}

Result<std::unique_ptr<BrokerLink>> BrokerLink::open(const LinkSettings& settings,
                                                     std::chrono::seconds patience) {
  const auto deadline = std::chrono::steady_clock::now() + patience;
  try {
    auto state = std::make_unique<State>(settings);
    State& session = *state;
    session.client.set_message_callback(
        [&session](const mqtt::const_message_ptr& message) { session.take(message); });
    session.client.set_connected_handler([&session](const std::string&) { session.again(); });
    for (;;) {
      try {
        session.client.connect(connect_options(settings))->wait();
        break;
      } catch (const mqtt::exception& error) {
        if (std::chrono::steady_clock::now() >= deadline) {
          return Error{"broker " + settings.uri + ": " + error.to_string()};
        }
        std::this_thread::sleep_for(std::chrono::milliseconds(200));
      }
    }
    session.client.subscribe(settings.listen_topic, kQos)->wait_for(kOneStep);
    if (!settings.presence_topic.empty()) {
      session.client.publish(mqtt::make_message(settings.presence_topic, "online", kQos, true))
          ->wait_for(kOneStep);
    }
    session.opened = true;
    return std::unique_ptr<BrokerLink>(new BrokerLink(std::move(state)));
  } catch (const mqtt::exception& error) {
    return Error{"broker " + settings.uri + ": " + error.to_string()};
  }
}

bool BrokerLink::send(const std::string& topic, const std::string& payload) {
  try {
    state_->client.publish(mqtt::make_message(topic, payload, kQos, false));
    ++state_->sent;
    return true;
  } catch (const mqtt::exception&) {
    ++state_->dropped;
    return false;
  }
}

std::optional<std::string> BrokerLink::next_line(std::chrono::milliseconds patience) {
  std::unique_lock<std::mutex> lock(state_->mutex);
  if (!state_->arrived.wait_for(lock, patience, [this] { return !state_->lines.empty(); }))
    return std::nullopt;
  std::string line = std::move(state_->lines.front());
  state_->lines.pop_front();
  return line;
}

void BrokerLink::close() {
  if (state_->closed) return;
  state_->closed = true;
  try {
    if (state_->client.is_connected()) {
      if (!state_->settings.presence_topic.empty()) {
        state_->client.publish(mqtt::make_message(state_->settings.presence_topic, "offline", kQos, true))
            ->wait_for(kOneStep);
      }
      state_->client.disconnect(2000)->wait_for(kOneStep);
    }
  } catch (const mqtt::exception&) {
    // Gone in between: the will says it.
  }
}

std::uint64_t BrokerLink::sent() const {
  return state_->sent;
}
std::uint64_t BrokerLink::dropped() const {
  return state_->dropped;
}

}  // namespace baskwell::demoroom
