// The core is pure: what it may include is written down here, and nothing else may come in.

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <string>

namespace baskwell {
namespace {

namespace fs = std::filesystem;

// Of the standard library what reads no clock, file, thread, locale or chance. <cstdio> and <cstdlib> only
// where CHECK ends the process; <chrono> only for its calendar.
const std::set<std::string> pure{
    "algorithm", "array",   "bit",         "charconv",     "cmath",      "compare",          "concepts",
    "cstddef",   "cstdint", "cstring",     "deque",        "functional", "initializer_list", "iterator",
    "limits",    "map",     "memory",      "numbers",      "numeric",    "optional",         "set",
    "span",      "string",  "string_view", "system_error", "tuple",      "type_traits",      "unordered_map",
    "utility",   "variant", "vector"};

TEST(Core, IncludesNothingThatIsNotPure) {
  int files = 0;
  const std::regex include(R"(^\s*#include\s+([<"])([^>"]+)[>"])");
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(BASKWELL_SOURCE_DIR) / "daemon/core")) {
    if (entry.path().extension() != ".h" && entry.path().extension() != ".cpp") continue;
    ++files;
    std::ifstream file(entry.path());
    for (std::string line; std::getline(file, line);) {
      std::smatch match;
      if (!std::regex_search(line, match, include)) continue;
      const std::string name = match[2];
      if (match[1] == "\"") {
        EXPECT_TRUE(name.starts_with("core/")) << entry.path() << " includes " << name;
        continue;
      }
      const bool ends_process =
          entry.path().filename() == "check.cpp" && (name == "cstdio" || name == "cstdlib");
      const bool calendar = entry.path().filename() == "zone_rules.cpp" && name == "chrono";
      EXPECT_TRUE(pure.contains(name) || ends_process || calendar)
          << entry.path() << " includes <" << name << ">";
    }
  }
  EXPECT_GT(files, 20);
}

TEST(Sources, SqlLivesInTheStoreAlone) {
  const std::regex sql(R"(\b(INSERT INTO|SELECT .* FROM|PRAGMA )\b)");
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(BASKWELL_SOURCE_DIR) / "daemon")) {
    const std::string path = entry.path().string();
    if (entry.path().extension() != ".cpp" || path.find("/store/") != std::string::npos) continue;
    std::ifstream file(entry.path());
    for (std::string line; std::getline(file, line);)
      EXPECT_FALSE(std::regex_search(line, sql)) << path << ": " << line;
  }
}

}  // namespace
}  // namespace baskwell
