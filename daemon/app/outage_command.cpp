#include "app/outage_command.h"

#include <algorithm>
#include <cstddef>
#include <vector>

#include "core/heat/outage_words.h"
#include "store/reader.h"

namespace baskwell {
namespace {

constexpr std::size_t most_listed = 100;

std::string text_of(const std::vector<OutageRecord>& outages, const OutageOptions& options,
                    const Room& room) {
  const bool one = options.last || !options.id.empty();
  if (outages.empty()) return "no outage is on record\n";
  std::string text;
  for (const OutageRecord& outage : outages)
    text += one ? outage_check(outage, room, options.now) : outage_line(outage, room, options.now) + "\n";
  return text;
}

std::string json_of(const std::vector<OutageRecord>& outages, const Room& room) {
  std::string text = "[";
  for (const OutageRecord& outage : outages) text += (text.size() > 1 ? "," : "") + outage_json(outage, room);
  return text + "]\n";
}

}  // namespace

Result<std::string> outage_command(const OutageOptions& options) {
  LoadOutcome loaded = load_settings(options.settings_file, options.load);
  if (!loaded.settings) {
    return Error{options.settings_file.string() +
                 " has mistakes (baskwell check shows them): it says where the store is"};
  }
  const Settings& settings = *loaded.settings;
  auto reader = store::StoreReader::open(settings.store.path.string());
  if (!reader) return reader.error();
  auto outages = reader.value().outages(options.id, options.last ? 1 : most_listed);
  if (!outages) return outages.error();
  if (outages.value().empty() && !options.id.empty())
    return Error{"no outage is called '" + options.id + "': `baskwell outage` lists them"};
  return options.as_json ? json_of(outages.value(), settings.room)
                         : text_of(outages.value(), options, settings.room);
}

}  // namespace baskwell
