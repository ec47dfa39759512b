#pragma once
// The inside of Daemon, for daemon.cpp (running), start.cpp (opening everything) and reload.cpp (other
// settings) only. All of it belongs to the domain thread but what it hands to others: the store's, the
// delivery's and intake's callbacks post what they have to say to `io`.

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <csignal>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "app/arrival_bell.h"
#include "app/control.h"
#include "app/daemon.h"
#include "app/recorder.h"
#include "core/effects.h"
#include "core/engine.h"
#include "core/event.h"
#include "intake/intake.h"
#include "notify/delivery.h"
#include "store/store.h"

namespace baskwell {

// At most so many arrivals are judged at once; then other work of the domain gets its turn.
inline constexpr std::size_t arrivals_at_once = 2000;
// So long a delivery call that has begun may go on when its delivery ends.
inline constexpr std::int64_t stop_patience_ms = 3000;
// The wall clock cannot be before the day this was written: 2026-11-01T00:00:00Z.
inline constexpr UtcMs release_utc{1'793'491'200'000};

void log_findings(const std::vector<Finding>& findings);
void log_from(LogLevel level);
// The texts that the store keeps of these settings.
[[nodiscard]] std::vector<store::SettingsFile> stored_files(const Settings& settings);

struct Daemon::Inner {
  explicit Inner(DaemonOptions the_options)
      : options(std::move(the_options)),
        clock(options.pace),
        bell(io, [this] { pump(); }),
        due_timer(io),
        look_timer(io),
        signals(io, SIGINT, SIGTERM),
        reload_signal(io, SIGHUP) {}

  // Called by intake's sink.
  void take(const ReadingEvent& event) {
    ++taken;
    engine->step_reading(event, effects);
  }
  void take(const Event& event);

  Outcome open_store(Settings& settings);
  Outcome open_engine(const Settings& settings, std::string_view snapshot);
  Outcome take_up_state();
  void take_up_learned();
  Outcome open();
  Outcome open_intake(const Settings& settings, std::unique_ptr<intake::Intake>& opened);
  Result<std::shared_ptr<notify::Delivery>> new_delivery(const Settings& settings);
  void tell_how_things_stand();
  void tell_of_store(bool working, const std::string& trouble);
  void drain();
  void pump();
  void step(const Event& event);
  void settle(Recorder::Durable durable = {});
  void look_after(Stamp now);
  [[nodiscard]] std::int64_t quiet_patience_ms() const;
  void look_again();
  void arm_due();
  void watch_clock(Stamp now, bool ask_kernel);
  void reload();
  void change_to(Settings fresh, std::shared_ptr<notify::Delivery> next_delivery,
                 std::unique_ptr<intake::Intake> next_intake);
  void answer(const std::string& request, const std::string& peer, const ControlReply& reply);
  [[nodiscard]] Recorder::Durable answer_when_durable(std::string text, ControlReply reply);
  std::string status() const;
  void stop();
  int run();

  DaemonOptions options;
  Clock clock;
  boost::asio::io_context io{1};
  Settings settings;
  std::unique_ptr<store::Store> store;
  std::unique_ptr<Engine> engine;
  Effects effects;
  std::unique_ptr<Recorder> recorder;
  std::shared_ptr<notify::Delivery> delivery;
  ArrivalBell bell;  // outlives intake, which strikes it
  std::unique_ptr<intake::Intake> intake;
  std::unique_ptr<ControlServer> control;
  boost::asio::steady_timer due_timer;
  boost::asio::steady_timer look_timer;
  boost::asio::signal_set signals;
  boost::asio::signal_set reload_signal;
  ElapsedMs armed_for{INT64_MAX};
  std::chrono::steady_clock::time_point last_pump{};
  std::chrono::steady_clock::time_point last_look{};
  std::int64_t taken = 0;  // readings since last_look
  std::int64_t clock_offset_ms = 0;
  UtcMs not_before = release_utc;
  bool clock_sure = true;
  bool clock_trusted = true;
  std::string lost_state;  // what of it is still to be told
  bool lost_learned = false;
  bool stopping = false;
  bool hanging = false;
};

}  // namespace baskwell
