#pragma once
// One daemon under test: a folder of its own with settings, store and socket; the program `baskwell` started
// as a keeper starts it; and its command line. Everything is bounded; the daemon ends with the object.
// Mistakes of the test itself (a program that cannot be started, JSON that is none) throw std::runtime_error.
// Main thread only, because processes are started here (peers.h).

#include <sys/types.h>

#include <boost/json.hpp>
#include <chrono>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "peers/peers.h"

namespace baskwell::daemon_test {

// The longest that anything may take. Only a failing test waits so long.
constexpr std::chrono::seconds patience{60};

// Programs built with sanitizers are many times slower; figures of time are held to a multiple of this.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr int slowness = 4;
#else
constexpr int slowness = 1;
#endif

// Ended, with all that it printed.
struct Ended {
  int status = 0;
  std::string output;
};
[[nodiscard]] Ended run(const std::vector<std::string>& argv);

class Daemon {
 public:
  // `settings` is room.toml; where it has no [store], that and [service] are added. Nothing is started yet.
  explicit Daemon(const std::string& settings);

  void write_settings(const std::string& settings);
  // Starts it and waits until it watches. `more`: further options of `baskwell run`.
  void start(const std::vector<std::string>& more = {});
  [[nodiscard]] peers::Process& process() { return *process_; }
  void kill_at_once();
  int stop();

  // `baskwell COMMAND... --socket ...`, ended.
  [[nodiscard]] Ended command(std::vector<std::string> arguments) const;
  // The same with --json, read.
  [[nodiscard]] boost::json::value ask(const std::string& what) const;
  [[nodiscard]] boost::json::array alarms() const { return ask("alarms").as_array(); }
  // The spot of `room` that this channel is shown at, such as "north-hot/temperature".
  [[nodiscard]] boost::json::object spot(const std::string& channel) const;
  // Rows of the store by Debian's sqlite3, columns between "|". The daemon may run.
  [[nodiscard]] std::vector<std::string> rows(const std::string& sql) const;

  [[nodiscard]] const peers::TempFolder& folder() const { return folder_; }
  [[nodiscard]] std::string store_file() const { return folder_.file("store/room.db"); }
  [[nodiscard]] std::string socket() const { return folder_.file("baskwell.sock"); }
  // All that every daemon of this folder logged so far.
  [[nodiscard]] std::string log() const;

 private:
  peers::TempFolder folder_;
  std::optional<peers::Process> process_;
  std::string earlier_log_;
};

// What stays the same over a restart: "A3 too-cold north/hot/air/temperature acknowledged", one an alarm.
[[nodiscard]] std::set<std::string> short_lines(const boost::json::array& alarms);
// Those of one kind.
[[nodiscard]] boost::json::array of_kind(const boost::json::array& alarms, std::string_view kind);
[[nodiscard]] std::string text(const boost::json::value& object, std::string_view key);

// ---- Pieces of settings

// A room of one vivarium "north" ("North vivarium", a royal python called Juniper, a mat at socket "left")
// with the probes room/north/hot and room/north/cool (plain, degC, air). Hot is to be 30 to 33, harm below 15
// or above 45; the cool end 22 to 27, harm below 10 or above 35; by day and night the same, so that the hour
// of the test does not matter.
[[nodiscard]] std::string room_of_one(const std::string& broker_table);
// [broker] for a plain broker on this port.
[[nodiscard]] std::string broker_at(std::uint16_t port);
// [alarms.KIND]: `high` at both levels, raised and over after `delay`, repeated after `repeat`.
[[nodiscard]] std::string quick_alarm(const std::string& kind, const std::string& delay = "1 s",
                                      const std::string& repeat = "0 s");

}  // namespace baskwell::daemon_test
