// [instruments.ID], and the short forms: `probes` of an enclosure and of a rack. An instrument has channels,
// a channel has placements; each topic of an instrument becomes one source.

#include <algorithm>

#include "settings/draft.h"
#include "settings/topic.h"

namespace baskwell::settings {
namespace {

// Where an instrument is written down.
struct Site {
  std::string id;     // "" in a short form: made of `owner`, zone and quantity
  std::string owner;  // id of the enclosure of a short form
  Index enclosure = none;
  Marks marks;
};

// What an instrument says for those of its channels that do not say otherwise.
struct Shared {
  std::string topic;
  Index enclosure = none;
  std::optional<Zone> zone;
  std::optional<Medium> medium;
};

struct WrittenChannel {
  Channel channel;
  std::string name;  // "" where it must be made
  std::string pointer;
  std::string topic;  // as written, with its marks
  Origin origin;
};

std::optional<std::string> read_topic(TableReader& reader, const Marks& marks) {
  auto topic = reader.text("topic", longest_topic);
  if (!topic) return std::nullopt;
  for (const auto& [mark, value] : marks) {
    if (topic->find(mark) != std::string::npos && !is_whole_level(*topic, mark)) {
      reader.wrong("topic", mark + " is not a whole level", filter_rule);
      return std::nullopt;
    }
  }
  if (const std::string mistake = filter_mistake(as_filter(*topic, marks)); !mistake.empty()) {
    reader.wrong("topic", mistake, filter_rule);
    return std::nullopt;
  }
  return topic;
}

Medium usual_medium(Zone zone) {
  if (zone == Zone::water) return Medium::water;
  return zone == Zone::eggs ? Medium::eggs : Medium::air;
}

// A difference in a channel's unit as one in the unit that is judged.
double as_difference(double difference, Unit unit) {
  return unit == Unit::degf ? difference / 1.8 : difference;
}

double as_judged(double value, Unit unit) {
  switch (unit) {
    case Unit::degf:
      return (value - 32) / 1.8;
    case Unit::kelvin:
      return value - 273.15;
    default:
      return value;
  }
}

// Where a channel is, by `enclosure`, `zone` and `medium` of `reader` and what is shared. Nothing when it is
// nowhere.
std::optional<Placement> read_where(Draft& draft, TableReader& reader, const Shared& shared,
                                    Quantity quantity) {
  const auto own_enclosure = read_reference(reader, "enclosure", draft.enclosures);
  const auto own_zone = read_zone(reader, "zone");
  const auto own_medium = read_medium(reader, "medium");
  // A battery is in no zone, and power is drawn by a heater, not by a place; only where it is said for this
  // channel.
  const bool needs_place =
      quantity == Quantity::temperature || quantity == Quantity::humidity || quantity == Quantity::light;
  if (!needs_place && !reader.has("enclosure") && !reader.has("zone")) return std::nullopt;
  const auto zone = own_zone ? own_zone : shared.zone;
  const Index enclosure = own_enclosure.value_or(shared.enclosure);
  if (!zone) {
    if (!reader.has("zone"))
      reader.missing("zone", "hot, middle, cool, hide, water, eggs, or room for its own air");
    return std::nullopt;
  }
  if (*zone == Zone::room) {
    if (own_enclosure)
      reader.wrong("zone", "is the room's own air, but an enclosure is given", "one of them");
    return Placement{none, Zone::room, own_medium.value_or(Medium::air), Span{}};
  }
  if (enclosure == none) {
    if (!reader.has("enclosure")) reader.missing("enclosure", joined(draft.enclosures.names()));
    return std::nullopt;
  }
  return Placement{enclosure, *zone, own_medium.value_or(shared.medium.value_or(usual_medium(*zone))),
                   Span{}};
}

void read_placements(Draft& draft, TableReader& reader, const Shared& shared, Channel& channel) {
  if (!reader.has("placements")) {
    reader.find("placements");
    if (const auto where = read_where(draft, reader, shared, channel.quantity))
      channel.placements.push_back(*where);
    return;
  }
  struct Written {
    Placement placement;
    Place at;
    std::string key;
  };
  std::vector<Written> written;
  for (TableReader& one : reader.tables("placements")) {
    const auto where = read_where(draft, one, shared, channel.quantity);
    const Span span = read_span(one, draft.settings.room.clock);
    one.finish();
    if (!where) continue;
    written.push_back({*where, one.place(), one.key()});
    written.back().placement.span = span;
  }
  std::stable_sort(written.begin(), written.end(), [](const Written& a, const Written& b) {
    return a.placement.span.from < b.placement.span.from;
  });
  for (std::size_t i = 0; i < written.size(); ++i) {
    if (i > 0 && written[i].placement.span.from < written[i - 1].placement.span.to)
      draft.report.error(written[i].at, written[i].key, "overlaps " + written[i - 1].key,
                         "one place at a time");
    channel.placements.push_back(written[i].placement);
  }
}

void read_calibrations(Draft& draft, TableReader& reader, Channel& channel) {
  constexpr double most = 20;  // more is no calibration, but a broken probe
  const auto offset = reader.number("offset", -most, most);
  if (offset) channel.calibrations.push_back({UtcMs{INT64_MIN}, as_difference(*offset, channel.unit), 0});
  if (offset && reader.has("calibrations"))
    reader.wrong("calibrations", "says the same as offset", "either offset or calibrations");
  for (TableReader& one : reader.tables("calibrations")) {
    const auto from = read_moment(one, "from", draft.settings.room.clock);
    const auto own_offset = one.number("offset", -most, most);
    if (!one.has("from")) one.missing("from", "a date without quotes, as 2026-03-01");
    if (!one.has("offset")) one.missing("offset");
    one.finish();
    if (!from || !own_offset) continue;
    if (!channel.calibrations.empty() && *from <= channel.calibrations.back().from) {
      one.wrong("from", "is not after the calibration before it", "one after the other");
      continue;
    }
    channel.calibrations.push_back({*from, as_difference(*own_offset, channel.unit), 0});
  }
  for (std::size_t i = 0; i < channel.calibrations.size(); ++i)
    channel.calibrations[i].version = static_cast<std::uint16_t>(i + 1);
}

// Reads what a channel is, out of its own table or, in the short form, out of the instrument's.
std::optional<WrittenChannel> read_channel(Draft& draft, TableReader& reader, const Shared& shared) {
  WrittenChannel written;
  written.origin = {reader.place(), reader.key()};
  written.topic = shared.topic;
  written.pointer = reader.text("pointer", 500).value_or("");
  if (!written.pointer.empty() && written.pointer.front() != '/')
    reader.wrong("pointer", "is no JSON pointer",
                 "a text that begins with /, as \"/air/temperature\" (RFC 6901)");
  static const std::vector<std::string> units{"degC", "degF", "K", "%RH", "lux", "W", "V"};
  const auto unit = reader.one_of("unit", units);
  if (!reader.has("unit")) reader.missing("unit", joined(units));
  Channel& channel = written.channel;
  channel.unit = unit ? *unit_from(units[*unit]) : Unit::degc;
  channel.quantity = quantity_of(channel.unit);
  read_placements(draft, reader, shared, channel);
  read_calibrations(draft, reader, channel);
  if (const auto measures = reader.range("measures")) {
    channel.measures_low = as_judged(measures->low, channel.unit);
    channel.measures_high = as_judged(measures->high, channel.unit);
  }
  return unit ? std::optional(std::move(written)) : std::nullopt;
}

// Lower case letters, digits and dashes out of a pointer or the last level of a topic.
std::string as_id(std::string_view text) {
  std::string id;
  for (const char c : text) {
    if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9')) {
      id += c;
    } else if (c >= 'A' && c <= 'Z') {
      id += static_cast<char>(c - 'A' + 'a');
    } else if (!id.empty() && id.back() != '-') {
      id += '-';
    }
  }
  while (!id.empty() && id.back() == '-') id.pop_back();
  return id.substr(0, 40);
}

// A permanent name that does not depend on the order of the file: what the message calls the value.
std::string made_name(const WrittenChannel& channel, bool own_topic) {
  if (!channel.pointer.empty()) return as_id(channel.pointer);
  if (own_topic) {
    std::string name = as_id(channel.topic.substr(channel.topic.find_last_of('/') + 1));
    if (!name.empty()) return name;
  }
  return std::string(name_of(channel.channel.quantity));
}

std::vector<WrittenChannel> read_channel_list(Draft& draft, TableReader& reader, const Site& site,
                                              const Shared& shared) {
  std::vector<WrittenChannel> channels;
  for (TableReader& one : reader.tables("channels")) {
    const auto topic = read_topic(one, site.marks);
    if (!topic && !one.has("topic") && shared.topic.empty() && !reader.has("topic"))
      one.missing("topic", "a topic here or of the instrument");
    const auto id = one.text("id");
    if (id && !is_id(*id)) one.wrong("id", "is no id", id_rule);
    auto written = read_channel(draft, one, shared);
    one.finish();
    if (!written) continue;
    if (topic) written->topic = *topic;
    written->name = id.value_or(made_name(*written, topic.has_value()));
    channels.push_back(std::move(*written));
  }
  if (channels.empty() && reader.tables("channels").empty()) reader.missing("channels", "at least one");
  return channels;
}

// The decoder by what the channels ask for, where the file names none.
std::string read_decoder(TableReader& reader, const std::vector<WrittenChannel>& channels) {
  const bool pointers = std::any_of(channels.begin(), channels.end(),
                                    [](const WrittenChannel& channel) { return !channel.pointer.empty(); });
  std::string decoder = reader.text("decoder").value_or(pointers ? "json" : "plain");
  const bool every = std::all_of(channels.begin(), channels.end(),
                                 [](const WrittenChannel& channel) { return !channel.pointer.empty(); });
  if (decoder == "plain" && pointers)
    reader.wrong("decoder", "plain payloads hold one number and no pointer", "decoder = \"json\"");
  if (decoder == "plain" && reader.has("time"))
    reader.wrong("time", "plain payloads hold no time of their own", "no time, or decoder = \"json\"");
  if (decoder == "json" && !every)
    reader.wrong("decoder", "a json payload needs a pointer for every channel", "pointer = \"/...\" in each");
  return decoder;
}

void add_sources(Draft& draft, TableReader& reader, const Site& site, Index instrument,
                 const std::vector<WrittenChannel>& channels) {
  Settings& settings = draft.settings;
  ProbeSource model;
  model.instrument = instrument;
  model.at = {draft.report.file(), reader.place().line, reader.place().column};
  model.decoder = read_decoder(reader, channels);
  model.time_pointer = reader.text("time", 500).value_or("");
  if (!model.time_pointer.empty() && model.time_pointer.front() != '/' && model.decoder == "json")
    reader.wrong("time", "is no JSON pointer", "a text that begins with /, as \"/time\" (RFC 6901)");
  model.keep_queued = reader.boolean("keep_queued").value_or(false);
  if (model.keep_queued && model.time_pointer.empty())
    reader.wrong("keep_queued", "a payload without its own time has none after it lay in a queue",
                 "false, or a time pointer");
  if (const auto extra = reader.table("decoder_settings"))
    model.decoder_settings =
        read_plugin_settings(draft, extra->table(), reader.key_of("decoder_settings"), {});

  const std::size_t first = settings.probes.size();
  for (const WrittenChannel& written : channels) {
    const std::string topic = with_marks(written.topic, site.marks);
    auto source =
        std::find_if(settings.probes.begin() + static_cast<std::ptrdiff_t>(first), settings.probes.end(),
                     [&](const ProbeSource& one) { return one.topic == topic; });
    if (source == settings.probes.end()) {
      model.topic = topic;
      model.filter = as_filter(written.topic, site.marks);
      settings.probes.push_back(model);
      source = settings.probes.end() - 1;
    }
    const auto index = static_cast<Index>(settings.room.channels.size());
    source->channels.push_back({index, written.pointer, written.channel.unit});
    settings.room.channels.push_back(written.channel);
    draft.channel_origins.push_back(written.origin);
  }
}

void add_presence(Draft& draft, TableReader& reader, const Site& site, Index instrument) {
  std::optional<PresenceSource> presence = draft.common_presence;
  if (reader.find("presence") != nullptr) presence = read_presence(reader, site.marks);
  if (!presence) return;
  for (PresenceSource& known : draft.settings.presences) {
    if (known.topic != presence->topic) continue;
    if (known.online != presence->online || known.offline != presence->offline)
      reader.wrong("presence", "another instrument gives other texts for this topic", "the same texts");
    known.instruments.push_back(instrument);
    return;
  }
  presence->instruments = {instrument};
  draft.settings.presences.push_back(std::move(*presence));
}

Shared read_shared(Draft& draft, TableReader& reader, const Site& site, bool has_list) {
  Shared shared;
  shared.topic = read_topic(reader, site.marks).value_or("");
  shared.enclosure = site.enclosure;
  if (!has_list) return shared;  // then enclosure, zone and medium are read as the channel's
  if (site.enclosure == none)
    shared.enclosure = read_reference(reader, "enclosure", draft.enclosures).value_or(none);
  shared.zone = read_zone(reader, "zone");
  shared.medium = read_medium(reader, "medium");
  return shared;
}

std::string id_of(TableReader& reader, const Site& site, const std::vector<WrittenChannel>& channels) {
  if (site.owner.empty()) return site.id;
  if (const auto id = reader.text("id")) {
    std::string made = with_marks(*id, site.marks);
    if (is_id(made)) return made;
    reader.wrong("id", "is no id", id_rule);
  }
  if (channels.size() != 1) return site.owner + "-probes";
  const Channel& channel = channels[0].channel;
  const std::string quantity(name_of(channel.quantity));
  if (channel.placements.empty()) return site.owner + '-' + quantity;
  return site.owner + '-' + std::string(name_of(channel.placements[0].zone)) + '-' + quantity;
}

void read_instrument(Draft& draft, TableReader& reader, Place at, const Site& site) {
  const bool has_list = reader.has("channels");
  if (!site.owner.empty() && reader.has("enclosure"))
    reader.wrong("enclosure", "it is told already by where this stands", "no enclosure here");
  const Shared shared = read_shared(draft, reader, site, has_list);
  std::vector<WrittenChannel> channels;
  if (has_list) {
    channels = read_channel_list(draft, reader, site, shared);
  } else {
    if (!reader.has("topic")) reader.missing("topic", filter_rule);
    if (auto written = read_channel(draft, reader, shared)) {
      written->name = made_name(*written, false);
      channels.push_back(std::move(*written));
    }
    reader.find("channels");
  }

  Instrument instrument;
  instrument.id = id_of(reader, site, channels);
  instrument.name = with_marks(read_name(reader, instrument.id), site.marks);
  static const std::vector<std::string> types{"generic",    "digital-bus", "capacitive-rh",
                                              "thermistor", "platinum",    "thermocouple"};
  if (const auto type = reader.one_of("type", types)) instrument.type = static_cast<ProbeType>(*type);
  instrument.interval_ms = reader.duration_ms("interval", 100, 24 * hour_ms);

  const bool is_new = draft.instruments.add(draft.report, at, reader.key(), instrument.id);
  if (draft.enclosures.find(instrument.id))
    draft.report.error(at, reader.key(), "\"" + instrument.id + "\" is an enclosure already", "another id");
  for (std::size_t i = 0; i < channels.size(); ++i) {
    WrittenChannel& written = channels[i];
    written.channel.id = instrument.id + '/' + written.name;
    written.channel.instrument = static_cast<Index>(draft.settings.room.instruments.size());
    const bool twice = std::any_of(channels.begin(), channels.begin() + static_cast<std::ptrdiff_t>(i),
                                   [&](const WrittenChannel& other) { return other.name == written.name; });
    if (twice)
      draft.report.error(written.origin.at, written.origin.key,
                         "there is a second channel \"" + written.name + "\" in this instrument",
                         "an id of its own");
  }
  const auto index = static_cast<Index>(draft.settings.room.instruments.size());
  add_sources(draft, reader, site, index, channels);
  add_presence(draft, reader, site, index);
  reader.finish();
  // One whose id is taken is read for its mistakes alone; the settings are refused in any case.
  if (is_new) draft.settings.room.instruments.push_back(std::move(instrument));
}

bool topic_mentions_enclosure(const Value& table) {
  return std::any_of(table.members.begin(), table.members.end(), [](const Member& member) {
    return member.key == "topic" && member.value.text.find("{enclosure}") != std::string::npos;
  });
}

// In the instrument's own topic or one of its channels'.
bool mentions_enclosure(const Value& table) {
  if (topic_mentions_enclosure(table)) return true;
  return std::any_of(table.members.begin(), table.members.end(), [](const Member& member) {
    return member.key == "channels" &&
           std::any_of(member.value.items.begin(), member.value.items.end(), topic_mentions_enclosure);
  });
}

// An instrument by name; with {enclosure} in its topics, one such instrument in each enclosure.
void read_named_instrument(Draft& draft, const TableReader::Named& named) {
  TableReader reader(*named.table, named.key, draft.report);
  if (!mentions_enclosure(*named.table)) {
    read_instrument(draft, reader, named.at, {named.id, "", none, {}});
    return;
  }
  std::vector<Index> where = read_references(reader, "enclosures", draft.enclosures);
  if (!reader.has("enclosures")) {
    for (Index i = 0; i < draft.settings.room.enclosures.size(); ++i) where.push_back(i);
  }
  if (reader.has("enclosure"))
    reader.wrong("enclosure", "the topic tells the enclosure already", "enclosures");
  for (const Index enclosure : where) {
    const std::string& id = draft.settings.room.enclosures[enclosure].id;
    read_instrument(draft, reader, named.at, {named.id + '-' + id, "", enclosure, {{"{enclosure}", id}}});
  }
  reader.finish();
}

void read_rack_probes(Draft& draft, const RackDraft& rack_draft) {
  TableReader rack_reader(*rack_draft.named.table, rack_draft.named.key, draft.report);
  const Rack& rack = draft.settings.room.racks[rack_draft.rack];
  if (rack.tubs.empty()) return;  // reported where the rack was read
  for (TableReader& reader : rack_reader.tables("probes")) {
    const std::vector<std::size_t> tubs = read_tubs(reader, "tubs", rack.tubs.size());
    for (const std::size_t tub : tubs) {
      const Index enclosure = rack.tubs[tub - 1];
      const std::string& id = draft.settings.room.enclosures[enclosure].id;
      read_instrument(draft, reader, reader.place(),
                      {"", id, enclosure, {{"{tub}", std::to_string(tub)}, {"{enclosure}", id}}});
    }
  }
}

}  // namespace

void read_instruments(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : draft.enclosure_tables) {
    TableReader enclosure(*named.table, named.key, draft.report);
    const Index index = *draft.enclosures.find(named.id);
    for (TableReader& reader : enclosure.tables("probes"))
      read_instrument(draft, reader, reader.place(), {"", named.id, index, {{"{enclosure}", named.id}}});
  }
  for (const RackDraft& rack : draft.rack_drafts) read_rack_probes(draft, rack);
  for (const TableReader::Named& named : root.named_tables("instruments"))
    read_named_instrument(draft, named);
}

}  // namespace baskwell::settings
