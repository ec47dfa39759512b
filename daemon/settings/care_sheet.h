#pragma once
// Care sheets: one TOML file a species, with target bands and harm limits for each life stage, zone, quantity
// and medium, each with its source. The same form of bands serves the keeper's overrides. Temperatures in
// degC, humidity in %RH. Sheets are looked for in folders and read when an animal asks for one.

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "core/room.h"
#include "settings/report.h"
#include "settings/settings.h"
#include "settings/table_reader.h"

namespace baskwell::settings {

// A band as written: what is not told is not there. Where `sound` is false a figure is wrong and reported,
// and nothing more is asked of the band.
struct WrittenBand {
  Band band;  // zone, quantity, medium, source
  std::optional<Range> day;
  std::optional<Range> night;
  std::optional<Range> harm;
  Place at;
  std::string key;
  bool sound = true;
};

// The bands under `name`: NAME.ZONE.QUANTITY = { day, night, harm, medium, source, evidence }, or a list of
// such.
[[nodiscard]] std::vector<WrittenBand> read_written_bands(TableReader& reader, std::string_view name);
// The bands of the room's own air: the members of `air` by quantity.
[[nodiscard]] std::vector<WrittenBand> read_air_bands(TableReader& air);
// Bands that must stand alone: `day` and `harm` are needed, `night` is as `day` where it is not told.
[[nodiscard]] std::vector<Band> whole_bands(const std::vector<WrittenBand>& written, Report& report);
// A sheet's bands with an animal's own figures over them, figure by figure.
[[nodiscard]] std::vector<Band> bands_with_overrides(const std::vector<Band>& sheet,
                                                     const std::vector<WrittenBand>& own, Report& report);

struct LifeStage {
  std::string name;
  std::vector<double> photoperiod_h;  // lowest and highest; empty: not told
  std::vector<Band> bands;
};

struct CareSheet {
  std::string species;  // id, as the file is called
  std::string common_name;
  std::string latin_name;
  std::vector<LifeStage> stages;
};

class CareSheets {
 public:
  // Folders are searched in their order; a sheet in an earlier one hides its namesake in a later one.
  explicit CareSheets(std::vector<Finding>& findings) : findings_(&findings) {}
  void look_in(const std::filesystem::path& folder);

  [[nodiscard]] const std::vector<std::string>& species() const { return names_; }
  // The sheet; nothing when there is none of that name or it cannot be used (then its mistakes are reported).
  [[nodiscard]] const CareSheet* find(const std::string& species);
  [[nodiscard]] bool has(const std::string& species) const { return files_.count(species) != 0; }
  // The sheets read so far.
  [[nodiscard]] const std::vector<FileText>& texts() const { return texts_; }

 private:
  std::vector<Finding>* findings_;
  std::vector<std::string> names_;  // sorted
  std::map<std::string, std::filesystem::path> files_;
  std::map<std::string, std::optional<CareSheet>> read_;
  std::vector<FileText> texts_;
};

}  // namespace baskwell::settings
