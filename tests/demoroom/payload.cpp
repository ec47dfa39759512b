#include "demoroom/payload.h"

#include <algorithm>
#include <string_view>

#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

std::size_t at(int index) {
  return static_cast<std::size_t>(index);
}

std::string plain_topic(const InstrumentSpec& instrument, const ProbeSpec& probe) {
  return instrument.topic + "/" + probe.label;
}

// `inst-7/warm-surface` for the pointer /warm/surface: a channel's id as the settings of the demo name it.
std::string channel_id(const InstrumentSpec& instrument, const ProbeSpec& probe) {
  std::string within = probe.channel;
  if (within.empty()) {
    within = probe.label.starts_with('/') ? probe.label.substr(1) : probe.label;
    std::replace_if(
        within.begin(), within.end(), [](char c) { return c == '/' || c == '_'; }, '-');
  }
  return instrument.id + "/" + within;
}

// A field by its pointer, "/hot" or "/warm/surface": one level of nesting at most, names free of '"' and
// '\\'.
void put_field(std::string& json, std::string_view pointer, const std::string& value) {
  const std::string_view path = pointer.substr(1);
  const std::size_t slash = path.find('/');
  json += ",\"";
  json += path.substr(0, slash);
  json += "\":";
  if (slash == std::string_view::npos) {
    json += value;
    return;
  }
  json += "{\"";
  json += path.substr(slash + 1);
  json += "\":" + value + "}";
}

std::vector<Message> json_message(const RoomSpec& spec, const InstrumentSpec& instrument,
                                  const Report& report) {
  std::string json = "{\"time\":\"" + rfc3339_ms(report.utc_ms) + "\"";
  bool any = false;
  for (const Report::Value& one : report.values) {
    if (one.read.kind == ValueKind::missing) continue;
    any = true;
    const ProbeSpec& probe = spec.probes[at(one.probe)];
    put_field(json, probe.label, one.read.kind == ValueKind::number ? value_text(probe, one.read) : "null");
  }
  if (!any) return {};
  json += ",\"battery_v\":" + decimal(report.battery_v, 2) + "}";
  return {{instrument.topic, std::move(json)}};
}

}  // namespace

std::string value_text(const ProbeSpec& probe, const ProbeValue& value) {
  if (value.kind != ValueKind::number) return "nan";
  return decimal(value.value, probe.step.decimals);
}

std::vector<Message> messages_of(const RoomSpec& spec, const Report& report) {
  const InstrumentSpec& instrument = spec.instruments[at(report.instrument)];
  if (report.lost) return {};
  if (instrument.json) return json_message(spec, instrument, report);
  std::vector<Message> messages;
  for (const Report::Value& one : report.values) {
    if (one.read.kind == ValueKind::missing) continue;
    const ProbeSpec& probe = spec.probes[at(one.probe)];
    messages.push_back({plain_topic(instrument, probe), value_text(probe, one.read)});
  }
  constexpr std::int64_t kBatteryEvery = 10;
  if (!instrument.battery_topic.empty() && report.count % kBatteryEvery == 0 && !messages.empty()) {
    messages.push_back({instrument.battery_topic, decimal(report.battery_v, 2)});
  }
  return messages;
}

std::string csv_lines_of(const RoomSpec& spec, const Report& report) {
  if (report.lost) return {};
  const InstrumentSpec& instrument = spec.instruments[at(report.instrument)];
  const std::string time = rfc3339_ms(report.utc_ms);
  std::string lines;
  for (const Report::Value& one : report.values) {
    if (one.read.kind == ValueKind::missing) continue;
    const ProbeSpec& probe = spec.probes[at(one.probe)];
    std::string value = value_text(probe, one.read);
    if (probe.unit == Unit::degf && one.read.kind == ValueKind::number) {
      value = decimal((one.read.value - 32.0) / 1.8, 4);
    }
    lines += time + ",";
    lines += probe.enclosure < 0 ? "room" : spec.enclosures[at(probe.enclosure)].id;
    lines += std::string(",") + name(probe.zone) + "," + name(probe.quantity) + "," + value + "," +
             name(probe.medium) + "," + channel_id(instrument, probe) + "\n";
  }
  return lines;
}

}  // namespace baskwell::demoroom
