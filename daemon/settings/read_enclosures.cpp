// [enclosures.ID], [racks.ID] and the tubs that a rack makes.

#include <array>
#include <string>

#include "settings/draft.h"
#include "settings/topic.h"

namespace baskwell::settings {
namespace {

constexpr std::int64_t most_tubs = 200;

std::array<double, 3> read_size_cm(TableReader& reader) {
  constexpr const char* allowed = "[width, depth, height] of 1 to 2000 cm each";
  const Value* value = reader.find("size_cm", ValueKind::list);
  if (value == nullptr) return {};
  std::array<double, 3> size_cm{};
  bool good = value->items.size() == 3;
  for (std::size_t i = 0; good && i < 3; ++i) {
    const Value& item = value->items[i];
    size_cm[i] = item.real;
    good = (item.kind == ValueKind::integer || item.kind == ValueKind::real) && item.real >= 1 &&
           item.real <= 2000;
  }
  if (good) return size_cm;
  reader.wrong("size_cm", "is no size", allowed);
  return {};
}

// What an enclosure and a rack (for all of its tubs) can say alike.
Enclosure read_build(Draft& draft, TableReader& reader) {
  Enclosure enclosure;
  enclosure.size_cm = read_size_cm(reader);
  enclosure.hides = static_cast<int>(reader.integer("hides", 0, 100).value_or(0));
  enclosure.material = reader.text("material", 100).value_or("");
  enclosure.lights = read_lights(reader, draft.lights);
  enclosure.overrides = whole_bands(read_written_bands(reader, "bands"), draft.report);
  for (Band& band : enclosure.overrides) {
    if (band.source.empty()) band.source = "the keeper's own figure";
  }
  return enclosure;
}

bool add_enclosure(Draft& draft, Place at, const std::string& key, Enclosure enclosure) {
  // `room` is how readings name the room's own air.
  if (enclosure.id == "room") {
    draft.report.error(at, key, "\"room\" is the room's own air", "another id");
    draft.enclosures.refuse(enclosure.id);
    return false;
  }
  if (!draft.enclosures.add(draft.report, at, key, enclosure.id)) return false;
  draft.settings.room.enclosures.push_back(std::move(enclosure));
  draft.enclosure_origins.push_back({at, key});
  return true;
}

void read_rack(Draft& draft, const TableReader::Named& named) {
  TableReader reader(*named.table, named.key, draft.report);
  if (!draft.racks.add(draft.report, named.at, named.key, named.id)) return;
  Room& room = draft.settings.room;
  const auto index = static_cast<Index>(room.racks.size());
  room.racks.push_back({named.id, read_name(reader, named.id), {}});
  draft.rack_drafts.push_back({named, index});

  const auto tubs = reader.integer("tubs", 1, most_tubs);
  if (!reader.has("tubs")) reader.missing("tubs", "how many tubs it has, 1 to " + std::to_string(most_tubs));
  if (!tubs) draft.enclosures.refuse_beginning(named.id + '-');
  Enclosure build = read_build(draft, reader);
  const std::string tub_name = reader.text("tub_name", 100).value_or(room.racks[index].name + " tub {tub}");
  build.rack = index;
  for (std::int64_t tub = 1; tubs && tub <= *tubs; ++tub) {
    Enclosure enclosure = build;
    enclosure.id = named.id + '-' + std::to_string(tub);
    enclosure.name = replaced(tub_name, "{tub}", std::to_string(tub));
    const auto place = static_cast<Index>(room.enclosures.size());
    if (!add_enclosure(draft, named.at, named.key, std::move(enclosure))) {
      draft.enclosures.refuse_beginning(named.id + '-');
      break;
    }
    room.racks[index].tubs.push_back(place);
  }
  reader.find("animals");  // read with the animals
  reader.find("probes");   // read with the instruments
  reader.finish();
}

}  // namespace

void read_enclosures(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "enclosures", draft.enclosures)) {
    TableReader reader(*named.table, named.key, draft.report);
    Enclosure enclosure = read_build(draft, reader);
    enclosure.id = named.id;
    enclosure.name = read_name(reader, named.id);
    reader.find("probes");  // read with the instruments
    reader.finish();
    if (add_enclosure(draft, named.at, named.key, std::move(enclosure)))
      draft.enclosure_tables.push_back(named);
  }
}

void read_racks(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "racks", draft.racks))
    read_rack(draft, named);
}

}  // namespace baskwell::settings
