#include "app/heat_command.h"

#include <algorithm>
#include <boost/json.hpp>
#include <cerrno>
#include <cmath>
#include <exception>
#include <fstream>
#include <limits>
#include <map>
#include <set>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "app/control.h"
#include "app/heat_answer.h"
#include "app/plain_json.h"
#include "core/moment.h"
#include "report/heat_plot.h"
#include "store/reader.h"

namespace baskwell {
namespace {

namespace json = boost::json;

// Two weeks of a probe that reports every second; what is more is left out, and said.
constexpr std::size_t most_readings = 1'300'000;
constexpr std::size_t most_transitions = 100'000;

// ---- what the daemon says

// Where the daemon's answer is not as this program writes it, Boost throws: another version runs.
constexpr std::string_view other_version =
    "the daemon's answer makes no sense to this program; is it of the same version?";

Result<json::object> ask(const std::string& socket, const json::object& request) {
  auto answer = ask_daemon(socket, json::serialize(request));
  if (!answer) return answer.error();
  boost::system::error_code error;
  json::value parsed = json::parse(answer.value(), error);
  if (error || !parsed.is_object()) return Error{std::string(other_version)};
  if (const json::value* why = parsed.get_object().if_contains("error"); why != nullptr && why->is_string())
    return Error{std::string(why->get_string())};
  return std::move(parsed.get_object());
}

std::string text_at(const json::object& object, std::string_view key) {
  return std::string(object.at(key).as_string());
}

UtcMs moment_at(const json::object& object, std::string_view key) {
  return {object.at(key).as_int64()};
}

double figure(const json::value& value, double where_null) {
  return value.is_null() ? where_null : value.to_number<double>();
}

// ---- the alarm record

struct Record {
  std::set<std::string> subjects;
  std::string prefix;  // "shelf-2/"

  [[nodiscard]] bool is_about(const TransitionRecord& row) const {
    // Damp and dry air are no matter of the heating.
    if (row.kind == AlarmKind::too_dry || row.kind == AlarmKind::too_damp) return false;
    return row.subject.starts_with(prefix) || subjects.contains(row.subject);
  }
};

bool is_raised(const TransitionRecord& row) {
  return row.input == AlarmInput::occurs && row.to == AlarmState::unacknowledged;
}

// When its newest alarm was raised within 30 days; nothing: none.
Result<std::optional<UtcMs>> newest_alarm(const store::StoreReader& reader, const Record& record, UtcMs now) {
  for (const int days : {1, 7, 30}) {
    auto rows = reader.transitions(now - days * day_ms, now + 1, most_transitions);
    if (!rows) return rows.error();
    const auto found =
        std::find_if(rows.value().rbegin(), rows.value().rend(), [&](const store::TransitionRow& row) {
          return is_raised(row.record) && record.is_about(row.record);
        });
    if (found != rows.value().rend()) return std::optional(found->record.at);
  }
  return std::optional<UtcMs>();
}

std::string mark_words(const TransitionRecord& row) {
  const std::string name = row.occurrence + " " + std::string(row_of(row.kind).name);
  if (is_raised(row)) {
    std::string words = name + " raised, " + std::string(name_of(row.priority));
    if (row.other) words += "; may also be " + std::string(row_of(*row.other).name);
    return words;
  }
  if (row.input == AlarmInput::returns) return name + " over";
  if (row.input == AlarmInput::acknowledge) return name + " acknowledged by " + row.who;
  if (row.input == AlarmInput::worsens || row.input == AlarmInput::realarm)
    return name + " worse, " + std::string(name_of(row.priority));
  return {};
}

Outcome add_marks(const store::StoreReader& reader, const Record& record, report::HeatPlot& plot) {
  auto rows = reader.transitions(plot.from, plot.to, most_transitions);
  if (!rows) return rows.error();
  for (const store::TransitionRow& row : rows.value()) {
    if (!record.is_about(row.record)) continue;
    std::string words = mark_words(row.record);
    if (!words.empty()) plot.marks.push_back({row.record.at, std::move(words)});
  }
  return Done{};
}

// ---- the picture

Span window_around(std::optional<UtcMs> event, double hours, UtcMs now) {
  const auto length_ms = static_cast<std::int64_t>(std::llround(hours * hour_ms));
  UtcMs to = now;
  if (event && *event + length_ms / 3 < now) to = *event + length_ms / 3;
  return {to - length_ms, to};
}

Outcome read_frame(const store::StoreReader& reader, const json::object& from, report::PlotFrame& frame) {
  std::map<std::uint16_t, double> offset_k;  // by calibration version
  for (const json::value& each : from.at("calibration_k").as_array())
    offset_k[each.as_array().at(0).to_number<std::uint16_t>()] = each.as_array().at(1).to_number<double>();
  const auto visit = [&](const store::ReadingRow& row) {
    if (row.reading.quality != Quality::good) {
      ++frame.left_out;
      return true;
    }
    const auto offset = offset_k.find(row.reading.calibration_version);
    frame.readings.push_back({row.reading.measured, judged_value(row.reading.value, row.reading.unit) +
                                                        (offset == offset_k.end() ? 0.0 : offset->second)});
    return frame.readings.size() < most_readings;
  };
  return reader.readings(frame.probe, moment_at(from, "from_ms"), moment_at(from, "to_ms"), visit);
}

void add_model(const json::object& from, report::PlotFrame& frame) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  constexpr double infinity = std::numeric_limits<double>::infinity();
  for (const json::value& each : from.at("expected").as_array()) {
    const json::array& row = each.as_array();
    frame.expected.push_back(
        {{row.at(0).as_int64()}, figure(row.at(1), nan), figure(row.at(2), nan), figure(row.at(3), nan)});
  }
  for (const json::value& each : from.at("limits").as_array()) {
    const json::array& row = each.as_array();
    frame.limits.push_back({{row.at(0).as_int64()},
                            {figure(row.at(1), -infinity), figure(row.at(2), infinity),
                             figure(row.at(3), -infinity), figure(row.at(4), infinity)}});
  }
}

std::vector<std::string> notes_of(const json::object& data, const report::HeatPlot& plot) {
  const std::string as_of = local_day_hour_minute(plot.clock, moment_at(data, "at_ms"));
  std::vector<std::string> notes;
  const json::value& heating = data.at("heating");
  if (heating.is_null()) {
    notes.emplace_back(
        "No course is expected: nothing in the settings heats it, or it has no temperature probe.");
  } else {
    notes.push_back("Expected course and usual range as learned by " + as_of +
                    ", at the room's usual temperature.");
    const json::value& until = heating.as_object().at("judged_from");
    if (const auto moment =
            until.is_string() ? utc_from_rfc3339(std::string(until.get_string())) : std::nullopt)
      notes.push_back("Heating not judged yet, until about " + local_day_hour_minute(plot.clock, *moment) +
                      ".");
  }
  notes.push_back("Target band and harm limits by the settings of " + as_of + ".");
  return notes;
}

Result<report::HeatPlot> plot_of(const store::StoreReader& reader, const Record& record,
                                 const json::object& data) {
  const json::object& picture = data.at("picture").as_object();
  report::HeatPlot plot;
  plot.title = text_at(data, "name") + ": temperature and heating";
  plot.room = text_at(data, "room");
  plot.from = moment_at(picture, "from_ms");
  plot.to = moment_at(picture, "to_ms");
  for (const json::value& each : picture.at("clock_offset_s").as_array()) {
    plot.clock.changes.push_back(
        {{each.as_array().at(0).as_int64()}, each.as_array().at(1).to_number<std::int32_t>()});
  }
  for (const json::value& each : picture.at("lights_off_ms").as_array())
    plot.lights_off.push_back({{each.as_array().at(0).as_int64()}, {each.as_array().at(1).as_int64()}});
  for (const json::value& each : picture.at("frames").as_array()) {
    const json::object& from = each.as_object();
    report::PlotFrame frame;
    frame.title = text_at(from, "title");
    frame.probe = text_at(from, "channel");
    if (Outcome read = read_frame(reader, from, frame); !read) return read.error();
    add_model(from, frame);
    if (frame.readings.size() >= most_readings)
      plot.notes.push_back(frame.probe + ": so many readings that not all are shown.");
    plot.frames.push_back(std::move(frame));
  }
  if (Outcome marked = add_marks(reader, record, plot); !marked) return marked.error();
  for (std::string& note : notes_of(data, plot)) plot.notes.push_back(std::move(note));
  return plot;
}

Outcome write_file(const std::string& file, const std::string& text) {
  errno = 0;
  std::ofstream out(file, std::ios::binary | std::ios::trunc);
  out << text;
  out.close();
  if (out) return Done{};
  const std::string why = errno != 0 ? std::generic_category().message(errno) : "it could not be written";
  return Error{file + ": " + why};
}

// Draws, and adds a line about it to the text. `data` becomes the answer that the picture was made from.
Outcome draw(const HeatOptions& options, std::string& text, json::object& data) {
  auto status = ask(options.socket, {{"do", "status"}});
  if (!status) return status.error();
  const std::string path = text_at(status.value().at("data").as_object().at("store").as_object(), "path");
  auto reader = store::StoreReader::open(path);
  if (!reader) return Error{"the picture is drawn from the store: " + reader.error().text};
  Record record;
  record.prefix = text_at(data, "enclosure") + "/";
  for (const json::value& subject : data.at("alarm_subjects").as_array())
    record.subjects.emplace(subject.as_string());
  const UtcMs now = moment_at(data, "at_ms");
  std::optional<UtcMs> event = options.at;
  if (!event) {
    auto newest = newest_alarm(reader.value(), record, now);
    if (!newest) return newest.error();
    event = newest.value();
  }
  const Span window = window_around(event, options.hours, now);
  auto answer = ask(options.socket, {{"do", "heat"},
                                     {"enclosure", options.enclosure},
                                     {"from_ms", window.from.ms},
                                     {"to_ms", window.to.ms}});
  if (!answer) return answer.error();
  data = answer.value().at("data").as_object();
  auto plot = plot_of(reader.value(), record, data);
  if (!plot) return plot.error();
  if (Outcome written = write_file(options.svg_file, report::heat_plot_svg(plot.value())); !written)
    return written;
  const ZoneRules& clock = plot.value().clock;
  text += "\nPicture of " + local_day_hour_minute(clock, window.from) + " to " +
          local_day_hour_minute(clock, window.to) + ": " + options.svg_file + "\n";
  return Done{};
}

}  // namespace

Result<std::string> heat_command(const HeatOptions& options) {
  try {
    auto answer = ask(options.socket, {{"do", "heat"}, {"enclosure", options.enclosure}});
    if (!answer) return answer.error();
    std::string text = text_at(answer.value(), "text");
    json::object data = answer.value().at("data").as_object();
    if (!options.svg_file.empty()) {
      if (Outcome drawn = draw(options, text, data); !drawn) return drawn.error();
    }
    return options.as_json ? plain_json(data) + "\n" : text;
  } catch (const std::exception& unlike) {
    return Error{std::string(other_version) + " (" + unlike.what() + ")"};
  }
}

}  // namespace baskwell
