#include "settings/clock_zone.h"

#include <date/tz.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>

#include "settings/zone_tail.h"

namespace baskwell::settings {
namespace {

using date::sys_seconds;
using std::chrono::seconds;

// Fixed, so that the same settings always give the same rules, whatever the clock says.
const sys_seconds first_moment = date::sys_days{date::year{2000} / 1 / 1};
const sys_seconds last_moment = date::sys_days{date::year{2100} / 1 / 1};

UtcMs utc_of(sys_seconds at) {
  return UtcMs{std::chrono::duration_cast<std::chrono::milliseconds>(at.time_since_epoch()).count()};
}

// The last line of a zone file; the zone library does not read it.
std::string footer_of(const std::string& name) {
  for (const char* folder : {"/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/usr/lib/zoneinfo"}) {
    std::ifstream stream(std::filesystem::path(folder) / name, std::ios::binary);
    if (!stream) continue;
    std::string bytes{std::istreambuf_iterator<char>(stream), {}};
    if (bytes.size() < 2 || bytes.compare(0, 4, "TZif") != 0 || bytes.back() != '\n') return "";
    bytes.pop_back();
    const std::size_t before = bytes.rfind('\n');
    return before == std::string::npos ? "" : bytes.substr(before + 1);
  }
  return "";
}

void add_change(ZoneRules& rules, UtcMs from, seconds offset) {
  const auto offset_s = static_cast<std::int32_t>(offset.count());
  // A change of name or of what counts as summer time alone does not move the wall clock.
  if (!rules.changes.empty() && rules.changes.back().offset_s == offset_s) return;
  rules.changes.push_back({from, offset_s});
}

// What the file lists, as far as it lists it.
void add_listed(ZoneRules& rules, const date::time_zone& zone) {
  sys_seconds at = first_moment;
  while (at < last_moment) {
    const date::sys_info info = zone.get_info(at);
    add_change(rules, utc_of(at), info.offset);
    if (info.end <= at) return;
    at = info.end;
  }
}

void add_by_rule(ZoneRules& rules, const std::string& rule) {
  const UtcMs last_listed = rules.changes.back().from;
  const int first_year = civil_from_days(last_listed.ms / day_ms).year;
  const auto changes = changes_by_rule(rule, first_year, 2099);
  if (!changes) return;
  for (const ZoneRules::Change& change : *changes) {
    if (change.from > last_listed) add_change(rules, change.from, seconds(change.offset_s));
  }
}

}  // namespace

std::optional<ZoneRules> zone_rules_for(const std::string& name) {
  try {
    const date::time_zone* zone = date::locate_zone(name);
    ZoneRules rules;
    add_listed(rules, *zone);
    if (rules.changes.empty()) return std::nullopt;
    add_by_rule(rules, footer_of(name));
    return rules;
  } catch (
      const std::exception&) {  // not in the database, or a damaged one: nothing is known under this name
    return std::nullopt;
  }
}

std::vector<std::string> zone_names() {
  std::vector<std::string> names;
  try {
    for (const date::time_zone& zone : date::get_tzdb().zones) names.emplace_back(zone.name());
  } catch (const std::exception&) {  // no database at all: no names
    names.clear();
  }
  return names;
}

}  // namespace baskwell::settings
