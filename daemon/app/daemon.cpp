#include "app/daemon.h"

#include <spdlog/spdlog.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/json.hpp>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdlib>
#include <random>
#include <utility>

#include "app/control.h"
#include "app/people.h"
#include "app/recorder.h"
#include "app/requests.h"
#include "core/engine.h"
#include "core/moment.h"
#include "intake/intake.h"
#include "notify/delivery.h"
#include "store/store.h"

namespace baskwell {
namespace {

namespace asio = boost::asio;

constexpr std::size_t arrivals_at_once = 2000;  // then other work of the domain gets its turn
// While messages come in closer together than this they are taken in together: a switch of threads for each
// would cost more than the message. They keep the stamps of their arrival.
constexpr std::chrono::milliseconds gather_arrivals{5};
// Clock and intake are looked after once a second while messages come, on the way, and at this interval while
// none do: a thread that wakes only to look costs more than a quiet room's readings.
constexpr std::chrono::seconds look_interval{1};
constexpr std::chrono::seconds idle_look_interval{5};
constexpr std::int64_t clock_step_ms = 2000;  // a jump of the wall clock by more is a step, not a correction
constexpr std::int64_t stop_patience_ms = 3000;

// The wall clock cannot be before the day this was written: 2026-11-01T00:00:00Z.
constexpr UtcMs release_utc{1'793'491'200'000};

void log_findings(const std::vector<Finding>& findings) {
  for (const Finding& finding : findings) {
    if (finding.error) {
      spdlog::error("{}", text_of(finding));
    } else {
      spdlog::warn("{}", text_of(finding));
    }
  }
}

std::vector<store::SettingsFile> stored_files(const Settings& settings) {
  std::vector<store::SettingsFile> files;
  for (const FileText& file : settings.files) {
    const auto folder = file.path.parent_path().filename();
    files.push_back(
        {(folder.empty() ? file.path.filename() : folder / file.path.filename()).string(), file.text});
  }
  return files;
}

spdlog::level::level_enum level_of(LogLevel level) {
  switch (level) {
    case LogLevel::debug:
      return spdlog::level::debug;
    case LogLevel::info:
      return spdlog::level::info;
    case LogLevel::warning:
      return spdlog::level::warn;
    case LogLevel::error:
      return spdlog::level::err;
  }
  return spdlog::level::info;
}

}  // namespace

struct Daemon::Inner {
  explicit Inner(DaemonOptions the_options)
      : options(std::move(the_options)),
        clock(options.pace),
        due_timer(io),
        pump_timer(io),
        look_timer(io),
        signals(io, SIGINT, SIGTERM),
        reload_signal(io, SIGHUP) {}

  // Called by intake's sink.
  void take(const ReadingEvent& event) { engine->step_reading(event, effects); }
  void take(const Event& event) {
    if (const auto* broker = std::get_if<BrokerEvent>(&event)) {
      spdlog::info("broker: {}{}", broker->connected ? "connected" : "not connected",
                   broker->detail.empty() ? "" : ": " + broker->detail);
    }
    engine->step(event, effects);
  }

  Outcome open_store(Settings& settings);
  Outcome open_engine(const Settings& settings, std::string_view snapshot);
  Outcome open();
  Outcome open_intake(const Settings& settings, std::unique_ptr<intake::Intake>& opened);
  Result<std::shared_ptr<notify::Delivery>> new_delivery(const Settings& settings);
  void arrived();
  void pump();
  void step(const Event& event);
  void settle();
  void look_after(Stamp now);
  void look_again();
  void arm_due();
  void watch_clock(Stamp now, bool ask_kernel);
  void reload();
  void change_to(Settings fresh, std::shared_ptr<notify::Delivery> next_delivery,
                 std::unique_ptr<intake::Intake> next_intake);
  std::string answer(const std::string& request, const std::string& peer);
  std::string status() const;
  void stop();
  int run();

  DaemonOptions options;
  Clock clock;
  asio::io_context io{1};
  Settings settings;
  std::unique_ptr<store::Store> store;
  std::unique_ptr<Engine> engine;
  Effects effects;
  std::unique_ptr<Recorder> recorder;
  std::shared_ptr<notify::Delivery> delivery;
  std::unique_ptr<intake::Intake> intake;
  std::unique_ptr<ControlServer> control;
  asio::steady_timer due_timer;
  asio::steady_timer pump_timer;
  asio::steady_timer look_timer;
  asio::signal_set signals;
  asio::signal_set reload_signal;
  ElapsedMs armed_for{INT64_MAX};
  std::chrono::steady_clock::time_point last_pump{};
  std::chrono::steady_clock::time_point last_look{};
  bool gathering = false;
  std::int64_t clock_offset_ms = 0;
  UtcMs not_before = release_utc;
  bool clock_sure = true;
  bool clock_trusted = true;
  bool stopping = false;
  bool hanging = false;
};

Outcome Daemon::Inner::open_store(Settings& fresh) {
  store::StoreOptions store_options;
  store_options.boot_id = clock.boot_id();
  store_options.program_version = BASKWELL_VERSION;
  store_options.now = clock.now().utc;
  store_options.on_trouble = [this](bool working, const std::string& text) {
    asio::post(io, [this, working, text] {
      if (working) spdlog::info("store: works again");
      if (!working) spdlog::error("store: {}", text);
      StoreEvent event;
      event.at = clock.now();
      event.working = working;
      event.detail = text;
      step(event);
    });
  };
  auto opened = store::Store::open(fresh.store.path.string(), std::move(store_options));
  if (!opened) return opened.error();
  store = std::move(opened).value();
  return Done{};
}

Outcome Daemon::Inner::open_engine(const Settings& fresh, std::string_view snapshot) {
  const Stamp now = clock.now();
  auto next = std::make_unique<Engine>(std::make_shared<const Room>(fresh.room), now);
  if (!snapshot.empty()) {
    if (Outcome restored = next->restore(snapshot, now, clock.boot_id(), effects); !restored) return restored;
  }
  engine = std::move(next);
  recorder->set_room(std::make_shared<const Room>(fresh.room));
  return Done{};
}

Result<std::shared_ptr<notify::Delivery>> Daemon::Inner::new_delivery(const Settings& fresh) {
  return open_delivery(fresh, plugin_folders(fresh), clock, *store, [this](DeliveryEvent event) {
    asio::post(io, [this, event = std::move(event)]() mutable {
      event.at = clock.now();
      if (event.delivered) spdlog::info("told {} by {}: {}", event.person, event.channel, event.detail);
      if (!event.delivered)
        spdlog::warn("could not tell {} by {}: {}", event.person, event.channel, event.detail);
      step(event);
    });
  });
}

Outcome Daemon::Inner::open_intake(const Settings& fresh, std::unique_ptr<intake::Intake>& opened) {
  intake::Intake::Wiring wiring;
  wiring.clock = [this] { return clock.now(); };
  wiring.wake = [this] { asio::post(io, [this] { arrived(); }); };
  wiring.seed = std::random_device{}();
  wiring.plugin_folders = plugin_folders(fresh);
  auto made = intake::Intake::open(fresh, std::move(wiring));
  if (!made) return made.error();
  opened = std::move(made).value();
  return Done{};
}

Outcome Daemon::Inner::open() {
  LoadOutcome loaded = load_settings(options.settings_file, options.load);
  log_findings(loaded.findings);
  if (!loaded.settings)
    return Error{options.settings_file.string() + ": the settings have errors; nothing was started"};
  settings = std::move(*loaded.settings);
  spdlog::set_level(level_of(settings.log_level));
  if (Outcome opened = open_store(settings); !opened) return opened;
  auto version = store->put_settings(stored_files(settings), clock.now().utc);
  if (!version) return version.error();
  settings.room.version = version.value();

  recorder = std::make_unique<Recorder>(io, *store, settings.store.commit_interval_ms,
                                        [this] { return engine->snapshot(clock.now(), clock.boot_id()); });
  auto snapshot = store->last_snapshot();
  if (!snapshot) return snapshot.error();
  const std::string state = snapshot.value() ? snapshot.value()->text : std::string();
  if (Outcome opened = open_engine(settings, state); !opened) return opened;
  auto newest = store->last_stored_utc();
  if (!newest) return newest.error();
  // A little slack: what was stored last may carry a stamp from a clock that was then corrected backwards.
  if (newest.value() && options.pace.real()) not_before = std::max(not_before, *newest.value() - minute_ms);

  auto opened = new_delivery(settings);
  if (!opened) return opened.error();
  delivery = std::move(opened).value();
  recorder->set_delivery(delivery);
  if (Outcome made = open_intake(settings, intake); !made) return made;
  auto server = ControlServer::open(
      io, settings.socket,
      [this](const std::string& request, const std::string& peer) { return answer(request, peer); });
  if (!server) return server.error();
  control = std::move(server).value();
  return Done{};
}

int Daemon::Inner::run() {
  auto resume = resume_from(*store, *engine, clock.now());
  if (!resume) {
    spdlog::error("the outbox cannot be read: {}", resume.error().text);
    return 1;
  }
  delivery->start(std::move(resume).value());
  signals.async_wait([this](boost::system::error_code error, int) {
    if (!error) stop();
  });
  const auto wait_for_reload = [this](auto&& self) -> void {
    reload_signal.async_wait([this, self](boost::system::error_code error, int) {
      if (error) return;
      reload();
      self(self);
    });
  };
  wait_for_reload(wait_for_reload);
  const Stamp now = clock.now();
  clock_offset_ms = now.utc.ms - now.elapsed.ms;
  BrokerEvent not_yet;
  not_yet.at = now;
  not_yet.detail = "not connected yet";
  step(not_yet);
  if (Outcome started = intake->start(); !started) {
    spdlog::error("intake: {}", started.error().text);
    return 1;
  }
  look_again();
  spdlog::info("watching {} enclosures with {} channels, settings version {}",
               engine->room().enclosures.size(), engine->room().channels.size(), engine->room().version);
  io.run();
  if (hanging) {
    // A delivery call that hangs holds its thread; everything committed is safe, so leave without waiting for
    // it.
    spdlog::default_logger()->flush();
    control.reset();
    store.reset();
    _exit(0);
  }
  return 0;
}

// The first after a pause is taken in at once.
void Daemon::Inner::arrived() {
  if (gathering || stopping) return;
  if (std::chrono::steady_clock::now() - last_pump > gather_arrivals) return pump();
  gathering = true;
  pump_timer.expires_after(gather_arrivals);
  pump_timer.async_wait([this](boost::system::error_code error) {
    gathering = false;
    if (!error) pump();
  });
}

void Daemon::Inner::pump() {
  if (stopping) return;
  last_pump = std::chrono::steady_clock::now();
  const Stamp now = clock.now();
  look_after(now);
  if (intake->pump(arrivals_at_once, now, intake::sink_into(*this))) asio::post(io, [this] { pump(); });
  settle();
}

void Daemon::Inner::step(const Event& event) {
  if (stopping) return;
  engine->step(event, effects);
  settle();
}

void Daemon::Inner::settle() {
  for (const TransitionRecord& record : effects.transitions) {
    spdlog::info("alarm {} {} {}: {} -> {} ({}) by {}: {}",
                 record.occurrence.empty() ? "-" : record.occurrence, row_of(record.kind).name,
                 record.subject, name_of(record.from), name_of(record.to), name_of(record.priority),
                 record.who, record.why);
  }
  recorder->take(effects, clock.now().utc);
  arm_due();
}

void Daemon::Inner::arm_due() {
  const ElapsedMs due = engine->next_due();
  if (due == armed_for) return;
  armed_for = due;
  due_timer.expires_after(clock.real_until(due));
  due_timer.async_wait([this](boost::system::error_code error) {
    if (error || stopping) return;
    armed_for = ElapsedMs{INT64_MAX};
    step(TickEvent{clock.now()});
  });
}

void Daemon::Inner::look_after(Stamp now) {
  const bool due = last_pump - last_look >= look_interval;
  if (due) last_look = last_pump;
  watch_clock(now, due);
  if (due) intake->tick(now, intake::sink_into(*this));
}

void Daemon::Inner::look_again() {
  // A demonstration's clock runs faster, and so must this.
  look_timer.expires_after(clock.pace() > 1 ? look_interval : idle_look_interval);
  look_timer.async_wait([this](boost::system::error_code error) {
    if (error || stopping) return;
    pump();
    look_again();
  });
}

void Daemon::Inner::watch_clock(Stamp now, bool ask_kernel) {
  const std::int64_t offset_ms = now.utc.ms - now.elapsed.ms;
  const std::int64_t step_ms = offset_ms - clock_offset_ms;
  const bool stepped =
      std::abs(step_ms) > clock_step_ms * std::max<std::int64_t>(1, std::llround(clock.pace()));
  clock_offset_ms = stepped ? offset_ms : clock_offset_ms + step_ms / 2;  // follows a slew
  if (!stepped && !ask_kernel) return;
  ClockEvent event = clock.judge(not_before);
  if (!stepped && event.sure == clock_sure && event.trusted == clock_trusted) return;
  if (stepped) {
    event.step_ms = step_ms;
    spdlog::warn("the wall clock stepped by {} ms", step_ms);
    delivery->wake();
  }
  clock_sure = event.sure;
  clock_trusted = event.trusted;
  if (!event.detail.empty()) spdlog::warn("clock: {}", event.detail);
  engine->step(event, effects);
}

void Daemon::Inner::reload() {
  spdlog::info("reading {} again", options.settings_file.string());
  LoadOutcome loaded = load_settings(options.settings_file, options.load);
  log_findings(loaded.findings);
  if (!loaded.settings) {
    spdlog::error("the settings have errors; nothing was changed");
    return;
  }
  Settings& fresh = *loaded.settings;
  if (fresh.store.path != settings.store.path || fresh.socket != settings.socket) {
    spdlog::warn("store.path and socket change with a restart only; the old ones stay in use");
  }
  auto next_delivery = new_delivery(fresh);
  if (!next_delivery) {
    spdlog::error("{}; nothing was changed", next_delivery.error().text);
    return;
  }
  std::unique_ptr<intake::Intake> next_intake;
  if (Outcome made = open_intake(fresh, next_intake); !made) {
    spdlog::error("{}; nothing was changed", made.error().text);
    return;
  }
  auto version = store->put_settings(stored_files(fresh), clock.now().utc);
  if (!version) {
    spdlog::error("store: {}; nothing was changed", version.error().text);
    return;
  }
  fresh.room.version = version.value();
  change_to(std::move(fresh), std::move(next_delivery).value(), std::move(next_intake));
}

// Everything that could fail has been tried: from here on there is no way back and none is needed.
void Daemon::Inner::change_to(Settings fresh, std::shared_ptr<notify::Delivery> next_delivery,
                              std::unique_ptr<intake::Intake> next_intake) {
  intake->stop();
  while (intake->pump(arrivals_at_once, clock.now(), intake::sink_into(*this))) {
  }
  settle();
  const std::string state = engine->snapshot(clock.now(), clock.boot_id());
  recorder->flush(clock.now().utc);
  store->flush();  // so that every message has reached the old delivery
  notify::StopReport left = delivery->stop(stop_patience_ms);
  hanging = hanging || !left.hanging.empty();
  delivery = std::move(next_delivery);
  recorder->set_delivery(delivery);
  delivery->start(std::move(left.left));
  if (Outcome opened = open_engine(fresh, state); !opened) {
    // Our own snapshot, written a moment ago: if that cannot be read, start afresh rather than stop watching.
    spdlog::critical("the state could not be carried over: {}", opened.error().text);
    opened = open_engine(fresh, {});
  }
  settings = std::move(fresh);
  spdlog::set_level(level_of(settings.log_level));
  intake = std::move(next_intake);
  BrokerEvent not_yet;
  not_yet.at = clock.now();
  not_yet.detail = "not connected yet";
  step(not_yet);
  if (Outcome started = intake->start(); !started) spdlog::error("intake: {}", started.error().text);
  spdlog::info("settings version {} in force", settings.room.version);
}

std::string Daemon::Inner::status() const {
  namespace json = boost::json;
  const store::StoreStats stats = store->stats();
  const notify::DeliveryCounts counts = delivery->counts();
  return json::serialize(json::object{{"version", BASKWELL_VERSION},
                                      {"settings_version", engine->room().version},
                                      {"enclosures", engine->room().enclosures.size()},
                                      {"channels", engine->room().channels.size()},
                                      {"store", json::object{{"working", stats.working},
                                                             {"trouble", stats.trouble},
                                                             {"readings_stored", stats.readings_stored},
                                                             {"readings_dropped", stats.readings_dropped},
                                                             {"transactions", stats.transactions}}},
                                      {"delivery", json::object{{"attempts", counts.attempts},
                                                                {"delivered", counts.delivered},
                                                                {"failed", counts.failed},
                                                                {"waiting", counts.waiting},
                                                                {"dropped", counts.dropped}}},
                                      {"clock_sure", clock_sure}});
}

std::string Daemon::Inner::answer(const std::string& request, const std::string& peer) {
  const Stamp now = clock.now();
  // So that what is shown is of now, not of the last event.
  engine->step(TickEvent{now}, effects);
  RequestContext context{*engine, now,
                         [this](const RequestEvent& event) {
                           engine->step(event, effects);
                           std::string why_not = effects.answer;
                           effects.answer.clear();
                           return why_not;
                         },
                         [this] { return intake->report(); }, [this] { return status(); }};
  std::string text = answer_request(request, peer, context);
  settle();
  return text;
}

void Daemon::Inner::stop() {
  spdlog::info("stopping");
  intake->stop();
  while (intake->pump(arrivals_at_once, clock.now(), intake::sink_into(*this))) {
  }
  settle();
  recorder->flush(clock.now().utc);
  if (!store->flush()) spdlog::error("store: not everything could be written: {}", store->stats().trouble);
  stopping = true;
  const notify::StopReport report = delivery->stop(stop_patience_ms);
  hanging = hanging || !report.hanging.empty();
  control.reset();
  due_timer.cancel();
  pump_timer.cancel();
  look_timer.cancel();
  reload_signal.cancel();
  recorder.reset();
  io.stop();
}

Daemon::Daemon(std::unique_ptr<Inner> inner) : inner_(std::move(inner)) {}
Daemon::~Daemon() = default;

Result<std::unique_ptr<Daemon>> Daemon::open(DaemonOptions options) {
  auto inner = std::make_unique<Inner>(std::move(options));
  if (Outcome opened = inner->open(); !opened) return opened.error();
  return std::unique_ptr<Daemon>(new Daemon(std::move(inner)));
}

int Daemon::run() {
  return inner_->run();
}

}  // namespace baskwell
