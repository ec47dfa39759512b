#include "intake/session_link.h"

#include <mqtt/async_client.h>

#include <chrono>
#include <utility>

namespace baskwell::intake {
namespace {

constexpr int qos = 1;
constexpr std::chrono::seconds connect_within{10};
// How long a broker keeps the messages of the kept session for us: a long weekend away and some.
constexpr std::uint32_t session_expiry_s = 7 * 24 * 3600;
// A bound for the client library's memory; far above the queue's own bound, which counts what it drops.
constexpr std::uint32_t packet_bytes_max = 1U << 20U;

// The library's listener interface as two functions.
class Listener : public mqtt::iaction_listener {
 public:
  using Function = std::function<void(const mqtt::token&)>;
  Listener(Function success, Function failure) : success_(std::move(success)), failure_(std::move(failure)) {}
  void on_success(const mqtt::token& token) override { success_(token); }
  void on_failure(const mqtt::token& token) override { failure_(token); }

 private:
  Function success_;
  Function failure_;
};

std::string uri_of(const BrokerSettings& settings) {
  const bool bare_ipv6 = settings.host.find(':') != std::string::npos;
  return std::string(settings.tls ? "ssl://" : "tcp://") +
         (bare_ipv6 ? "[" + settings.host + "]" : settings.host) + ":" + std::to_string(settings.port);
}

int version_of(const BrokerSettings& settings) {
  return settings.version == MqttVersion::v5 ? MQTTVERSION_5 : MQTTVERSION_3_1_1;
}

// Code and text of an action that failed. The library gives its text only by throwing it.
std::pair<int, std::string> failure_of(const mqtt::token& token) {
  try {
    const_cast<mqtt::token&>(token).wait();  // is complete: throws at once
  } catch (const mqtt::exception& failed) {
    const int reason = failed.get_reason_code();
    const int code = reason >= 0x80 && reason <= 0xff ? reason : failed.get_return_code();
    return {code, failed.get_message()};
  } catch (const std::exception& failed) {
    return {MQTTASYNC_FAILURE, failed.what()};
  }
  return {token.get_return_code(), ""};
}

}  // namespace

struct SessionLink::State {
  Session session;
  int version;
  std::shared_ptr<ArrivalQueue> queue;
  ClockSource clock;
  std::function<void(Happening)> happened;
  std::shared_ptr<const std::atomic<bool>> open;
  mqtt::connect_options options;
  std::unique_ptr<Listener> connecting;
  std::unique_ptr<Listener> subscribing;
  std::unique_ptr<mqtt::async_client> client;  // last: it goes first

  State(Session which, const BrokerSettings& settings, std::shared_ptr<ArrivalQueue> into, ClockSource stamps,
        std::function<void(Happening)> on_happening, std::shared_ptr<const std::atomic<bool>> is_open)
      : session(which),
        version(version_of(settings)),
        queue(std::move(into)),
        clock(std::move(stamps)),
        happened(std::move(on_happening)),
        open(std::move(is_open)) {}

  void tell(Happening::What what, int code = 0, std::string words = "", std::vector<int> codes = {}) {
    if (!open->load(std::memory_order_acquire)) return;
    happened({.session = session,
              .what = what,
              .code = code,
              .words = std::move(words),
              .codes = std::move(codes)});
  }
  void set_options(const BrokerSettings& settings, const std::string& password);
  void set_listeners();
};

void SessionLink::State::set_options(const BrokerSettings& settings, const std::string& password) {
  const bool clean = session == Session::live;
  options.set_mqtt_version(version);
  options.set_keep_alive_interval(settings.keep_alive_s);
  options.set_connect_timeout(connect_within);
  options.set_automatic_reconnect(false);
  if (version == MQTTVERSION_5) {
    options.set_clean_start(clean);
    mqtt::properties properties;
    properties.add({mqtt::property::MAXIMUM_PACKET_SIZE, static_cast<std::int32_t>(packet_bytes_max)});
    if (!clean) {
      properties.add({mqtt::property::SESSION_EXPIRY_INTERVAL, static_cast<std::int32_t>(session_expiry_s)});
    }
    options.set_properties(std::move(properties));
  } else {
    options.set_clean_session(clean);
  }
  if (!settings.user.empty()) options.set_user_name(settings.user);
  if (!password.empty()) options.set_password(password);
  if (!settings.tls) return;
  mqtt::ssl_options tls;
  if (!settings.ca_file.empty()) tls.set_trust_store(settings.ca_file);
  tls.set_enable_server_cert_auth(true);
  tls.set_verify(true);  // the name in the certificate too
  // No error handler: with one, version 1.2.0 of the library crashes when a certificate is refused.
  options.set_ssl(std::move(tls));
}

void SessionLink::State::set_listeners() {
  connecting = std::make_unique<Listener>([this](const mqtt::token&) { tell(Happening::What::connected); },
                                          [this](const mqtt::token& token) {
                                            const auto [code, words] = failure_of(token);
                                            tell(Happening::What::not_connected, code, words);
                                          });
  subscribing = std::make_unique<Listener>(
      [this](const mqtt::token& token) {
        const mqtt::subscribe_response response = token.get_subscribe_response();
        std::vector<int> codes(response.get_reason_codes().begin(), response.get_reason_codes().end());
        tell(Happening::What::subscribed, 0, "", std::move(codes));
      },
      [this](const mqtt::token& token) {
        const auto [code, words] = failure_of(token);
        // A refusal of the only filter comes as a failure of the whole.
        if (code >= 0x80) return tell(Happening::What::subscribed, 0, "", {code});
        tell(Happening::What::not_subscribed, code, words);
      });
  client->set_message_callback([this](const mqtt::const_message_ptr& message) {
    if (!open->load(std::memory_order_acquire)) return;
    // What does not fit is counted by the queue.
    static_cast<void>(
        queue->push(message->get_topic(), message->get_payload(), message->is_retained(), session, clock()));
  });
  client->set_connection_lost_handler([this](const std::string& cause) {
    // With this cause the disconnected handler is called next, and knows the broker's reason.
    if (cause == "Received disconnect") return;
    tell(Happening::What::lost, 0, cause);
  });
  client->set_disconnected_handler([this](const mqtt::properties&, mqtt::ReasonCode reason) {
    tell(Happening::What::lost, static_cast<int>(reason));
  });
}

Result<std::unique_ptr<SessionLink>> SessionLink::create(Session session, const BrokerSettings& settings,
                                                         const std::string& password,
                                                         std::shared_ptr<ArrivalQueue> queue,
                                                         ClockSource clock,
                                                         std::function<void(Happening)> happened,
                                                         std::shared_ptr<const std::atomic<bool>> open) {
  auto state = std::make_unique<State>(session, settings, std::move(queue), std::move(clock),
                                       std::move(happened), std::move(open));
  const std::string client_id = settings.client_id + (session == Session::kept ? "-kept" : "");
  try {
    state->client = std::make_unique<mqtt::async_client>(uri_of(settings), client_id,
                                                         mqtt::create_options(state->version));
    state->set_options(settings, password);
    state->set_listeners();
  } catch (const std::exception& failed) {
    return Error{"broker " + settings.address + ": " + failed.what()};
  }
  return std::unique_ptr<SessionLink>(new SessionLink(std::move(state)));
}

SessionLink::SessionLink(std::unique_ptr<State> state) : state_(std::move(state)) {}
SessionLink::~SessionLink() = default;

Outcome SessionLink::connect() {
  try {
    state_->client->connect(state_->options, nullptr, *state_->connecting);
    return Done{};
  } catch (const std::exception& failed) {
    return Error{failed.what()};
  }
}

Outcome SessionLink::subscribe(const std::vector<std::string>& filters) {
  try {
    const auto topics = mqtt::string_collection::create(filters);
    const mqtt::iasync_client::qos_collection wanted(filters.size(), qos);
    // Default options: passing a list of them crashes version 1.2.0 of the library when there are several.
    state_->client->subscribe(topics, wanted, nullptr, *state_->subscribing);
    return Done{};
  } catch (const std::exception& failed) {
    return Error{failed.what()};
  }
}

void SessionLink::disconnect(std::int64_t within_ms) {
  try {
    if (!state_->client->is_connected()) return;
    const auto gone = state_->client->disconnect(0);
    static_cast<void>(gone->wait_for(std::chrono::milliseconds(within_ms)));
  } catch (const std::exception&) {
    // It is gone already, which is all that was wanted.
    return;
  }
}

}  // namespace baskwell::intake
