#include "settings/settings.h"

#include <algorithm>
#include <exception>
#include <tuple>

#include "settings/document.h"
#include "settings/draft.h"

namespace baskwell {
namespace {

using settings::CareSheets;
using settings::Draft;
using settings::Report;
using settings::TableReader;
using settings::Value;

// More than this helps nobody, and bounds what a broken file can make us print.
constexpr std::size_t most_findings = 1000;

// [care] folders, or `care` beside the file, or the installed sheets.
void find_care_sheets(TableReader& root, const std::filesystem::path& folder, const LoadOptions& options,
                      CareSheets& sheets) {
  std::error_code trouble;
  if (auto care = root.table("care")) {
    for (const TableReader::Item& item : care->texts("folders")) {
      const std::filesystem::path path = folder / item.text;
      if (item.text.empty() || !std::filesystem::is_directory(path, trouble)) {
        root.report().error(item.at, item.key, "there is no folder " + path.string(),
                            "a folder of care sheets");
      } else {
        sheets.look_in(path);
      }
    }
    care->finish();
    if (care->has("folders")) return;
  }
  const std::filesystem::path beside = folder / "care";
  sheets.look_in(std::filesystem::is_directory(beside, trouble) ? beside : options.installed_care);
}

// Whether a misspelt key, `root`, is what `finding` misses: in the same table, with that key as the nearest
// known, be it in the plural.
bool is_missed_by(const Finding& finding, const Finding& root) {
  if (root.what != settings::unknown_key || root.nearest.empty() || root.at.file != finding.at.file)
    return false;
  const std::size_t dot = root.key.rfind('.');
  const std::string table = dot == std::string::npos ? "" : root.key.substr(0, dot);
  if (!finding.error) return finding.key == table && finding.allowed.find(root.nearest) != std::string::npos;
  const std::string near = (table.empty() ? "" : table + '.') + root.nearest;
  return finding.what == settings::is_missing &&
         (finding.key == near || finding.key + 's' == near || finding.key == near + 's');
}

// A key that is missing because it is misspelt is one mistake.
void drop_follow_ons(std::vector<Finding>& findings) {
  const std::vector<Finding> all = findings;
  const auto follows = [&](const Finding& finding) {
    return std::any_of(all.begin(), all.end(),
                       [&](const Finding& root) { return is_missed_by(finding, root); });
  };
  findings.erase(std::remove_if(findings.begin(), findings.end(), follows), findings.end());
}

// By file (the settings file first), line and column; each once, for a rack's tubs share one line.
void put_in_order(std::vector<Finding>& findings, const std::string& first_file) {
  const auto order = [&](const Finding& one) {
    return std::make_tuple(one.at.file != first_file, one.at.file, one.at.line, one.at.column);
  };
  std::stable_sort(findings.begin(), findings.end(),
                   [&](const Finding& a, const Finding& b) { return order(a) < order(b); });
  std::vector<Finding> kept;
  for (Finding& finding : findings) {
    const bool known = std::any_of(kept.rbegin(), kept.rend(), [&](const Finding& other) {
      return other.at.line == finding.at.line && other.at.column == finding.at.column &&
             other.at.file == finding.at.file && other.key == finding.key && other.what == finding.what;
    });
    if (known) continue;
    if (kept.size() == most_findings) {
      // Whatever is cut off, the answer stays the same: errors stay errors.
      kept.push_back(about_file(first_file, has_errors(findings), "more findings are left out"));
      break;
    }
    kept.push_back(std::move(finding));
  }
  findings = std::move(kept);
}

void read_all(Draft& draft, TableReader& root) {
  using namespace settings;
  read_place(draft, root);
  read_broker(draft, root);
  read_service(draft, root);
  read_channels(draft, root);
  read_people(draft, root);
  read_alarms(draft, root);
  read_enclosures(draft, root);
  read_racks(draft, root);
  read_animals(draft, root);
  read_heating(draft, root);
  read_instruments(draft, root);
  root.finish();
  check_topics(draft);
  find_doubts(draft, root);
}

void load(const std::filesystem::path& file, const LoadOptions& options, LoadOutcome& outcome) {
  const std::string shown = file.string();
  Result<std::string> text = settings::read_file(file);
  if (!text) {
    outcome.findings.push_back(about_file(shown, true, text.error().text));
    return;
  }
  const std::optional<Value> document = settings::parse_document(text.value(), shown, outcome.findings);
  if (!document) return;
  Report report(shown, outcome.findings);
  TableReader root(*document, "", report);
  CareSheets sheets(outcome.findings);
  Draft draft(report, file, options, sheets);
  find_care_sheets(root, draft.folder, options, sheets);
  read_all(draft, root);
  drop_follow_ons(outcome.findings);
  put_in_order(outcome.findings, shown);
  if (has_errors(outcome.findings)) return;
  draft.settings.files.push_back({file, std::move(text).value()});
  for (const FileText& sheet : sheets.texts()) draft.settings.files.push_back(sheet);
  outcome.settings = std::move(draft.settings);
}

}  // namespace

LoadOutcome load_settings(const std::filesystem::path& file, const LoadOptions& options) {
  LoadOutcome outcome;
  try {
    load(file, options, outcome);
  } catch (const std::exception& trouble) {  // out of memory, a damaged tz database, a path that is no path
    outcome.settings.reset();
    outcome.findings.push_back(
        about_file(file.string(), true, std::string("cannot be read: ") + trouble.what()));
  }
  return outcome;
}

}  // namespace baskwell
