#include "demoroom/program/options.h"

#include <CLI/CLI.hpp>

#include "demoroom/time_text.h"

namespace baskwell::demoroom {

Parsed parse_options(int argc, const char* const* argv) {
  Options options;
  std::string start;
  std::string anchor;
  CLI::App app{
      "A simulated room of reptile and amphibian enclosures that publishes over MQTT; see "
      "tests/demoroom/README.md",
      "baskwell-demo-room"};
  const auto is_time = [](const std::string& text) {
    const auto parsed = parse_rfc3339_ms(text);
    return parsed ? std::string() : parsed.error().text;
  };
  app.add_option("--broker", options.broker, "MQTT broker, tcp://HOST:PORT")->capture_default_str();
  app.add_option("--pace", options.pace, "simulated seconds in a real second")
      ->check(CLI::Range(0.001, 100000.0))
      ->capture_default_str();
  app.add_option("--start", start, "simulated UTC time at the anchor, RFC 3339 (now)")->check(is_time);
  app.add_option("--anchor", anchor, "real UTC time at which the simulated time is --start, RFC 3339 (now)")
      ->check(is_time);
  app.add_option("--seed", options.seed, "same seed, same room")->capture_default_str();
  app.add_option("--interval", options.interval_s, "simulated seconds between an instrument's reports")
      ->check(CLI::Range(1.0, 3600.0))
      ->capture_default_str();
  app.add_option("--settle", options.settle_h, "hours simulated before the start, unpublished")
      ->check(CLI::Range(0.0, 10000.0))
      ->capture_default_str();
  app.add_option("--zone", options.zone, "time zone of the room's clocks (TZ, else Europe/London)");
  app.add_option("--offset-minutes", options.offset_minutes, "local time ahead of UTC, instead of a zone")
      ->check(CLI::Range(-1440, 1440));
  app.add_option("--fault", options.faults,
                 "\"TIME COMMAND\": a fault at a simulated time; may be said again")
      ->allow_extra_args(false);
  app.add_option("--once-csv", options.csv_file, "no broker: write the readings to this file and end");
  app.add_option("--days", options.days, "with --once-csv: how many")
      ->check(CLI::Range(0.001, 36500.0))
      ->capture_default_str();
  CLI::App* sending =
      app.add_subcommand("do", "send a fault command to the running room and print its answer");
  sending->add_option("command", options.command, "for example \"heater-off shelf-2\" or \"clear all\"")
      ->required();
  sending->fallthrough();
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return {std::nullopt, app.exit(error)};
  }
  options.send_command = sending->parsed();
  if (!start.empty()) options.start_ms = parse_rfc3339_ms(start).value();
  if (!anchor.empty()) options.anchor_ms = parse_rfc3339_ms(anchor).value();
  return {options, 0};
}

}  // namespace baskwell::demoroom
