// [animals.ID] and the animals of racks: what they need by their care sheets, and where they live when.

#include <algorithm>

#include "settings/draft.h"
#include "settings/near_name.h"
#include "settings/topic.h"

namespace baskwell::settings {
namespace {

// Fills what the care sheet says; false, and reported, when there is no such sheet or stage.
bool apply_sheet(Draft& draft, TableReader& reader, Animal& animal, AnimalOrigin& origin) {
  const auto species = reader.text("species");
  if (!reader.has("species")) reader.missing("species", joined(draft.sheets.species()));
  if (!species) return false;
  animal.species = *species;
  animal.species_name = *species;
  if (!draft.sheets.has(*species)) {
    // Where a folder of sheets is missing, that is the mistake.
    if (!draft.report.has_error_at("care"))
      reader.wrong("species", "there is no care sheet \"" + *species + '"', joined(draft.sheets.species()),
                   nearest_name(*species, draft.sheets.species()));
    return false;
  }
  const CareSheet* sheet = draft.sheets.find(*species);
  if (sheet == nullptr) return false;  // its own mistakes are reported
  animal.species_name = sheet->common_name;
  std::vector<std::string> stages;
  for (const LifeStage& stage : sheet->stages) {
    stages.push_back(stage.name);
    if (stage.name != animal.life_stage) continue;
    animal.bands = stage.bands;
    origin.photoperiod_h = stage.photoperiod_h;
    return true;
  }
  reader.wrong("life_stage", "the care sheet " + *species + " has no life stage \"" + animal.life_stage + '"',
               joined(stages), nearest_name(animal.life_stage, stages));
  return false;
}

Animal read_what_it_is(Draft& draft, TableReader& reader, const std::string& id, AnimalOrigin& origin) {
  Animal animal;
  animal.id = id;
  animal.name = read_name(reader, id);
  const auto stage = reader.text("life_stage");
  animal.life_stage = stage.value_or("adult");
  const bool has_sheet =
      apply_sheet(draft, reader, animal, origin) && (stage.has_value() || !reader.has("life_stage"));
  static const std::vector<std::string> sexes{"male", "female", "unknown"};
  if (const auto sex = reader.one_of("sex", sexes)) animal.sex = *sex == 2 ? "" : sexes[*sex];
  if (const Value* hatched = reader.find("hatched")) {
    if (hatched->kind == ValueKind::date) {
      animal.hatched_day = hatched->local_day;
    } else {
      reader.wrong("hatched", std::string("is ") + words_for(hatched->kind),
                   "a date without quotes, as 2021-06-14");
    }
  }
  animal.count = static_cast<int>(reader.integer("count", 1, 10'000).value_or(1));
  const std::vector<WrittenBand> own = read_written_bands(reader, "bands");
  // Over no sheet, figures that need one beside them cannot be judged.
  if (has_sheet) animal.bands = bands_with_overrides(animal.bands, own, draft.report);
  return animal;
}

struct Stay {
  Occupancy occupancy;
  Place at;
  std::string key;
};

void check_overlaps(Draft& draft, const std::vector<Stay>& stays) {
  for (std::size_t i = 0; i < stays.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const Span& a = stays[i].occupancy.span;
      const Span& b = stays[j].occupancy.span;
      if (!(a.from < b.to && b.from < a.to)) continue;
      draft.report.error(stays[i].at, stays[i].key, "overlaps " + stays[j].key, "one enclosure at a time");
      break;
    }
  }
}

void read_occupancy(Draft& draft, TableReader& reader, Index animal) {
  std::vector<Occupancy>& all = draft.settings.room.occupancies;
  const auto enclosure = read_reference(reader, "enclosure", draft.enclosures);
  if (enclosure) all.push_back({animal, *enclosure, Span{}});
  std::vector<Stay> stays;
  for (TableReader& stay : reader.tables("occupancy")) {
    const auto where = read_reference(stay, "enclosure", draft.enclosures);
    if (!stay.has("enclosure")) stay.missing("enclosure", joined(draft.enclosures.names()));
    const auto span = read_span(stay, draft.settings.room.clock);
    stay.finish();
    if (span) stays.push_back({{animal, where.value_or(none), *span}, stay.place(), stay.key()});
  }
  if (reader.has("enclosure") && reader.has("occupancy"))
    reader.wrong("occupancy", "says where it lives a second time", "either enclosure or occupancy");
  check_overlaps(draft, stays);
  for (const Stay& stay : stays) {
    if (stay.occupancy.enclosure != none) all.push_back(stay.occupancy);
  }
  if (!reader.has("enclosure") && !reader.has("occupancy"))
    draft.report.warn(reader.place(), reader.key(), "lives in no enclosure, its bands are watched nowhere",
                      "enclosure or occupancy");
}

std::optional<Index> add_animal(Draft& draft, Animal animal, AnimalOrigin origin) {
  if (!draft.animals.add(draft.report, origin.origin.at, origin.origin.key, animal.id)) return std::nullopt;
  draft.settings.room.animals.push_back(std::move(animal));
  draft.animal_origins.push_back(std::move(origin));
  return static_cast<Index>(draft.settings.room.animals.size() - 1);
}

// One animal (or group) a tub, all alike: `animals = { species = ..., name = "Flax {tub}", tubs = [1, 2] }`.
void read_rack_animals(Draft& draft, const RackDraft& rack_draft) {
  TableReader reader(*rack_draft.named.table, rack_draft.named.key, draft.report);
  const Rack& rack = draft.settings.room.racks[rack_draft.rack];
  if (rack.tubs.empty()) return;  // reported where the rack was read
  std::vector<bool> taken(rack.tubs.size(), false);
  for (TableReader& animals : reader.tables("animals")) {
    const std::vector<std::size_t> tubs = read_tubs(animals, "tubs", rack.tubs.size());
    const std::string name = animals.text("name", 100).value_or("");
    AnimalOrigin origin{{animals.place(), animals.key()}, {}};
    const Animal kind = read_what_it_is(draft, animals, "", origin);
    animals.finish();
    for (const std::size_t tub : tubs) {
      if (taken[tub - 1]) {
        animals.wrong("tubs", "tub " + std::to_string(tub) + " has its animal already", "each tub once");
        continue;
      }
      taken[tub - 1] = true;
      Animal animal = kind;
      const Enclosure& enclosure = draft.settings.room.enclosures[rack.tubs[tub - 1]];
      animal.id = enclosure.id + "-animal";
      animal.name = name.empty() ? kind.species_name : replaced(name, "{tub}", std::to_string(tub));
      const auto index = add_animal(draft, std::move(animal), origin);
      if (index) draft.settings.room.occupancies.push_back({*index, rack.tubs[tub - 1], Span{}});
    }
  }
}

}  // namespace

std::vector<std::size_t> read_tubs(TableReader& reader, std::string_view name, std::size_t tub_count) {
  std::vector<std::size_t> tubs;
  const Value* value = reader.find(name, ValueKind::list);
  if (value == nullptr) {
    for (std::size_t tub = 1; tub <= tub_count && !reader.has(name); ++tub) tubs.push_back(tub);
    return tubs;
  }
  for (std::size_t i = 0; i < value->items.size(); ++i) {
    const Value& item = value->items[i];
    const std::string key = reader.key_of(name) + '[' + std::to_string(i + 1) + ']';
    if (item.kind != ValueKind::integer || item.integer < 1 ||
        item.integer > static_cast<std::int64_t>(tub_count)) {
      reader.report().error(item.at, key, "is no tub of this rack", "1 to " + std::to_string(tub_count));
    } else if (std::find(tubs.begin(), tubs.end(), static_cast<std::size_t>(item.integer)) != tubs.end()) {
      reader.report().error(item.at, key, "is named twice", "each tub once");
    } else {
      tubs.push_back(static_cast<std::size_t>(item.integer));
    }
  }
  return tubs;
}

void read_animals(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "animals", draft.animals)) {
    TableReader reader(*named.table, named.key, draft.report);
    AnimalOrigin origin{{named.at, named.key}, {}};
    Animal animal = read_what_it_is(draft, reader, named.id, origin);
    const auto index = add_animal(draft, std::move(animal), std::move(origin));
    if (index) read_occupancy(draft, reader, *index);
    reader.finish();
  }
  for (const RackDraft& rack : draft.rack_drafts) read_rack_animals(draft, rack);
}

}  // namespace baskwell::settings
