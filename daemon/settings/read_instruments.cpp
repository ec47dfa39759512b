// [instruments.ID], and the short forms: `probes` of an enclosure and of a rack. An instrument has channels,
// a channel has placements; each topic of an instrument becomes one source.

#include <algorithm>

#include "settings/draft.h"
#include "settings/topic.h"
#include "settings/written_channel.h"

namespace baskwell::settings {
namespace {

// Where an instrument is written down.
struct Site {
  std::string id;     // "" in a short form: made of `owner`, zone and quantity
  std::string owner;  // id of the enclosure of a short form
  Index enclosure = none;
  Marks marks;
};

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

// The channels that could be read.
struct ReadChannels {
  std::vector<WrittenChannel> channels;
  bool complete = true;  // else one was wrong: what they are together is not known
};

ReadChannels read_channel_list(Draft& draft, TableReader& reader, const Site& site, const Shared& shared) {
  ReadChannels read;
  for (TableReader& one : reader.tables("channels")) {
    const auto topic = read_topic(one, site.marks);
    if (!topic && !one.has("topic") && shared.topic.empty() && !reader.has("topic"))
      one.missing("topic", "a topic here or of the instrument");
    const auto id = one.text("id");
    if (id && !is_id(*id)) one.wrong("id", "is no id", id_rule);
    auto written = read_channel(draft, one, shared);
    one.finish();
    const bool broken = (one.has("id") && !id) || (one.has("topic") && !topic);
    if (!written || broken) {
      read.complete = false;
      continue;
    }
    if (topic) written->topic = *topic;
    written->name = id.value_or(made_name(*written, topic.has_value()));
    read.channels.push_back(std::move(*written));
  }
  const Value* list = reader.find("channels");
  const bool is_list = list->kind == ValueKind::list || list->kind == ValueKind::table;
  if (is_list && list->items.empty() && list->members.empty()) reader.missing("channels", "at least one");
  read.complete = read.complete && is_list;
  return read;
}

// The decoder by what the channels ask for, where the file names none. Nothing when that is not known for
// something that is wrong.
std::optional<std::string> read_decoder(TableReader& reader, const ReadChannels& read) {
  const auto told = reader.text("decoder");
  if ((reader.has("decoder") && !told) || !read.complete) return std::nullopt;
  const std::vector<WrittenChannel>& channels = read.channels;
  const bool pointers = std::any_of(channels.begin(), channels.end(),
                                    [](const WrittenChannel& channel) { return !channel.pointer.empty(); });
  std::string decoder = told.value_or(pointers ? "json" : "plain");
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
                 const ReadChannels& read) {
  Settings& settings = draft.settings;
  ProbeSource model;
  model.instrument = instrument;
  model.at = {draft.report.file(), reader.place().line, reader.place().column};
  model.decoder = read_decoder(reader, read).value_or("");
  model.time_pointer = reader.text("time", 500).value_or("");
  if (!model.time_pointer.empty() && model.time_pointer.front() != '/' && model.decoder == "json")
    reader.wrong("time", "is no JSON pointer", "a text that begins with /, as \"/time\" (RFC 6901)");
  model.keep_queued = reader.boolean("keep_queued").value_or(false);
  if (model.keep_queued && !reader.has("time"))
    reader.wrong("keep_queued", "a payload without its own time has none after it lay in a queue",
                 "false, or a time pointer");
  if (const auto extra = reader.table("decoder_settings"))
    model.decoder_settings =
        read_plugin_settings(draft, extra->table(), reader.key_of("decoder_settings"), {});

  const std::size_t first = settings.probes.size();
  for (const WrittenChannel& written : read.channels) {
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
  if (!presence) return;  // none, or reported
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
  shared.place_broken = (site.enclosure == none && reader.has("enclosure") && shared.enclosure == none) ||
                        (reader.has("zone") && !shared.zone);
  return shared;
}

// Nothing when it cannot be made, for what it is made of is wrong.
std::optional<std::string> id_of(TableReader& reader, const Site& site, const ReadChannels& read) {
  if (site.owner.empty()) return site.id;
  if (const auto id = reader.text("id")) {
    std::string made = with_marks(*id, site.marks);
    if (is_id(made)) return made;
    reader.wrong("id", "is no id", id_rule);
  }
  if (reader.has("id") || !read.complete) return std::nullopt;
  if (read.channels.size() != 1) return site.owner + "-probes";
  if (!read.channels[0].is_place_known) return std::nullopt;
  const Channel& channel = read.channels[0].channel;
  const std::string quantity(name_of(channel.quantity));
  if (channel.placements.empty()) return site.owner + '-' + quantity;
  return site.owner + '-' + std::string(name_of(channel.placements[0].zone)) + '-' + quantity;
}

// The channels' permanent ids within their instrument, which is the next of the room's.
void name_channels(Draft& draft, const std::string& instrument_id, std::vector<WrittenChannel>& channels) {
  for (std::size_t i = 0; i < channels.size(); ++i) {
    WrittenChannel& written = channels[i];
    written.channel.id = instrument_id + '/' + written.name;
    written.channel.instrument = static_cast<Index>(draft.settings.room.instruments.size());
    const bool twice = std::any_of(channels.begin(), channels.begin() + static_cast<std::ptrdiff_t>(i),
                                   [&](const WrittenChannel& other) { return other.name == written.name; });
    if (twice)
      draft.report.error(written.origin.at, written.origin.key,
                         "there is a second channel \"" + written.name + "\" in this instrument",
                         "an id of its own");
  }
}

void read_instrument(Draft& draft, TableReader& reader, Place at, const Site& site) {
  const bool has_list = reader.has("channels");
  if (!site.owner.empty() && reader.has("enclosure"))
    reader.wrong("enclosure", "it is told already by where this stands", "no enclosure here");
  const Shared shared = read_shared(draft, reader, site, has_list);
  ReadChannels read;
  if (has_list) {
    read = read_channel_list(draft, reader, site, shared);
  } else {
    if (!reader.has("topic")) reader.missing("topic", filter_rule);
    if (auto written = read_channel(draft, reader, shared)) {
      written->name = made_name(*written, false);
      read.channels.push_back(std::move(*written));
    } else {
      read.complete = false;
    }
    reader.find("channels");
  }

  Instrument instrument;
  const auto id = id_of(reader, site, read);
  instrument.id = id.value_or(site.owner);
  instrument.name = with_marks(read_name(reader, instrument.id), site.marks);
  static const std::vector<std::string> types{"generic",    "digital-bus", "capacitive-rh",
                                              "thermistor", "platinum",    "thermocouple"};
  if (const auto type = reader.one_of("type", types)) instrument.type = static_cast<ProbeType>(*type);
  instrument.interval_ms = reader.duration_ms("interval", 100, 24 * hour_ms);

  const bool is_new = id && draft.instruments.add(draft.report, at, reader.key(), instrument.id);
  if (id && draft.enclosures.find(instrument.id))
    draft.report.error(at, reader.key(), "\"" + instrument.id + "\" is an enclosure already", "another id");
  name_channels(draft, instrument.id, read.channels);
  const auto index = static_cast<Index>(draft.settings.room.instruments.size());
  add_sources(draft, reader, site, index, read);
  add_presence(draft, reader, site, index);
  reader.finish();
  // One whose id is taken or unknown is read for its mistakes alone; the settings are refused in any case.
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
    const bool among_many = reader.find("enclosures") != nullptr;
    // `enclosures` stands for a place: it is read for its other mistakes as the first one's.
    const Index place = among_many && !draft.enclosures.names().empty() ? 0 : none;
    read_instrument(draft, reader, named.at, {named.id, "", place, {}});
    if (among_many && !draft.report.has_error_at(named.key + ".topic"))
      reader.wrong("enclosures", "the topic does not tell one enclosure from the other",
                   "enclosure, or {enclosure} as one whole level of the topic");
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
