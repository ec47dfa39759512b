// Opening everything, before anything runs.

#include <spdlog/spdlog.h>

#include <algorithm>
#include <boost/asio/post.hpp>
#include <random>

#include "app/daemon_inner.h"
#include "app/lost_state.h"
#include "app/people.h"

namespace baskwell {
namespace {

namespace asio = boost::asio;

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

void log_from(LogLevel level) {
  spdlog::set_level(level_of(level));
}

Outcome Daemon::Inner::open_store(Settings& fresh) {
  store::StoreOptions store_options;
  store_options.boot_id = clock.boot_id();
  store_options.program_version = BASKWELL_VERSION;
  store_options.now = clock.now().utc;
  store_options.on_trouble = [this](bool working, const std::string& text) {
    asio::post(io, [this, working, text] {
      if (working) spdlog::info("store: works again");
      if (!working) spdlog::error("store: {}", text);
      if (!working) lost_state.clear();  // that it does not work now is more to the point
      tell_of_store(working, text);
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

// A state that cannot be read must not keep the room unwatched.
Outcome Daemon::Inner::take_up_state() {
  auto snapshot = store->last_snapshot();
  if (!snapshot) return snapshot.error();
  if (!snapshot.value()) return open_engine(settings, {});
  Outcome opened = open_engine(settings, snapshot.value()->text);
  if (opened) return opened;
  if (Outcome empty = open_engine(settings, {}); !empty) return empty;
  auto told = begin_anew(*store, *snapshot.value(), opened.error().text, clock.now().utc, *engine, effects);
  if (!told) return told.error();
  lost_state = std::move(told).value();
  return Done{};
}

// Without it the room is watched as well; only the heating is judged some days later.
void Daemon::Inner::take_up_learned() {
  auto learned = store->last_learned();
  if (!learned) {
    spdlog::error("what was learned of the heating cannot be read from the store: {}", learned.error().text);
    return;
  }
  if (!learned.value()) return;
  const Outcome known = engine->take_learned(learned.value()->text);
  if (known) return;
  keep_unreadable_learned(*store, *learned.value(), known.error().text, clock.now().utc);
  lost_learned = true;
}

// A fresh engine knows only what the last one had heard, and each of these is told but once, when it changes.
// Intake says by itself that earlier trouble is over.
void Daemon::Inner::tell_how_things_stand() {
  BrokerEvent broker;
  broker.at = clock.now();
  broker.detail = "not connected yet";
  step(broker);
  ClockEvent judged = clock.judge(not_before);
  clock_sure = judged.sure;
  clock_trusted = judged.trusted;
  if (!judged.detail.empty()) spdlog::warn("clock: {}", judged.detail);
  step(judged);
  const store::StoreStats stats = store->stats();
  tell_of_store(stats.working, stats.trouble);
}

// A lost state is told of as long as the store has no trouble of its own, until the alarm is raised; what
// has happened once is then over.
void Daemon::Inner::tell_of_store(bool working, const std::string& trouble) {
  StoreEvent event;
  event.at = clock.now();
  event.working = working && lost_state.empty();
  event.detail = working ? lost_state : trouble;
  step(event);
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
  wiring.wake = [this] { bell.strike(); };
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
  log_from(settings.log_level);
  if (Outcome opened = open_store(settings); !opened) return opened;
  auto version = store->put_settings(stored_files(settings), clock.now().utc);
  if (!version) return version.error();
  settings.room.version = version.value();

  recorder = std::make_unique<Recorder>(io, clock, *store, settings.store.commit_interval_ms,
                                        Recorder::Texts{
                                            [this] { return engine->snapshot(clock.now(), clock.boot_id()); },
                                            [this] { return engine->learned(); },
                                        });
  if (Outcome resumed = take_up_state(); !resumed) return resumed;
  take_up_learned();
  auto newest = store->last_stored_utc();
  if (!newest) return newest.error();
  if (newest.value()) engine->service_was_alive_until(*newest.value());
  // A little slack: what was stored last may carry a stamp from a clock that was then corrected backwards.
  if (newest.value() && options.pace.real()) not_before = std::max(not_before, *newest.value() - minute_ms);

  auto opened = new_delivery(settings);
  if (!opened) return opened.error();
  delivery = std::move(opened).value();
  recorder->set_delivery(delivery);
  if (Outcome made = open_intake(settings, intake); !made) return made;
  auto server = ControlServer::open(io, settings.socket,
                                    [this](const std::string& request, const std::string& peer,
                                           const ControlReply& reply) { answer(request, peer, reply); });
  if (!server) return server.error();
  control = std::move(server).value();
  return Done{};
}

}  // namespace baskwell
