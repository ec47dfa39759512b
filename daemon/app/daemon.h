#pragma once
// The running daemon: settings, clock, store, engine, intake, delivery and control socket wired together. One
// thread runs the domain (an Asio context); the store's writer, the delivery threads and the broker client's
// threads join it by bounded queues and posted calls only. Errors at the start are returned in words; later
// ones are logged, recorded and, where a person can act, alarms.

#include <filesystem>
#include <memory>

#include "app/clock.h"
#include "core/result.h"
#include "settings/settings.h"

namespace baskwell {

struct DaemonOptions {
  std::filesystem::path settings_file;
  LoadOptions load;
  ClockPace pace;
};

class Daemon {
 public:
  // Loads and checks everything, opens the store, restores the last state; connects to nothing yet.
  [[nodiscard]] static Result<std::unique_ptr<Daemon>> open(DaemonOptions options);
  ~Daemon();
  Daemon(const Daemon&) = delete;
  Daemon& operator=(const Daemon&) = delete;

  // Until SIGINT or SIGTERM. SIGHUP reads the settings again. Returns the exit status.
  int run();

 private:
  struct Inner;
  explicit Daemon(std::unique_ptr<Inner> inner);
  std::unique_ptr<Inner> inner_;
};

}  // namespace baskwell
