#pragma once
// The settings while they are being read: what is built so far, the ids that may be referred to, where each
// thing stands in the file, and what is wrong. The parts of the file are read in the order of their
// references, each by its own .cpp: read_*(Draft&, TableReader& root).

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "settings/care_sheet.h"
#include "settings/report.h"
#include "settings/settings.h"
#include "settings/table_reader.h"
#include "settings/topic.h"

namespace baskwell::settings {

// Ids of one kind of thing, in the order of the room's vector.
class Ids {
 public:
  explicit Ids(std::string kind) : kind_(std::move(kind)) {}

  // False (and reported) when the id is taken.
  bool add(Report& report, Place at, const std::string& key, const std::string& id);
  [[nodiscard]] std::optional<Index> find(const std::string& id) const;
  // The thing's index; reports an unknown id.
  std::optional<Index> refer(Report& report, Place at, const std::string& key, const std::string& id) const;
  // Things that are written, but whose own mistakes are reported: refer() does not complain of them a second
  // time. All whose id begins so: "" - all.
  void refuse(const std::string& id) { refused_.push_back(id); }
  void refuse_beginning(const std::string& start) { refused_starts_.push_back(start); }
  [[nodiscard]] const std::vector<std::string>& names() const { return names_; }
  [[nodiscard]] const std::string& kind() const { return kind_; }

 private:
  [[nodiscard]] bool is_refused(const std::string& id) const;

  std::string kind_;  // "enclosure"
  std::vector<std::string> names_;
  std::map<std::string, Index> index_;
  std::vector<std::string> refused_;
  std::vector<std::string> refused_starts_;
};

// Where a thing stands in the settings file.
struct Origin {
  Place at;
  std::string key;
};

struct AnimalOrigin {
  Origin origin;
  std::vector<double> photoperiod_h;  // lowest and highest of its care sheet; empty: not told
};

struct HeaterOrigin {
  Origin origin;
  bool unregulated_on_purpose = false;  // the keeper wrote down why it has neither thermostat nor cut-out
};

// A rack's animals and probes are read after everything that they refer to.
struct RackDraft {
  TableReader::Named named;
  Index rack = none;
};

struct Draft {
  Draft(Report& findings, const std::filesystem::path& file, const LoadOptions& load_options,
        CareSheets& care)
      : report(findings), folder(file.parent_path()), options(load_options), sheets(care) {}

  Settings settings;
  Report& report;
  std::filesystem::path folder;  // relative paths in the file count from here
  const LoadOptions& options;
  CareSheets& sheets;
  LightPlan lights;  // of enclosures that say nothing else

  Ids enclosures{"enclosure"};
  Ids racks{"rack"};
  Ids animals{"animal"};
  Ids circuits{"circuit"};
  Ids heaters{"heater"};
  Ids lamps{"lamp"};
  Ids thermostats{"thermostat"};
  Ids cut_outs{"cut-out"};
  Ids instruments{"instrument"};
  Ids people{"person"};
  Ids delivery_channels{"channel"};

  // Parallel to the room's vectors of the same name.
  std::vector<Origin> enclosure_origins;
  std::vector<AnimalOrigin> animal_origins;
  std::vector<HeaterOrigin> heater_origins;
  std::vector<Origin> thermostat_origins;
  std::vector<Origin> cut_out_origins;
  std::vector<Origin> channel_origins;

  std::vector<TableReader::Named>
      enclosure_tables;  // the enclosures written one by one, for their short probes
  std::vector<RackDraft> rack_drafts;
  std::optional<PresenceSource> common_presence;  // of instruments without one of their own

  [[nodiscard]] std::filesystem::path path_of(const std::string& written) const { return folder / written; }
};

// ---- Parts of the file, each with the keys that it knows
void read_place(Draft& draft, TableReader& root);       // [room]
void read_broker(Draft& draft, TableReader& root);      // [broker]
void read_service(Draft& draft, TableReader& root);     // [store], [service]
void read_channels(Draft& draft, TableReader& root);    // [channels.ID]
void read_people(Draft& draft, TableReader& root);      // [people.ID]
void read_alarms(Draft& draft, TableReader& root);      // [alarms.KIND]
void read_enclosures(Draft& draft, TableReader& root);  // [enclosures.ID], without their probes
void read_racks(Draft& draft, TableReader& root);       // [racks.ID] and the tubs, without animals and probes
void read_animals(Draft& draft, TableReader& root);     // [animals.ID], and those of racks
void read_heating(Draft& draft,
                  TableReader& root);  // [circuits.ID] [heaters.ID] [lamps.ID] [thermostats.ID] [cutouts.ID]
void read_instruments(Draft& draft,
                      TableReader& root);  // [instruments.ID], and the probes of enclosures and racks

// What no single part can see: topics used twice; and what is not wrong, but doubtful.
void check_topics(Draft& draft);
void find_doubts(Draft& draft, TableReader& root);

// ---- What several parts need
// The tables under `section`, whose ids others refer to; those that are no tables or have no id are refused.
std::vector<TableReader::Named> read_named_tables(TableReader& root, std::string_view section, Ids& ids);
// The display name under `name`; `otherwise` when none is given.
std::string read_name(TableReader& reader, const std::string& otherwise);
// The thing that the text under `name` refers to.
std::optional<Index> read_reference(TableReader& reader, std::string_view name, const Ids& ids);
// Those that the list (or the one text) under `name` refers to; each at most once.
std::vector<Index> read_references(TableReader& reader, std::string_view name, const Ids& ids);
std::optional<Zone> read_zone(TableReader& reader, std::string_view name);
std::optional<Medium> read_medium(TableReader& reader, std::string_view name);
LightPlan read_lights(TableReader& reader, LightPlan otherwise);
// Span under `from` and `to`: dates (local midnight), or dates and times. Nothing where it is wrong.
std::optional<Span> read_span(TableReader& reader, const ZoneRules& clock);
std::optional<UtcMs> read_moment(TableReader& reader, std::string_view name, const ZoneRules& clock);
// Numbers of tubs from 1; all where the list is not there.
std::vector<std::size_t> read_tubs(TableReader& reader, std::string_view name, std::size_t tub_count);
std::optional<PresenceSource> read_presence(TableReader& reader, const Marks& marks);
// A secret's place: { file = "..." } or { credential = "..." }. Never looks into it.
Secret read_secret(Draft& draft, const Value& value, const std::string& key);
// Whether a key of this name holds a secret, and so may not be written inline.
bool is_secret_name(std::string_view name);
// The members of `table` but those in `own`, for a plugin.
std::vector<PluginSetting> read_plugin_settings(Draft& draft, const Value& table, const std::string& key,
                                                const std::vector<std::string>& own);

}  // namespace baskwell::settings
