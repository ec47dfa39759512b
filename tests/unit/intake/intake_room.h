#pragma once
// A small room for the tests of intake, built by hand, and a sink that keeps all events.

#include <cstdint>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "core/event.h"
#include "intake/decoding.h"
#include "settings/settings.h"

namespace baskwell::intake {

inline Stamp stamp(std::int64_t elapsed_ms) {
  return {{1'700'000'000'000 + elapsed_ms}, {elapsed_ms}};
}

// Adds an instrument with one channel for each pointer (degC), all on one topic; returns the source.
inline ProbeSource& add_source(Settings& settings, const std::string& topic,
                               const std::string& decoder = "plain",
                               const std::vector<std::string>& pointers = {""}) {
  const auto number = static_cast<Index>(settings.room.instruments.size());
  Instrument instrument;
  instrument.id = "inst-" + std::to_string(number);
  instrument.name = "Instrument " + std::to_string(number);
  settings.room.instruments.push_back(instrument);
  ProbeSource source;
  source.instrument = number;
  source.filter = topic;
  source.topic = topic;
  source.decoder = decoder;
  for (const std::string& pointer : pointers) {
    Channel channel;
    channel.id = instrument.id + "/" + (pointer.empty() ? "value" : pointer.substr(1));
    channel.instrument = number;
    source.channels.push_back({.channel = static_cast<Index>(settings.room.channels.size()),
                               .pointer = pointer,
                               .unit = Unit::degc});
    settings.room.channels.push_back(std::move(channel));
  }
  settings.probes.push_back(std::move(source));
  return settings.probes.back();
}

struct Heard {
  std::vector<ReadingEvent> readings;
  std::vector<Event> events;
  void take(const ReadingEvent& event) { readings.push_back(event); }
  void take(const Event& event) { events.push_back(event); }

  template <class Kind>
  [[nodiscard]] std::vector<Kind> all() const {
    std::vector<Kind> found;
    for (const Event& event : events) {
      if (const auto* one = std::get_if<Kind>(&event)) found.push_back(*one);
    }
    return found;
  }
};

}  // namespace baskwell::intake
