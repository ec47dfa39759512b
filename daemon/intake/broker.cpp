#include "intake/broker.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include "core/check.h"
#include "intake/backoff.h"
#include "intake/broker_words.h"
#include "intake/reach.h"
#include "intake/session_link.h"

namespace baskwell::intake {
namespace {

using std::chrono::milliseconds;
using SteadyTime = std::chrono::steady_clock::time_point;

// The library ends an attempt to connect after 10 s by itself; this is for when it does not.
constexpr milliseconds connecting_max{20'000};
constexpr milliseconds subscribing_max{10'000};
constexpr milliseconds short_lived{5000};
constexpr std::size_t filters_at_once = 100;  // keeps one SUBSCRIBE small
constexpr milliseconds stop_max{2000};
constexpr std::int64_t goodbye_ms = 500;

enum class Phase : std::uint8_t { waiting, connecting, subscribing, up };

// One session and where it stands.
struct Line {
  std::unique_ptr<SessionLink> link;
  std::vector<std::string> filters;
  Backoff backoff;
  Phase phase = Phase::waiting;
  SteadyTime until;  // waiting: the next attempt; connecting, subscribing: when to give up
  SteadyTime up_since;
  std::size_t subscribed = 0;  // filters answered
  std::size_t asked = 0;       // filters sent
  std::vector<RefusedFilter> refused;
  std::string cause;  // why it is away; "" while nothing is known against it
};

}  // namespace

struct Broker::State {
  BrokerSettings settings;
  std::string password;
  std::shared_ptr<ArrivalQueue> queue;
  BrokerWiring wiring;
  std::array<std::optional<Line>, session_count> lines;
  std::shared_ptr<std::atomic<bool>> open = std::make_shared<std::atomic<bool>>(true);

  std::thread thread;
  bool started = false;
  std::mutex mutex;  // guards what follows
  std::condition_variable changed;
  std::vector<Happening> happenings;
  bool stopping = false;
  bool finished = false;

  // The rest belongs to the thread.
  std::optional<bool> told_connected;
  std::string told_cause;
  std::string told_refused;

  void run();
  [[nodiscard]] std::optional<std::vector<Happening>> next_happenings();
  void take(Line& line, const Happening& happening, SteadyTime now);
  void attempt(Line& line, SteadyTime now);
  void ask_next(Line& line, SteadyTime now);
  void take_answer(Line& line, const std::vector<int>& codes, SteadyTime now);
  void away(Line& line, std::string cause, SteadyTime now);
  void pass_time(Line& line, SteadyTime now);
  void tell();
  [[nodiscard]] std::string why_lost(const Line& line, const Happening& happening, SteadyTime now) const;
  [[nodiscard]] std::string why_not_connected(const Happening& happening) const;
  void close();
};

// Waits for something to do: what has happened, empty when it is time for something. Nothing: stop.
std::optional<std::vector<Happening>> Broker::State::next_happenings() {
  SteadyTime wake_at = SteadyTime::max();
  for (const auto& line : lines) {
    if (line && line->phase != Phase::up) wake_at = std::min(wake_at, line->until);
  }
  std::unique_lock lock(mutex);
  const auto something = [this] { return stopping || !happenings.empty(); };
  if (wake_at == SteadyTime::max()) {
    changed.wait(lock, something);
  } else {
    changed.wait_until(lock, wake_at, something);
  }
  if (stopping) return std::nullopt;
  return std::exchange(happenings, {});
}

void Broker::State::run() {
  while (const auto happened = next_happenings()) {
    const SteadyTime now = std::chrono::steady_clock::now();
    for (const Happening& happening : *happened) {
      take(*lines[static_cast<std::size_t>(happening.session)], happening, now);
    }
    for (auto& line : lines) {
      if (line) pass_time(*line, now);
    }
    tell();
  }
  close();
}

void Broker::State::take(Line& line, const Happening& happening, SteadyTime now) {
  using What = Happening::What;
  switch (happening.what) {
    case What::connected:
      if (line.phase != Phase::connecting) return;
      line.phase = Phase::subscribing;
      line.subscribed = 0;
      line.refused.clear();
      line.up_since = now;
      return ask_next(line, now);
    case What::subscribed:
      if (line.phase == Phase::subscribing) take_answer(line, happening.codes, now);
      return;
    case What::not_connected:
      if (line.phase == Phase::connecting) away(line, why_not_connected(happening), now);
      return;
    case What::not_subscribed:
      if (line.phase == Phase::subscribing) away(line, "the broker did not answer a subscription", now);
      return;
    case What::lost:
      if (line.phase != Phase::subscribing && line.phase != Phase::up) return;
      away(line, why_lost(line, happening, now), now);
      return;
  }
}

std::string Broker::State::why_lost(const Line& line, const Happening& happening, SteadyTime now) const {
  if (happening.code != 0) return words_for_disconnect(happening.code);
  if (now - line.up_since >= short_lived) return "the connection broke";
  // The library often misses the broker's last word (that somebody took the session over, MQTT 5).
  return "the connection broke soon after it was made (is the client id '" + settings.client_id +
         "' used by somebody else?)";
}

// The library says no more than "failed" of a connection that could not be made: look why.
std::string Broker::State::why_not_connected(const Happening& happening) const {
  if (happening.code > 0) {
    return words_for_connect_refusal(happening.code, happening.words, settings.user);
  }
  if (const auto why = why_unreachable({settings.host, settings.port, settings.tls, settings.ca_file})) {
    return words_for_connect_refusal(happening.code, *why, settings.user);
  }
  return words_for_connect_refusal(happening.code,
                                   "somebody listens there, but does not answer as a broker" +
                                       std::string(settings.tls ? "" : " (does it want TLS?)"),
                                   settings.user);
}

void Broker::State::ask_next(Line& line, SteadyTime now) {
  if (line.subscribed == line.filters.size()) {
    line.phase = Phase::up;
    line.cause.clear();
    return;
  }
  const std::size_t count = std::min(filters_at_once, line.filters.size() - line.subscribed);
  const auto first = line.filters.begin() + static_cast<std::ptrdiff_t>(line.subscribed);
  line.asked = count;
  line.until = now + subscribing_max;
  if (const Outcome begun = line.link->subscribe({first, first + static_cast<std::ptrdiff_t>(count)});
      !begun) {
    away(line, "the connection broke: " + begun.error().text, now);
  }
}

void Broker::State::take_answer(Line& line, const std::vector<int>& codes, SteadyTime now) {
  for (std::size_t i = 0; i < codes.size() && i < line.asked; ++i) {
    if (codes[i] >= 0x80) line.refused.push_back({line.filters[line.subscribed + i], codes[i]});
  }
  line.subscribed += line.asked;
  ask_next(line, now);
}

void Broker::State::away(Line& line, std::string cause, SteadyTime now) {
  if (line.phase == Phase::up) {
    line.backoff.stood(std::chrono::duration_cast<milliseconds>(now - line.up_since).count());
  }
  line.link->disconnect(0);  // where half of it still stands
  line.cause = std::move(cause);
  line.phase = Phase::waiting;
  line.until = now + milliseconds(line.backoff.next_ms());
}

void Broker::State::attempt(Line& line, SteadyTime now) {
  line.phase = Phase::connecting;
  line.until = now + connecting_max;
  if (const Outcome begun = line.link->connect(); !begun) {
    away(line, words_for_connect_refusal(-1, begun.error().text, settings.user), now);
  }
}

void Broker::State::pass_time(Line& line, SteadyTime now) {
  if (line.phase == Phase::up || now < line.until) return;
  switch (line.phase) {
    case Phase::waiting:
      return attempt(line, now);
    case Phase::connecting:
      return away(line, "no connection to the broker: no answer", now);
    case Phase::subscribing:
      return away(line, "the broker did not answer a subscription", now);
    case Phase::up:
      return;
  }
}

void Broker::State::tell() {
  bool all_up = true;
  std::string cause;
  std::vector<RefusedFilter> refused;
  for (const auto& line : lines) {
    if (!line) continue;
    if (line->phase != Phase::up) {
      all_up = false;
      if (cause.empty()) cause = line->cause;
    }
    refused.insert(refused.end(), line->refused.begin(), line->refused.end());
  }
  if (!all_up && cause.empty()) return;  // the first attempt is under way
  if (told_connected != all_up || told_cause != cause) {
    told_connected = all_up;
    told_cause = cause;
    wiring.connection(
        {.at = wiring.clock(),
         .connected = all_up,
         .detail = all_up ? "connected to " + settings.address : settings.address + ": " + cause});
  }
  if (!all_up) return;
  if (std::string words = words_for_refused(refused); words != told_refused) {
    told_refused = words;
    wiring.subscriptions(std::move(words));
  }
}

void Broker::State::close() {
  for (auto& line : lines) {
    if (!line) continue;
    line->link->disconnect(goodbye_ms);  // until then what comes is taken in: the broker counts it as ours
  }
  open->store(false, std::memory_order_release);
  for (auto& line : lines) {
    if (line) line->link.reset();
  }
  // Notified under the lock: whoever waits may free this as soon as it is let go.
  const std::lock_guard lock(mutex);
  finished = true;
  changed.notify_all();
}

Broker::Broker(BrokerSettings settings, std::string password, Subscriptions subscriptions,
               std::shared_ptr<ArrivalQueue> queue, BrokerWiring wiring)
    : state_(std::make_shared<State>()) {
  State& s = *state_;
  s.settings = std::move(settings);
  s.password = std::move(password);
  s.queue = std::move(queue);
  s.wiring = std::move(wiring);
  const auto line = [&](Session session, std::vector<std::string> filters) {
    const auto number = static_cast<std::size_t>(session);
    s.lines[number].emplace(Line{.link = nullptr,
                                 .filters = std::move(filters),
                                 .backoff = Backoff(s.wiring.seed + number),
                                 .until = {},
                                 .up_since = {},
                                 .refused = {},
                                 .cause = {}});
  };
  // With nothing to subscribe to the live session still tells whether the broker is there.
  if (!subscriptions.live.empty() || subscriptions.kept.empty()) {
    line(Session::live, std::move(subscriptions.live));
  }
  if (!subscriptions.kept.empty()) line(Session::kept, std::move(subscriptions.kept));
}

Broker::~Broker() {
  stop();
}

Outcome Broker::start() {
  State& s = *state_;
  CHECK(!s.started);
  // Plain pointer: the links end before the state, on the thread that owns a share of it.
  const auto note = [&s](Happening happening) {
    const std::lock_guard lock(s.mutex);
    s.happenings.push_back(std::move(happening));
    s.changed.notify_all();
  };
  for (std::size_t i = 0; i < s.lines.size(); ++i) {
    if (!s.lines[i]) continue;
    Result<std::unique_ptr<SessionLink>> link = SessionLink::create(
        static_cast<Session>(i), s.settings, s.password, s.queue, s.wiring.clock, note, s.open);
    if (!link) return link.error();
    s.lines[i]->link = std::move(link).value();
  }
  s.started = true;
  s.thread = std::thread([state = state_] { state->run(); });
  return Done{};
}

void Broker::stop() {
  State& s = *state_;
  if (!s.started || !s.thread.joinable()) return;
  std::unique_lock lock(s.mutex);
  s.stopping = true;
  s.changed.notify_all();
  const bool in_time = s.changed.wait_for(lock, stop_max, [&s] { return s.finished; });
  lock.unlock();
  if (in_time) {
    s.thread.join();
    return;
  }
  // The thread hangs in the library or in the look-up of a name. It keeps what it needs alive.
  s.open->store(false, std::memory_order_release);
  s.thread.detach();
}

}  // namespace baskwell::intake
