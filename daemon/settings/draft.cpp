#include "settings/draft.h"

#include <algorithm>
#include <array>
#include <cctype>

namespace baskwell::settings {

bool Ids::add(Report& report, Place at, const std::string& key, const std::string& id) {
  if (!index_.emplace(id, static_cast<Index>(names_.size())).second) {
    report.error(at, key, "there is a second " + kind_ + " with the id \"" + id + '"', "an id of its own");
    return false;
  }
  names_.push_back(id);
  return true;
}

std::optional<Index> Ids::find(const std::string& id) const {
  const auto found = index_.find(id);
  return found == index_.end() ? std::nullopt : std::optional(found->second);
}

std::optional<Index> Ids::refer(Report& report, Place at, const std::string& key,
                                const std::string& id) const {
  const auto index = find(id);
  if (!index && !is_refused(id)) unknown_reference(report, at, key, kind_, id, names_);
  return index;
}

bool Ids::is_refused(const std::string& id) const {
  return std::find(refused_.begin(), refused_.end(), id) != refused_.end() ||
         std::any_of(refused_starts_.begin(), refused_starts_.end(),
                     [&](const std::string& start) { return id.compare(0, start.size(), start) == 0; });
}

std::vector<TableReader::Named> read_named_tables(TableReader& root, std::string_view section, Ids& ids) {
  std::vector<TableReader::Named> named = root.named_tables(section);
  const Value* value = root.find(section);
  if (value == nullptr) return named;
  if (value->kind != ValueKind::table) ids.refuse_beginning("");
  for (const Member& member : value->members) {
    const bool taken = std::any_of(named.begin(), named.end(),
                                   [&](const TableReader::Named& one) { return one.id == member.key; });
    if (!taken) ids.refuse(member.key);
  }
  return named;
}

std::string read_name(TableReader& reader, const std::string& otherwise) {
  return reader.text("name", 100).value_or(otherwise);
}

std::optional<Index> read_reference(TableReader& reader, std::string_view name, const Ids& ids) {
  const Value* value = reader.find(name, ValueKind::text);
  if (value == nullptr) return std::nullopt;
  return ids.refer(reader.report(), value->at, reader.key_of(name), value->text);
}

std::vector<Index> read_references(TableReader& reader, std::string_view name, const Ids& ids) {
  std::vector<Index> indexes;
  for (const TableReader::Item& item : reader.texts(name)) {
    const auto index = ids.refer(reader.report(), item.at, item.key, item.text);
    if (!index) continue;
    if (std::find(indexes.begin(), indexes.end(), *index) != indexes.end()) {
      reader.report().error(item.at, item.key, '"' + item.text + "\" is named twice", "each once");
    } else {
      indexes.push_back(*index);
    }
  }
  return indexes;
}

std::optional<Zone> read_zone(TableReader& reader, std::string_view name) {
  static const std::vector<std::string> names{"hot", "middle", "cool", "hide", "water", "eggs", "room"};
  const auto index = reader.one_of(name, names);
  return index ? zone_from(names[*index]) : std::nullopt;
}

std::optional<Medium> read_medium(TableReader& reader, std::string_view name) {
  static const std::vector<std::string> names{"air", "surface", "substrate", "water", "eggs"};
  const auto index = reader.one_of(name, names);
  return index ? medium_from(names[*index]) : std::nullopt;
}

LightPlan read_lights(TableReader& reader, LightPlan otherwise) {
  const Value* value = reader.find("lights");
  if (value == nullptr) return otherwise;
  LightPlan plan;
  if (value->kind == ValueKind::text && value->text == "none") {
    plan.on_minute = plan.off_minute = 0;
    return plan;
  }
  if (value->kind != ValueKind::table) {
    reader.wrong("lights", std::string("is ") + words_for(value->kind),
                 "a table with on and off, or \"none\"");
    return otherwise;
  }
  TableReader lights(*value, reader.key_of("lights"), reader.report());
  const auto on = lights.minute("on");
  const auto off = lights.minute("off");
  if (!lights.has("on")) lights.missing("on", "a time of day as \"08:00\"");
  if (!lights.has("off")) lights.missing("off", "a time of day as \"20:00\"");
  plan.ramp_min = static_cast<int>(lights.duration_ms("ramp", 0, 6 * hour_ms).value_or(hour_ms) / minute_ms);
  if (on) plan.on_minute = *on;
  if (off) plan.off_minute = *off;
  if (on && off && *on == *off)
    lights.wrong("off", "is the same time as on", "another time, or lights = \"none\"");
  lights.finish();
  return plan;
}

std::optional<UtcMs> read_moment(TableReader& reader, std::string_view name, const ZoneRules& clock) {
  const Value* value = reader.find(name);
  if (value == nullptr) return std::nullopt;
  switch (value->kind) {
    case ValueKind::date:
      return instant_of(clock, value->local_day, 0);
    case ValueKind::local_moment:
      return instant_of(clock, value->local_day, static_cast<int>(value->time_of_day_ms / minute_ms)) +
             value->time_of_day_ms % minute_ms;
    case ValueKind::moment:
      return value->utc;
    default:
      reader.wrong(name, std::string("is ") + words_for(value->kind),
                   "a date without quotes, as 2026-03-01, or a date and time");
      return std::nullopt;
  }
}

std::optional<Span> read_span(TableReader& reader, const ZoneRules& clock) {
  const auto from = read_moment(reader, "from", clock);
  const auto to = read_moment(reader, "to", clock);
  if ((reader.has("from") && !from) || (reader.has("to") && !to)) return std::nullopt;
  Span span;
  if (from) span.from = *from;
  if (to) span.to = *to;
  if (span.from < span.to) return span;
  reader.wrong("to", "is not after from", "a later date");
  return std::nullopt;
}

bool is_secret_name(std::string_view name) {
  static constexpr std::array<std::string_view, 7> parts{"password", "passwd",        "passphrase", "secret",
                                                         "token",    "authorization", "api-key"};
  std::string lower;
  for (const char c : name)
    lower += c == '_' ? '-' : static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return lower == "key" || std::any_of(parts.begin(), parts.end(), [&](std::string_view part) {
           return lower.find(part) != std::string::npos;
         });
}

namespace {

// Says what is wrong with a secret's file without opening it.
void look_at_secret_file(Report& report, Place at, const std::string& key,
                         const std::filesystem::path& file) {
  std::error_code trouble;
  const auto status = std::filesystem::status(file, trouble);
  if (trouble || !std::filesystem::exists(status)) {
    report.error(at, key, "there is no secret file " + file.string());
  } else if (!std::filesystem::is_regular_file(status)) {
    report.error(at, key, file.string() + " is no file");
  } else if ((status.permissions() & std::filesystem::perms::others_read) != std::filesystem::perms::none) {
    report.warn(at, key, "every user of this machine can read the secret file " + file.string(),
                "a file for its owner alone: chmod 600");
  }
}

constexpr const char* secret_forms = "{ file = \"PATH\" } or { credential = \"NAME\" }";

}  // namespace

Secret read_secret(Draft& draft, const Value& value, const std::string& key) {
  Report& report = draft.report;
  if (value.kind != ValueKind::table) {
    report.error(value.at, key, "a secret may not stand in this file", secret_forms);
    return Secret();
  }
  TableReader reader(value, key, report);
  const auto file = reader.text("file", 4096);
  const auto credential = reader.text("credential");
  reader.finish();
  if (file && credential) {
    report.error(value.at, key, "names both a file and a credential", secret_forms);
  } else if (file) {
    const std::filesystem::path path = draft.path_of(*file);
    look_at_secret_file(report, value.at, key, path);
    return Secret(path);
  } else if (credential) {
    if (credential->find('/') != std::string::npos || credential->front() == '.') {
      report.error(value.at, key, "is no name of a credential", "a name without / that begins with no dot");
    } else if (draft.options.credentials_folder.empty()) {
      report.warn(value.at, key,
                  "the credential cannot be looked at here, systemd hands it to the service alone");
      // Reading it here will fail and say so by this name.
      return Secret(std::filesystem::path("$CREDENTIALS_DIRECTORY") / *credential);
    } else {
      const std::filesystem::path path = draft.options.credentials_folder / *credential;
      look_at_secret_file(report, value.at, key, path);
      return Secret(path);
    }
  } else if (!reader.has("file") && !reader.has("credential")) {
    report.error(value.at, key, "names no file and no credential", secret_forms);
  }
  return Secret();
}

namespace {

bool is_secret_form(const Value& value) {
  return value.kind == ValueKind::table && !value.members.empty() &&
         std::all_of(value.members.begin(), value.members.end(),
                     [](const Member& member) { return member.key == "file" || member.key == "credential"; });
}

// user:password@ before the host of a URL.
bool has_user_in_url(const std::string& text) {
  const std::size_t scheme = text.find("://");
  if (scheme == std::string::npos) return false;
  const std::size_t end = text.find_first_of("/?#", scheme + 3);
  const std::size_t at = text.find('@', scheme + 3);
  return at != std::string::npos && at < end;
}

void add_plugin_setting(Draft& draft, const Value& value, const std::string& name, const std::string& key,
                        std::vector<PluginSetting>& settings, int depth) {  // NOLINT(misc-no-recursion)
  Report& report = draft.report;
  PluginSetting setting{name, "", Secret(), {report.file(), value.at.line, value.at.column}};
  if (is_secret_form(value)) {
    setting.secret = read_secret(draft, value, key);
    settings.push_back(std::move(setting));
    return;
  }
  switch (value.kind) {
    case ValueKind::text:
      if (is_secret_name(name)) {
        report.error(value.at, key, "a secret may not stand in this file", secret_forms);
      } else if (has_user_in_url(value.text)) {
        report.error(value.at, key, "a user or password may not stand in an address", "keys of their own");
      } else if (value.text.size() > 10'000) {
        report.error(value.at, key, "is too long", "at most 10000 bytes");
      } else {
        setting.value = value.text;
        settings.push_back(std::move(setting));
      }
      return;
    case ValueKind::integer:
    case ValueKind::real:
      if (is_secret_name(name)) {
        report.error(value.at, key, "a secret may not stand in this file", secret_forms);
      } else {
        setting.value = value.text;
        settings.push_back(std::move(setting));
      }
      return;
    case ValueKind::boolean:
      setting.value = value.boolean ? "true" : "false";
      settings.push_back(std::move(setting));
      return;
    case ValueKind::list:
      for (std::size_t i = 0; i < value.items.size() && depth > 0; ++i)
        add_plugin_setting(draft, value.items[i], name, key + '[' + std::to_string(i + 1) + ']', settings, 0);
      if (depth > 0) return;
      break;
    case ValueKind::table:
      for (const Member& member : value.members) {
        if (depth > 0)
          add_plugin_setting(draft, member.value, name + '.' + member.key, key + '.' + member.key, settings,
                             depth - 1);
      }
      if (depth > 0) return;
      break;
    default:
      break;
  }
  report.error(value.at, key, std::string("is ") + words_for(value.kind) + " that no plugin can be given",
               "a text, a number, true, false, a list or a table of these");
}

}  // namespace

std::vector<PluginSetting> read_plugin_settings(Draft& draft, const Value& table, const std::string& key,
                                                const std::vector<std::string>& own) {
  std::vector<PluginSetting> settings;
  for (const Member& member : table.members) {
    if (std::find(own.begin(), own.end(), member.key) != own.end()) continue;
    add_plugin_setting(draft, member.value, member.key, key + '.' + member.key, settings, 2);
  }
  return settings;
}

}  // namespace baskwell::settings
