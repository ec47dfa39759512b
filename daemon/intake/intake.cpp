#include "intake/intake.h"

#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "intake/broker.h"

namespace baskwell::intake {
namespace {

// What the broker says between arrivals. It says little: a change of its connection or of what it refuses.
struct Refused {
  std::string words;
};
using Notice = std::variant<BrokerEvent, Refused>;
constexpr std::size_t notices_max = 256;

// The wake-up call, shared with whoever may still hold it when Intake is gone.
struct Bell {
  std::mutex mutex;
  std::function<void()> ring;  // empty: nobody listens any more

  void operator()() {
    const std::lock_guard lock(mutex);
    if (ring) ring();
  }
};

struct Notices {
  std::mutex mutex;
  std::vector<Notice> all;

  // True: it was empty before.
  bool add(Notice notice) {
    const std::lock_guard lock(mutex);
    // The oldest gives way: how things stand now is what counts.
    if (all.size() == notices_max) all.erase(all.begin());
    all.push_back(std::move(notice));
    return all.size() == 1;
  }
  std::vector<Notice> take() {
    const std::lock_guard lock(mutex);
    return std::exchange(all, {});
  }
};

}  // namespace

struct Intake::State {
  State(std::shared_ptr<Bell> a_bell, std::shared_ptr<Notices> some_notices,
        std::shared_ptr<ArrivalQueue> a_queue, Decoding a_decoding)
      : bell(std::move(a_bell)),
        notices(std::move(some_notices)),
        queue(std::move(a_queue)),
        decoding(std::move(a_decoding)) {}

  std::shared_ptr<Bell> bell;
  std::shared_ptr<Notices> notices;
  std::shared_ptr<ArrivalQueue> queue;
  Decoding decoding;
  std::optional<Broker> broker;

  void tell_notices(Stamp now, const EventSink& sink) {
    for (Notice& notice : notices->take()) {
      if (auto* refused = std::get_if<Refused>(&notice)) {
        decoding.refused(refused->words, now, sink);
      } else {
        sink.event(sink.context, std::get<BrokerEvent>(std::move(notice)));
      }
    }
  }
};

Result<std::unique_ptr<Intake>> Intake::open(const Settings& settings, Wiring wiring) {
  Result<Decoding> decoding = Decoding::open(settings, wiring.plugin_folders);
  if (!decoding) return decoding.error();
  std::string password;
  if (settings.broker.password.given()) {
    Result<std::string> read = settings.broker.password.read();
    if (!read) return read.error();
    password = std::move(read).value();
  }
  auto bell = std::make_shared<Bell>();
  bell->ring = std::move(wiring.wake);
  auto notices = std::make_shared<Notices>();
  auto queue = std::make_shared<ArrivalQueue>(wiring.bounds, [bell] { (*bell)(); });
  const auto note = [bell, notices](Notice notice) {
    if (notices->add(std::move(notice))) (*bell)();
  };
  auto state =
      std::make_unique<State>(std::move(bell), std::move(notices), queue, std::move(decoding).value());
  state->broker.emplace(
      settings.broker, std::move(password), subscriptions_of(settings.probes, settings.presences),
      std::move(queue),
      BrokerWiring{.clock = std::move(wiring.clock),
                   .connection = [note](BrokerEvent event) { note(std::move(event)); },
                   .subscriptions = [note](std::string words) { note(Refused{std::move(words)}); },
                   .seed = wiring.seed});
  return std::unique_ptr<Intake>(new Intake(std::move(state)));
}

Intake::Intake(std::unique_ptr<State> state) : state_(std::move(state)) {}
Intake::~Intake() {
  stop();
}

Outcome Intake::start() {
  return state_->broker->start();
}

void Intake::stop() {
  state_->broker->stop();
  const std::lock_guard lock(state_->bell->mutex);
  state_->bell->ring = nullptr;
}

bool Intake::pump(std::size_t at_most, Stamp now, const EventSink& sink) {
  State& s = *state_;
  s.tell_notices(now, sink);
  const bool more = s.queue->drain(at_most, [&](const Arrival& arrival) { s.decoding.take(arrival, sink); });
  s.decoding.dropped(s.queue->counts(Session::live), s.queue->counts(Session::kept), now, sink);
  return more;
}

void Intake::tick(Stamp now, const EventSink& sink) {
  State& s = *state_;
  s.decoding.dropped(s.queue->counts(Session::live), s.queue->counts(Session::kept), now, sink);
  s.decoding.tick(now, sink);
}

PayloadReport Intake::report() const {
  return state_->decoding.report();
}

}  // namespace baskwell::intake
