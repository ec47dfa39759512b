#include "intake/decoding.h"

#include <map>
#include <optional>
#include <utility>

#include "intake/topic_table.h"
#include "intake/trouble.h"
#include "plugin_host/decoder.h"

namespace baskwell::intake {
namespace {

using plugin_host::Decoded;
using plugin_host::Decoder;
using plugin_host::DecoderPlugin;

// Causes of trouble; sources count up from first_source.
constexpr std::uint32_t cause_refused = 0;
constexpr std::uint32_t cause_dropped = 1;
constexpr std::uint32_t first_source = 2;
// Whoever hears of trouble may still know of some from before this start or these settings. What has not
// shown again by now is over: long enough for payloads every few minutes to be found bad in a row.
constexpr std::int64_t earlier_is_over_ms = 30 * minute_ms;
// Whose samples: sources by index, then presences.
constexpr std::uint32_t presence_samples = 0x80000000U;

struct Source {
  std::string topic;
  std::string instrument;
  std::string instrument_name;
  std::string decoder_name;
  Decoder decoder;
  std::vector<Index> channels;  // by wanted index

  std::uint64_t payloads = 0;
  std::uint64_t readings = 0;
  std::uint64_t read_in_part = 0;
  std::uint64_t unreadable = 0;
  std::uint32_t bad_in_row = 0;
  bool in_trouble = false;
  bool good_since_bad = false;
  ElapsedMs last_bad_at{};
  UtcMs last_good{};
  std::string last_problem{};
};

struct Presence {
  std::string online;
  std::string offline;
  std::vector<Index> instruments;
};

// What a decoder's readings are turned into events with.
struct Handing {
  Source* source;
  const EventSink* sink;
  ReadingEvent event;
};

void hand_over(void* context, const bw_reading& reading) {
  auto& handing = *static_cast<Handing*>(context);
  ReadingEvent& event = handing.event;
  event.channel = handing.source->channels[reading.wanted_index];
  event.value = {.digits = reading.value.digits, .places = static_cast<std::int8_t>(reading.value.places)};
  event.unit = static_cast<Unit>(reading.unit);
  event.not_a_number = reading.not_a_number != 0;
  event.has_own_time = reading.has_time != 0;
  event.measured = event.has_own_time ? UtcMs{reading.measured_utc_ms} : event.at.utc;
  ++handing.source->readings;
  handing.sink->reading(handing.sink->context, event);
}

// Secrets among a decoder's settings are read here, once.
Result<std::vector<plugin_host::Setting>> resolved(const std::vector<PluginSetting>& settings) {
  std::vector<plugin_host::Setting> all;
  for (const PluginSetting& setting : settings) {
    if (!setting.secret.given()) {
      all.push_back({setting.key, setting.value});
      continue;
    }
    Result<std::string> secret = setting.secret.read();
    if (!secret) return secret.error();
    all.push_back({setting.key, std::move(secret).value()});
  }
  return all;
}

Result<Decoder> open_decoder(const ProbeSource& probe, const DecoderPlugin& plugin) {
  plugin_host::DecoderSettings wanted;
  for (const SourceChannel& channel : probe.channels) {
    wanted.wanted.push_back({channel.pointer, static_cast<bw_unit>(channel.unit)});
  }
  if (!probe.time_pointer.empty()) wanted.time_pointer = probe.time_pointer;
  Result<std::vector<plugin_host::Setting>> extra = resolved(probe.decoder_settings);
  if (!extra) return extra.error();
  wanted.extra = std::move(extra).value();
  return plugin.open(wanted);
}

}  // namespace

struct Decoding::State {
  explicit State(TopicTable table) : topics(std::move(table)) {}

  TopicTable topics;
  std::vector<Source> sources;
  std::vector<Presence> presences;
  PayloadSamples bad;
  PayloadSamples unknown;
  std::uint64_t unknown_topics = 0;
  std::uint64_t bad_presences = 0;
  ArrivalQueue::Counts live;
  ArrivalQueue::Counts kept;
  ElapsedMs last_drop_at;
  std::string refused_words;
  Trouble trouble;
  std::string told;
  bool has_told = false;
  std::optional<ElapsedMs> first_tick;
  std::string problem;  // what a decoder said; kept for its memory

  void take_probe(Source& source, std::uint32_t index, const Arrival& arrival, const EventSink& sink);
  void take_presence(const Presence& presence, std::uint32_t index, const Arrival& arrival,
                     const EventSink& sink);
  void note_bad(Source& source, std::uint32_t index, const Arrival& arrival);
  void tell(Stamp now, const EventSink& sink);
};

Result<Decoding> Decoding::open(const Settings& settings, const plugin_host::Folders& folders) {
  auto state = std::make_unique<State>(TopicTable(settings.probes, settings.presences));
  std::map<std::string, DecoderPlugin, std::less<>> plugins;
  for (const ProbeSource& probe : settings.probes) {
    auto plugin = plugins.find(probe.decoder);
    if (plugin == plugins.end()) {
      Result<DecoderPlugin> loaded = DecoderPlugin::load(probe.decoder, folders);
      if (!loaded) return Error{"topic '" + probe.topic + "': " + loaded.error().text};
      plugin = plugins.emplace(probe.decoder, std::move(loaded).value()).first;
    }
    Result<Decoder> decoder = open_decoder(probe, plugin->second);
    if (!decoder) return Error{"topic '" + probe.topic + "': " + decoder.error().text};
    const Instrument& instrument = settings.room.instruments[probe.instrument];
    std::vector<Index> channels;
    for (const SourceChannel& channel : probe.channels) channels.push_back(channel.channel);
    state->sources.push_back({.topic = probe.topic,
                              .instrument = instrument.id,
                              .instrument_name = instrument.name.empty() ? instrument.id : instrument.name,
                              .decoder_name = probe.decoder,
                              .decoder = std::move(decoder).value(),
                              .channels = std::move(channels)});
  }
  for (const PresenceSource& presence : settings.presences) {
    state->presences.push_back({presence.online, presence.offline, presence.instruments});
  }
  return Decoding(std::move(state));
}

Decoding::Decoding(std::unique_ptr<State> state) : state_(std::move(state)) {}
Decoding::~Decoding() = default;
Decoding::Decoding(Decoding&&) noexcept = default;
Decoding& Decoding::operator=(Decoding&&) noexcept = default;

void Decoding::take(const Arrival& arrival, const EventSink& sink) {
  State& s = *state_;
  const std::span<const Target> targets = s.topics.find(arrival.topic, arrival.topic_hash);
  if (targets.empty()) [[unlikely]] {
    ++s.unknown_topics;
    s.unknown.add(0, arrival.at.utc, arrival.topic, arrival.payload,
                  "no source in the settings has this topic");
    return;
  }
  for (const Target& target : targets) {
    if (target.session != arrival.session) continue;  // the other session brings it too
    if (target.kind == Target::Kind::probe) {
      s.take_probe(s.sources[target.index], target.index, arrival, sink);
    } else {
      s.take_presence(s.presences[target.index], target.index, arrival, sink);
    }
  }
  if (s.trouble.take_news()) s.tell(arrival.at, sink);
}

void Decoding::State::take_probe(Source& source, std::uint32_t index, const Arrival& arrival,
                                 const EventSink& sink) {
  ++source.payloads;
  Handing handing{.source = &source, .sink = &sink, .event = {}};
  handing.event.at = arrival.at;
  handing.event.retained = arrival.retained;
  handing.event.queued = arrival.session == Session::kept;
  const Decoded decoded = source.decoder.decode(arrival.payload, &hand_over, &handing, problem);
  if (decoded == Decoded::whole) [[likely]] {
    source.bad_in_row = 0;
    source.good_since_bad = true;
    source.last_good = arrival.at.utc;
    return;
  }
  ++(decoded == Decoded::in_part ? source.read_in_part : source.unreadable);
  note_bad(source, index, arrival);
}

void Decoding::State::note_bad(Source& source, std::uint32_t index, const Arrival& arrival) {
  source.last_problem.assign(problem, 0, PayloadSamples::cause_bytes_max);
  source.last_bad_at = arrival.at.elapsed;
  source.good_since_bad = false;
  ++source.bad_in_row;
  bad.add(index, arrival.at.utc, arrival.topic, arrival.payload, problem);
  if (source.in_trouble || source.bad_in_row < bad_in_row_max) return;
  source.in_trouble = true;
  trouble.begin(first_source + index, source.instrument_name + " sends payloads on '" + source.topic +
                                          "' that cannot be read: " + source.last_problem);
}

void Decoding::State::take_presence(const Presence& presence, std::uint32_t index, const Arrival& arrival,
                                    const EventSink& sink) {
  const bool present = arrival.payload == presence.online;
  if (!present && arrival.payload != presence.offline) {
    ++bad_presences;
    bad.add(presence_samples + index, arrival.at.utc, arrival.topic, arrival.payload,
            "neither '" + presence.online + "' nor '" + presence.offline + "'");
    return;
  }
  for (const Index instrument : presence.instruments) {
    sink.event(sink.context, PresenceEvent{.at = arrival.at, .instrument = instrument, .present = present});
  }
}

void Decoding::State::tell(Stamp now, const EventSink& sink) {
  has_told = true;
  told = trouble.words();
  sink.event(sink.context, IntakeTroubleEvent{.at = now, .bad = trouble.any(), .detail = told});
}

void Decoding::dropped(const ArrivalQueue::Counts& live, const ArrivalQueue::Counts& kept, Stamp now,
                       const EventSink& sink) {
  State& s = *state_;
  const bool more = live.dropped() + kept.dropped() > s.live.dropped() + s.kept.dropped();
  s.live = live;
  s.kept = kept;
  if (!more) return;
  s.last_drop_at = now.elapsed;
  s.trouble.begin(cause_dropped, "more messages came than can be taken in; " +
                                     std::to_string(live.dropped() + kept.dropped()) + " dropped so far");
  if (s.trouble.take_news()) s.tell(now, sink);
}

void Decoding::refused(std::string_view words, Stamp now, const EventSink& sink) {
  State& s = *state_;
  if (s.refused_words == words) return;
  s.refused_words = words;
  s.trouble.end(cause_refused);  // and begins anew: other filters than before are news
  if (!words.empty()) s.trouble.begin(cause_refused, words);
  if (s.trouble.take_news()) s.tell(now, sink);
}

void Decoding::tick(Stamp now, const EventSink& sink) {
  State& s = *state_;
  if (!s.first_tick) s.first_tick = now.elapsed;
  if (!s.has_told && now.elapsed - *s.first_tick >= earlier_is_over_ms) s.tell(now, sink);
  if (!s.trouble.any()) return;
  if (s.trouble.has(cause_dropped) && now.elapsed - s.last_drop_at >= good_for_ms)
    s.trouble.end(cause_dropped);
  for (std::size_t i = 0; i < s.sources.size(); ++i) {
    Source& source = s.sources[i];
    if (!source.in_trouble || !source.good_since_bad) continue;
    if (now.elapsed - source.last_bad_at < good_for_ms) continue;
    source.in_trouble = false;
    s.trouble.end(first_source + static_cast<std::uint32_t>(i));
  }
  if (s.trouble.take_news()) s.tell(now, sink);
}

PayloadReport Decoding::report() const {
  const State& s = *state_;
  PayloadReport report{.sources = {},
                       .bad = s.bad.all(),
                       .unknown_topics = s.unknown_topics,
                       .unknown = s.unknown.all(),
                       .bad_presences = s.bad_presences,
                       .live = s.live,
                       .kept = s.kept,
                       .trouble = s.trouble.any() ? s.told : ""};
  report.sources.reserve(s.sources.size());
  for (const Source& source : s.sources) {
    report.sources.push_back({.topic = source.topic,
                              .instrument = source.instrument,
                              .decoder = source.decoder_name,
                              .payloads = source.payloads,
                              .readings = source.readings,
                              .read_in_part = source.read_in_part,
                              .unreadable = source.unreadable,
                              .bad_in_row = source.bad_in_row,
                              .in_trouble = source.in_trouble,
                              .last_good = source.last_good,
                              .last_problem = source.last_problem});
  }
  return report;
}

}  // namespace baskwell::intake
