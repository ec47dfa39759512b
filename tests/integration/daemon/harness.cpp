#include "harness.h"

#include <filesystem>
#include <sstream>
#include <stdexcept>
#include <utility>

namespace baskwell::daemon_test {

namespace json = boost::json;

namespace {

peers::Process started(const peers::Start& start) {
  auto process = peers::Process::start(start);
  if (!process) throw std::runtime_error(process.error().text);
  return std::move(process).value();
}

peers::Start command_line(std::vector<std::string> argv) {
  peers::Start start;
  start.argv = std::move(argv);
  return start;
}

}  // namespace

Ended run(const std::vector<std::string>& argv) {
  peers::Process process = started(command_line(argv));
  const auto status = process.wait_for_end(patience);
  if (!status) throw std::runtime_error(argv[0] + ": " + status.error().text);
  process.stop();  // reads the rest of its output
  return {status.value(), process.output()};
}

Daemon::Daemon(const std::string& settings) {
  std::filesystem::create_directory(folder_.path() / "store");
  write_settings(settings);
}

void Daemon::write_settings(const std::string& settings) {
  std::string all = settings;
  if (all.find("[store]") == std::string::npos)
    all += "\n[store]\npath = \"store/room.db\"\n[service]\nsocket = \"baskwell.sock\"\n";
  static_cast<void>(folder_.write("room.toml", all));
}

void Daemon::start(const std::vector<std::string>& more) {
  peers::Start start = command_line({BASKWELL_PROGRAM, "run", "--settings", folder_.file("room.toml")});
  start.argv.insert(start.argv.end(), more.begin(), more.end());
  start.ready = "watching ";
  start.ready_within = patience;
  if (process_) earlier_log_ += process_->output();
  process_.emplace(started(start));
}

void Daemon::kill_at_once() {
  process_->kill();
}

int Daemon::stop() {
  return process_->stop(patience);
}

Ended Daemon::command(std::vector<std::string> arguments) const {
  arguments.insert(arguments.begin(), BASKWELL_PROGRAM);
  arguments.insert(arguments.end(), {"--socket", socket()});
  return run(arguments);
}

json::value Daemon::ask(const std::string& what) const {
  const Ended ended = command({what, "--json"});
  if (ended.status != 0) throw std::runtime_error("baskwell " + what + ": " + ended.output + log());
  return json::parse(ended.output);
}

json::object Daemon::spot(const std::string& channel) const {
  const json::value room = ask("room");
  for (const json::value& spot : room.at("spots").as_array()) {
    if (text(spot, "channel") == channel) return spot.as_object();
  }
  throw std::runtime_error("no spot of " + channel + " in " + json::serialize(room));
}

std::vector<std::string> Daemon::rows(const std::string& sql) const {
  const Ended ended = run({"sqlite3", "-readonly", "-cmd", ".timeout 10000", "file:" + store_file(), sql});
  if (ended.status != 0) throw std::runtime_error("sqlite3: " + ended.output);
  std::vector<std::string> lines;
  std::istringstream all(ended.output);
  for (std::string line; std::getline(all, line);) lines.push_back(line);
  return lines;
}

std::string Daemon::log() const {
  return earlier_log_ + (process_ ? process_->output() : "");
}

std::string text(const json::value& object, std::string_view key) {
  const json::value* value = object.as_object().if_contains(key);
  if (value == nullptr || !value->is_string()) return {};
  return {value->get_string().begin(), value->get_string().end()};
}

std::set<std::string> short_lines(const json::array& alarms) {
  std::set<std::string> lines;
  for (const json::value& alarm : alarms) {
    lines.insert(text(alarm, "alarm") + " " + text(alarm, "kind") + " " + text(alarm, "subject") + " " +
                 text(alarm, "state"));
  }
  return lines;
}

json::array of_kind(const json::array& alarms, std::string_view kind) {
  json::array found;
  for (const json::value& alarm : alarms) {
    if (text(alarm, "kind") == kind) found.push_back(alarm);
  }
  return found;
}

std::string room_of_one(const std::string& broker_table) {
  return "care.folders = [\"" BASKWELL_CARE_SHEETS "\"]\n" + broker_table + R"(
[room]
name = "Fern room"
time_zone = "Europe/Brussels"
lights = "none"
[enclosures.north]
name = "North vivarium"
bands.hot.temperature = { day = [30, 33], night = [30, 33], harm = [15, 45] }
bands.cool.temperature = { day = [22, 27], night = [22, 27], harm = [10, 35] }
probes = [
  { id = "north-hot", topic = "room/north/hot", unit = "degC", zone = "hot" },
  { id = "north-cool", topic = "room/north/cool", unit = "degC", zone = "cool" },
]
[animals.juniper]
name = "Juniper"
species = "royal-python"
enclosure = "north"
[heaters.mat]
kind = "mat"
enclosure = "north"
socket = "left"
unregulated_because = "a test"
)";
}

std::string broker_at(std::uint16_t port) {
  return "[broker]\naddress = \"mqtt://127.0.0.1:" + std::to_string(port) +
         "\"\nclient_id = \"baskwell-under-test\"\n";
}

std::string quick_alarm(const std::string& kind, const std::string& delay, const std::string& repeat) {
  std::string table = "[alarms." + kind + "]\npriority = \"high\"\nharm_priority = \"high\"\n";
  for (const char* key : {"on_delay", "harm_on_delay", "off_delay"})
    table.append(key).append(" = \"").append(delay).append("\"\n");
  for (const char* key : {"repeat", "harm_repeat"})
    table.append(key).append(" = \"").append(repeat).append("\"\n");
  return table;
}

}  // namespace baskwell::daemon_test
