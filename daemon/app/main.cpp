// The command line. Exit status: 0 done, 1 not done (said on standard error), 2 the command line itself is
// wrong.

#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <boost/json.hpp>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <iomanip>
#include <iostream>
#include <memory>
#include <string>
#include <system_error>
#include <thread>
#include <vector>

#include "app/check_command.h"
#include "app/clock.h"
#include "app/control.h"
#include "app/daemon.h"
#include "app/heat_command.h"
#include "app/notes.h"
#include "app/outage_command.h"
#include "app/plain_json.h"
#include "app/replay.h"
#include "core/moment.h"
#include "core/note.h"
#include "core/probe/quality.h"
#include "plugin_host/library.h"
#include "settings/near_name.h"
#include "settings/table_reader.h"

namespace baskwell {
namespace {

namespace json = boost::json;

struct Arguments {
  std::string settings = "/etc/baskwell/room.toml";
  std::string socket = "/run/baskwell/baskwell.sock";
  std::string readings;
  std::string alarms;
  double pace = 1.0;
  std::string anchor;
  std::string start;
  bool as_json = false;
  double follow_s = 0;
  std::string target;
  std::string who;
  std::string why;
  std::string duration;
  bool summary = false;
  std::vector<std::string> words;
  std::string type;
  int last = 0;
};

int fail(const std::string& why) {
  std::cerr << "baskwell: " << why << "\n";
  return 1;
}

LoadOptions load_options() {
  LoadOptions options;
  // Below this program's own prefix, wherever it was installed to; else where it was configured to be.
  options.installed_care = plugin_host::program_prefix() / BASKWELL_CARE_BELOW;
  std::error_code trouble;
  if (!std::filesystem::is_directory(options.installed_care, trouble))
    options.installed_care = BASKWELL_CARE_DIR;
  // Read once before any thread starts.
  const char* folder = std::getenv("CREDENTIALS_DIRECTORY");  // NOLINT(concurrency-mt-unsafe)
  if (folder != nullptr) options.credentials_folder = folder;
  return options;
}

int run(const Arguments& arguments) {
  // Standard output is for tables; the log goes to standard error, where systemd and a terminal both find it.
  auto logger = spdlog::stderr_color_mt("baskwell");
  logger->set_pattern("%Y-%m-%d %H:%M:%S.%e %^%l%$ %v");
  spdlog::set_default_logger(logger);
  spdlog::flush_on(spdlog::level::info);
  DaemonOptions options;
  options.settings_file = arguments.settings;
  options.load = load_options();
  options.pace.pace = arguments.pace;
  if (arguments.pace != 1.0 || !arguments.start.empty()) {
    options.pace.anchor = real_utc_now();
    options.pace.start = options.pace.anchor;
    for (const auto& [text, moment] :
         {std::pair{&arguments.anchor, &options.pace.anchor}, {&arguments.start, &options.pace.start}}) {
      if (text->empty()) continue;
      *moment = *utc_from_rfc3339(*text);  // looked at when the command line was read
    }
  }
  auto daemon = Daemon::open(std::move(options));
  if (!daemon) return fail(daemon.error().text);
  return daemon.value()->run();
}

int check(const Arguments& arguments) {
  return check_settings(arguments.settings, load_options(), real_utc_now(), std::cout);
}

int replay_file(const Arguments& arguments) {
  LoadOutcome loaded = load_settings(arguments.settings, load_options());
  for (const Finding& finding : loaded.findings) std::cerr << text_of(finding) << "\n";
  if (!loaded.settings) return fail("the settings have errors; nothing was replayed");
  auto report = replay(loaded.settings->room, arguments.readings, arguments.alarms);
  if (!report) return fail(report.error().text);
  const ReplayReport& done = report.value();
  for (const std::string& line : done.bad) std::cerr << line << "\n";
  std::cout << done.readings << " readings, " << done.transitions << " alarm transitions";
  for (std::size_t i = 1; i < done.by_quality.size(); ++i) {
    if (done.by_quality[i] > 0)
      std::cout << ", " << done.by_quality[i] << " " << name_of(static_cast<Quality>(i));
  }
  std::cout << "\n";
  if (arguments.summary) {
    std::cout << "channel,good,min,mean,max\n" << std::setprecision(10);
    for (const SeriesSummary& series : done.series) {
      std::cout << series.channel << "," << series.good << "," << series.min << ","
                << series.sum / static_cast<double>(series.good) << "," << series.max << "\n";
    }
  }
  if (done.bad_lines > 0)
    return fail(std::to_string(done.bad_lines) + " lines could not be read; the first are above");
  return 0;
}

// Sends a request; prints the answer's text, or its data with --json.
int ask(const Arguments& arguments, const json::object& request) {
  auto answer = ask_daemon(arguments.socket, json::serialize(request));
  if (!answer) return fail(answer.error().text);
  boost::system::error_code error;
  const json::value parsed = json::parse(answer.value(), error);
  if (error || !parsed.is_object()) return fail("the daemon's answer makes no sense");
  const json::object& object = parsed.get_object();
  if (const json::value* why = object.if_contains("error")) {
    return fail(why->is_string() ? std::string(why->get_string()) : "refused");
  }
  const json::value* data = object.if_contains("data");
  const json::value* text = object.if_contains("text");
  if (arguments.as_json && data != nullptr) {
    std::cout << plain_json(*data) << "\n";
  } else if (text != nullptr && text->is_string()) {
    std::cout << std::string(text->get_string());
    if (!text->get_string().ends_with("\n")) std::cout << "\n";
  }
  return std::cout.flush() ? 0 : 1;
}

int show(const Arguments& arguments, const std::string& what) {
  const json::object request{{"do", what}};
  if (arguments.follow_s <= 0) return ask(arguments, request);
  // Until Ctrl-C, or the daemon is gone: clear the screen, show, wait.
  while (true) {
    if (!arguments.as_json) std::cout << "\033[H\033[2J";
    if (const int status = ask(arguments, request); status != 0) return status;
    std::this_thread::sleep_for(std::chrono::duration<double>(arguments.follow_s));
  }
}

int change(const Arguments& arguments, const std::string& what) {
  json::object request{
      {"do", what}, {"target", arguments.target}, {"who", arguments.who}, {"why", arguments.why}};
  if (!arguments.duration.empty()) request["for_ms"] = *settings::duration_ms_from(arguments.duration);
  return ask(arguments, request);
}

// The words of the text may be given with or without quotes.
int note(const Arguments& arguments) {
  std::string text;
  for (const std::string& word : arguments.words) text += (text.empty() ? "" : " ") + word;
  if (text.empty() && arguments.type.empty()) {
    std::cerr << "baskwell: the text of the note is missing\n";
    return 2;
  }
  return ask(arguments, {{"do", "note"},
                         {"subject", arguments.target},
                         {"text", text},
                         {"type", arguments.type},
                         {"who", arguments.who}});
}

int notes(const Arguments& arguments) {
  json::object request{{"do", "notes"}, {"subject", arguments.target}};
  if (arguments.last > 0) request["last"] = arguments.last;
  return ask(arguments, request);
}

std::string why_no_note_type(const std::string& text) {
  return note_type_from(text) ? "" : "'" + text + "' is no type of note: " + note_type_list();
}

std::string why_no_moment(const std::string& text) {
  return utc_from_rfc3339(text) ? "" : "'" + text + "' is not a moment such as 2026-11-24T02:10:00Z";
}

std::string why_no_duration(const std::string& text) {
  if (settings::duration_ms_from(text)) return {};
  return "'" + text + "' is not a time such as \"30 min\", \"45 s\" or \"2 h\"";
}

void add_heat(CLI::App& app, HeatOptions& options, const Arguments& defaults, int& status) {
  CLI::App* command = app.add_subcommand(
      "heat", "what is believed of an enclosure's heating, and a picture of it (docs/heating.md)");
  options.socket = defaults.socket;
  command->add_option("enclosure", options.enclosure, "its id or name")->required();
  command->add_option("--socket", options.socket, "socket of the running daemon")->capture_default_str();
  command->add_flag("--json", options.as_json, "for programs");
  CLI::Option* svg = command->add_option("--svg", options.svg_file, "file to draw a picture to");
  command
      ->add_option_function<std::string>(
          "--at", [&options](const std::string& text) { options.at = utc_from_rfc3339(text); },
          "moment to draw (RFC 3339); default: its newest alarm, else now")
      ->check(why_no_moment)
      ->needs(svg);
  command->add_option("--hours", options.hours, "how long a time to draw")
      ->check(CLI::Range(0.5, 336.0))
      ->capture_default_str()
      ->needs(svg);
  command->callback([&options, &status] {
    auto text = heat_command(options);
    if (!text) {
      status = fail(text.error().text);
      return;
    }
    std::cout << text.value();
    status = std::cout.flush() ? 0 : 1;
  });
}

void add_outage(CLI::App& app, OutageOptions& options, int& status) {
  CLI::App* command = app.add_subcommand(
      "outage", "what was away from when to when, and the check afterwards (docs/outages.md)");
  command->add_option("id", options.id, "the check of this one, such as O12; else a list");
  command->add_option("--settings", options.settings_file, "settings file, which says where the store is")
      ->default_str("/etc/baskwell/room.toml");
  command->add_flag("--last", options.last, "the check of the newest");
  command->add_flag("--json", options.as_json, "for programs");
  command->callback([&options, &status] {
    options.load = load_options();
    options.now = real_utc_now();
    auto text = outage_command(options);
    if (!text) {
      status = fail(text.error().text);
      return;
    }
    std::cout << text.value();
    status = std::cout.flush() ? 0 : 1;
  });
}

// "" where a command has this name; else what to say, with the nearest there is.
std::string why_no_command(const CLI::App& app, const std::string& name) {
  std::vector<std::string> known;
  for (const CLI::App* command : app.get_subcommands({})) known.push_back(command->get_name());
  if (std::find(known.begin(), known.end(), name) != known.end()) return {};
  const std::string nearest = settings::nearest_name(name, known);
  return "there is no command '" + name + "'" + (nearest.empty() ? "" : ", nearest: " + nearest) +
         "; `baskwell --help` lists them";
}

int run_command_line(int argc, char** argv) {
  CLI::App app{
      "Baskwell watches a room of heated enclosures: it never switches anything.\n"
      "A second pair of eyes, not a safety device: every heater needs its own thermostat and an independent\n"
      "high cut-out."};
  app.set_version_flag("--version", std::string("baskwell ") + BASKWELL_VERSION);
  app.require_subcommand(1);
  Arguments arguments;
  int status = 0;

  const auto settings_option = [&](CLI::App* command) {
    command->add_option("--settings", arguments.settings, "settings file")->capture_default_str();
  };
  const auto socket_option = [&](CLI::App* command) {
    command->add_option("--socket", arguments.socket, "socket of the running daemon")->capture_default_str();
  };

  CLI::App* run_app = app.add_subcommand(
      "run", "watch the room until told to stop (SIGINT, SIGTERM; SIGHUP reads the settings again)");
  settings_option(run_app);
  run_app->add_option("--pace", arguments.pace, "clock seconds for each real second, for demonstrations")
      ->check(CLI::Range(0.01, 10000.0));
  run_app
      ->add_option("--start", arguments.start,
                   "what the clock shows at the anchor (RFC 3339), for demonstrations")
      ->check(why_no_moment);
  run_app->add_option("--anchor", arguments.anchor, "real moment of the anchor (RFC 3339); default: now")
      ->check(why_no_moment);
  run_app->callback([&] { status = run(arguments); });

  CLI::App* check_app =
      app.add_subcommand("check", "find every mistake in a settings file, and which alarms it cannot give");
  check_app->add_option("file", arguments.settings, "settings file")->required();
  check_app->callback([&] { status = check(arguments); });

  for (const auto& [name, words] :
       {std::pair{"room", "the room at a glance"},
        {"alarms", "every alarm that is not normal"},
        {"payloads", "what came from the broker, and the last payloads that could not be read"},
        {"status", "the daemon itself: store, delivery, clock"}}) {
    CLI::App* command = app.add_subcommand(name, words);
    socket_option(command);
    command->add_flag("--json", arguments.as_json, "for programs");
    command->add_option("--follow", arguments.follow_s, "show it again every so many seconds")
        ->check(CLI::Range(0.1, 3600.0));
    command->callback([&arguments, &status, what = std::string(name)] { status = show(arguments, what); });
  }

  const auto changing = [&](const char* name, const char* words, const char* target, bool why_needed) {
    CLI::App* command = app.add_subcommand(name, words);
    socket_option(command);
    command->add_option("target", arguments.target, target)->required();
    command->add_option("--by", arguments.who, "who you are; default: your user name");
    CLI::Option* why = command->add_option("--why", arguments.why, "the reason, kept in the record");
    if (why_needed) why->required();
    command->callback([&arguments, &status, what = std::string(name)] { status = change(arguments, what); });
    return command;
  };
  changing("acknowledge", "say that you are on it", "alarm (A12), the id of an enclosure, or `all`", false);
  changing("shelve", "silence an alarm for a time; ends by itself", "alarm (A12) or the id of an enclosure",
           true)
      ->add_option("--for", arguments.duration, "how long, such as \"30 min\"; a high alarm 60 min at most")
      ->required()
      ->check(why_no_duration);
  changing("unshelve", "end shelving now", "alarm (A12) or the id of an enclosure", false);
  changing("out-of-service", "take an enclosure, instrument or channel out of watching, for maintenance",
           "its id", true);
  changing("return-to-service", "watch it again", "its id", false);

  HeatOptions heat_options;
  add_heat(app, heat_options, arguments, status);
  OutageOptions outage_options;
  outage_options.settings_file = arguments.settings;
  add_outage(app, outage_options, status);

  CLI::App* note_app = app.add_subcommand(
      "note", "write down what you did or saw; kept for ever. A grace time may follow (docs/notes.md)");
  socket_option(note_app);
  note_app
      ->add_option(
          "subject", arguments.target,
          "id of an enclosure, rack, animal, heater, thermostat, cut-out, lamp, instrument or channel, or "
          "`room`")
      ->required();
  note_app->add_option("text", arguments.words, "what it was: \"lamp changed, 75 W\"");
  note_app->add_option("--type", arguments.type, note_type_list() + "; default: what the text begins with")
      ->check(why_no_note_type);
  note_app->add_option("--who,--by", arguments.who, "who you are; default: your user name");
  note_app->add_flag("--json", arguments.as_json, "for programs");
  note_app->callback([&] { status = note(arguments); });

  CLI::App* notes_app = app.add_subcommand("notes", "what was noted, oldest first");
  socket_option(notes_app);
  notes_app->add_option("subject", arguments.target, "only of this id");
  notes_app->add_option("--last", arguments.last, "the newest so many; default: 100")
      ->check(CLI::Range(1, 10000));
  notes_app->add_flag("--json", arguments.as_json, "for programs");
  notes_app->callback([&] { status = notes(arguments); });

  CLI::App* replay_app =
      app.add_subcommand("replay", "judge a file of readings by these settings, as fast as possible");
  settings_option(replay_app);
  replay_app->add_option("--readings", arguments.readings, "CSV: time,enclosure,zone,quantity,value")
      ->required();
  replay_app->add_option("--alarms", arguments.alarms, "CSV to write: every alarm transition")->required();
  replay_app->add_flag("--summary", arguments.summary,
                       "also print every channel's good readings: how many, min, mean, max");
  replay_app->callback([&] { status = replay_file(arguments); });

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const std::string why_not = argc > 1 && argv[1][0] != '-' ? why_no_command(app, argv[1]) : std::string();
    if (!why_not.empty()) {
      std::cerr << "baskwell: " << why_not << "\n";
      return 2;
    }
    return app.exit(error) == 0 ? 0 : 2;
  }
  return status;
}

}  // namespace
}  // namespace baskwell

int main(int argc, char** argv) {
  // A reader of our output that goes away is no reason to die in the middle of anything.
  std::signal(SIGPIPE, SIG_IGN);
  return baskwell::run_command_line(argc, argv);
}
