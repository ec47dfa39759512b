// Other settings for a daemon that runs (SIGHUP).

#include <spdlog/spdlog.h>

#include "app/daemon_inner.h"
#include "app/people.h"

namespace baskwell {

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
  const std::string learned = engine->learned();
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
  if (Outcome known = engine->take_learned(learned); !known)
    spdlog::critical("what was learned could not be carried over: {}", known.error().text);
  settings = std::move(fresh);
  log_from(settings.log_level);
  intake = std::move(next_intake);
  tell_how_things_stand();
  if (Outcome started = intake->start(); !started) spdlog::error("intake: {}", started.error().text);
  spdlog::info("settings version {} in force", settings.room.version);
}

}  // namespace baskwell
