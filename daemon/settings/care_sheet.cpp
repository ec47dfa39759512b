#include "settings/care_sheet.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "settings/document.h"

namespace baskwell::settings {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// What a band can be about; power and battery have none.
const std::vector<std::string> band_quantities{"temperature", "humidity", "light"};
const std::vector<std::string> zones{"hot", "middle", "cool", "hide", "water", "eggs", "room"};
const std::vector<std::string> media{"air", "surface", "substrate", "water", "eggs"};

bool is_beyond(const Range& target, const Range& harm) {
  return target.low < harm.low || target.high > harm.high;  // false where a limit is NaN
}

void check_band(const Band& band, const WrittenBand& written, Report& report) {
  if (is_beyond(band.day, band.harm) || is_beyond(band.night, band.harm))
    report.error(written.at, written.key, "the target band reaches beyond the harm limits",
                 "bands inside " + text_of_number(band.harm.low) + " to " + text_of_number(band.harm.high));
}

bool are_figures_possible(const WrittenBand& written, Report& report) {
  const bool temperature = written.band.quantity == Quantity::temperature;
  const bool humidity = written.band.quantity == Quantity::humidity;
  // A band outside these is a slip of the pen or of the unit (86 degF), not a reptile's need.
  const double lowest = temperature ? -20 : 0;
  const double highest = temperature ? 80 : humidity ? 100 : 200'000;
  for (const auto& range : {written.day, written.night, written.harm}) {
    if (!range || (!(range->low < lowest) && !(range->high > highest))) continue;
    report.error(written.at, written.key, "a figure is out of range",
                 text_of_number(lowest) + " to " + text_of_number(highest) +
                     (temperature ? " degC"
                      : humidity  ? " %RH"
                                  : " lux"));
    return false;
  }
  return true;
}

std::optional<Range> read_harm(TableReader& reader) {
  const Value* value = reader.find("harm");
  if (value == nullptr) return std::nullopt;
  if (value->kind == ValueKind::text && value->text == "none") return Range{nan, nan};
  if (value->kind == ValueKind::text) {
    reader.wrong("harm", "is a text", "[low, high], or \"none\"");
    return std::nullopt;
  }
  return reader.range("harm");
}

WrittenBand read_band(TableReader& reader, Zone zone, Quantity quantity) {
  WrittenBand written{{zone, quantity, std::nullopt, {nan, nan}, {nan, nan}, {nan, nan}, ""},
                      std::nullopt,
                      std::nullopt,
                      std::nullopt,
                      reader.place(),
                      reader.key()};
  if (const auto medium = reader.one_of("medium", media)) written.band.medium = medium_from(media[*medium]);
  written.day = reader.range("day");
  written.night = reader.range("night");
  written.harm = read_harm(reader);
  written.band.source = reader.text("source", 1000).value_or("");
  const std::string evidence = reader.text("evidence", 1000).value_or("");
  if (!evidence.empty()) written.band.source += (written.band.source.empty() ? "" : "; ") + evidence;
  reader.finish();
  const auto is_wrong = [&](std::string_view name, const std::optional<Range>& range) {
    return reader.has(name) && !range;
  };
  const bool readable = !is_wrong("day", written.day) && !is_wrong("night", written.night) &&
                        !is_wrong("harm", written.harm) &&
                        (!reader.has("medium") || written.band.medium.has_value());
  written.sound = are_figures_possible(written, reader.report()) && readable;
  return written;
}

void read_zone_bands(TableReader& of_zone, Zone zone, std::vector<WrittenBand>& all) {
  for (const std::string& name : band_quantities) {
    for (TableReader& reader : of_zone.tables(name)) {
      const WrittenBand written = read_band(reader, zone, *quantity_from(name));
      const bool twice = std::any_of(all.begin(), all.end(), [&](const WrittenBand& other) {
        return written.sound && other.sound && other.band.zone == zone &&
               other.band.quantity == written.band.quantity && other.band.medium == written.band.medium;
      });
      if (twice) {
        reader.report().error(written.at, written.key, "there is a band for this medium already",
                              "another medium");
      } else {
        all.push_back(written);
      }
    }
  }
  of_zone.finish();
}

}  // namespace

std::vector<WrittenBand> read_written_bands(TableReader& reader, std::string_view name) {
  std::vector<WrittenBand> all;
  auto bands = reader.table(name);
  if (!bands) return all;
  for (const std::string& zone_name : zones) {
    const Zone zone = *zone_from(zone_name);
    if (zone == Zone::room) continue;  // the room's own air has its own place: room.air
    if (auto of_zone = bands->table(zone_name)) read_zone_bands(*of_zone, zone, all);
  }
  bands->finish();
  return all;
}

std::vector<WrittenBand> read_air_bands(TableReader& air) {
  std::vector<WrittenBand> all;
  read_zone_bands(air, Zone::room, all);
  return all;
}

std::vector<Band> whole_bands(const std::vector<WrittenBand>& written, Report& report) {
  std::vector<Band> bands;
  for (const WrittenBand& one : written) {
    if (!one.sound) continue;
    if (!one.day) report.error(one.at, one.key + ".day", "is missing", "[low, high]");
    // A harm limit goes only by the keeper's word, never by being forgotten.
    if (!one.harm) report.error(one.at, one.key + ".harm", "is missing", "[low, high], or \"none\"");
    if (!one.day || !one.harm) continue;
    Band band = one.band;
    band.day = *one.day;
    band.night = one.night.value_or(*one.day);
    band.harm = *one.harm;
    check_band(band, one, report);
    bands.push_back(std::move(band));
  }
  return bands;
}

std::vector<Band> bands_with_overrides(const std::vector<Band>& sheet, const std::vector<WrittenBand>& own,
                                       Report& report) {
  std::vector<Band> bands = sheet;
  for (const WrittenBand& one : own) {
    if (!one.sound) continue;
    bool found = false;
    for (Band& band : bands) {
      if (band.zone != one.band.zone || band.quantity != one.band.quantity) continue;
      // Without a medium the keeper means whatever the sheet speaks of there.
      if (one.band.medium && band.medium != one.band.medium) continue;
      found = true;
      if (one.day) band.day = *one.day;
      if (one.night) band.night = *one.night;
      if (one.harm) band.harm = *one.harm;
      band.source = one.band.source.empty() ? "the keeper's own figure" : one.band.source;
      check_band(band, one, report);
    }
    if (found) continue;
    for (Band& band : whole_bands({one}, report)) bands.push_back(std::move(band));
  }
  return bands;
}

void CareSheets::look_in(const std::filesystem::path& folder) {
  std::error_code trouble;
  std::filesystem::directory_iterator entry(folder, trouble);
  for (; !trouble && entry != std::filesystem::directory_iterator(); entry.increment(trouble)) {
    const std::filesystem::path& path = entry->path();
    const std::string name = path.stem().string();
    if (path.extension() != ".toml" || !is_id(name)) continue;
    if (files_.emplace(name, path).second) names_.push_back(name);
  }
  std::sort(names_.begin(), names_.end());
}

namespace {

LifeStage read_stage(TableReader& reader, const std::string& name) {
  LifeStage stage;
  stage.name = name;
  if (const auto hours = reader.range("photoperiod_h")) {
    stage.photoperiod_h = {hours->low, hours->high};
    if (!(hours->low >= 0 && hours->high <= 24))
      reader.wrong("photoperiod_h", "is out of range", "0 to 24 hours");
  }
  reader.text("uv_zone");     // for people; judged when there are UV probes
  reader.text("note", 1000);  // for people
  const std::vector<WrittenBand> written = read_written_bands(reader, "bands");
  if (written.empty()) reader.missing("bands");
  stage.bands = whole_bands(written, reader.report());
  for (const Band& band : stage.bands) {
    if (band.source.empty())
      reader.wrong("bands", "a band has no source",
                   "`source` in every band, also \"common practice, no source\"");
  }
  reader.finish();
  return stage;
}

CareSheet read_sheet(TableReader& reader, const std::string& species) {
  CareSheet sheet;
  sheet.species = reader.text("species").value_or("");
  if (sheet.species != species) reader.wrong("species", "is not the file's name", '"' + species + '"');
  sheet.common_name = reader.text("common_name").value_or("");
  if (!reader.has("common_name")) reader.missing("common_name");
  sheet.latin_name = reader.text("latin_name").value_or("");
  reader.texts("other_names");
  for (const TableReader::Named& named : reader.named_tables("stages")) {
    TableReader stage(*named.table, named.key, reader.report());
    sheet.stages.push_back(read_stage(stage, named.id));
  }
  if (sheet.stages.empty()) reader.missing("stages", "stages.adult and others");
  reader.finish();
  return sheet;
}

}  // namespace

const CareSheet* CareSheets::find(const std::string& species) {
  const auto known = read_.find(species);
  if (known != read_.end()) return known->second ? &*known->second : nullptr;
  const auto file = files_.find(species);
  if (file == files_.end()) return nullptr;

  std::optional<CareSheet>& sheet = read_[species];
  const std::string shown = file->second.lexically_normal().string();
  Result<std::string> text = read_file(file->second);
  if (!text) {
    findings_->push_back(about_file(shown, true, text.error().text));
    return nullptr;
  }
  std::vector<Finding> mistakes;
  if (const auto document = parse_document(text.value(), shown, mistakes)) {
    Report report(shown, mistakes);
    TableReader reader(*document, "", report);
    sheet = read_sheet(reader, species);
  }
  texts_.push_back({file->second, std::move(text).value()});
  if (has_errors(mistakes)) sheet.reset();
  findings_->insert(findings_->end(), mistakes.begin(), mistakes.end());
  return sheet ? &*sheet : nullptr;
}

}  // namespace baskwell::settings
