#pragma once
// Tables of tests/reference (lines of '#' tell the source; then a line of names; then rows), and the random
// numbers of Monte Carlo tests.

#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <map>
#include <random>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

namespace baskwell::test {

class TableRow {
 public:
  explicit TableRow(std::map<std::string, std::string> cells) : cells_(std::move(cells)) {}
  [[nodiscard]] const std::string& text(const std::string& column) const { return cells_.at(column); }
  [[nodiscard]] double operator[](const std::string& column) const { return std::stod(text(column)); }
  [[nodiscard]] bool has(const std::string& column) const { return !text(column).empty(); }

 private:
  std::map<std::string, std::string> cells_;
};

inline std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells;
  std::stringstream rest(line);
  for (std::string cell; std::getline(rest, cell, ',');) {
    cells.push_back(cell);
  }
  if (line.empty() || line.back() == ',') {
    cells.emplace_back();
  }
  return cells;
}

inline std::vector<TableRow> read_table(const std::string& path) {
  std::ifstream file(path);
  std::vector<std::string> names;
  std::vector<TableRow> rows;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("#")) {
      continue;
    }
    const std::vector<std::string> cells = cells_of(line);
    if (names.empty()) {
      names = cells;
      continue;
    }
    if (cells.size() != names.size()) {
      throw std::runtime_error(path + ": a row of another width: " + line);
    }
    std::map<std::string, std::string> row;
    for (std::size_t i = 0; i < names.size(); ++i) {
      row[names[i]] = cells[i];
    }
    rows.emplace_back(row);
  }
  if (rows.empty()) {
    throw std::runtime_error(path + ": no rows");
  }
  return rows;
}
inline std::vector<TableRow> reference_table(const std::string& name) {
  return read_table(std::string(BASKWELL_REFERENCE_DIR) + "/" + name);
}

inline std::vector<double> column(const std::vector<TableRow>& table, const std::string& name) {
  std::vector<double> values;
  values.reserve(table.size());
  for (const TableRow& row : table) {
    values.push_back(row[name]);
  }
  return values;
}

// Fixed, so that a bound of so many deviations either always holds or never; BASKWELL_SEED=number tries
// another.
inline std::uint64_t monte_carlo_seed() {
  const char* given = std::getenv("BASKWELL_SEED");  // NOLINT(concurrency-mt-unsafe): one thread
  const std::uint64_t seed = given != nullptr ? std::stoull(given) : 20261125;
  std::cout << "seed " << seed << " (another with BASKWELL_SEED=number)\n";
  return seed;
}

class Normal {
 public:
  explicit Normal(std::uint64_t seed) : engine_(seed) {}
  double operator()() { return normal_(engine_); }
  double uniform() { return std::uniform_real_distribution<double>(0, 1)(engine_); }

 private:
  std::mt19937_64 engine_;
  std::normal_distribution<double> normal_{0, 1};
};

}  // namespace baskwell::test
