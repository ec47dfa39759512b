#include "files.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <stdexcept>

namespace baskwell::test {

std::string read_file(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) throw std::runtime_error("cannot read " + path.string());
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

void expect_file_holds(const std::filesystem::path& path, const std::string& text) {
  const bool there = std::filesystem::exists(path);
  if (there && read_file(path) == text) return;
  const char* refresh = std::getenv("BASKWELL_REFRESH");  // NOLINT(concurrency-mt-unsafe): nobody sets it
  if (refresh != nullptr && std::string(refresh) == "1") {
    std::filesystem::create_directories(path.parent_path());
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << text;
    if (!file.flush()) throw std::runtime_error("cannot write " + path.string());
    ADD_FAILURE() << "wrote " << path << " anew: look at the difference, then run again without "
                  << "BASKWELL_REFRESH";
    return;
  }
  ASSERT_TRUE(there) << path << " is missing; BASKWELL_REFRESH=1 writes it";
  EXPECT_EQ(read_file(path), text) << path << " differs; where the change is meant, BASKWELL_REFRESH=1 "
                                   << "writes it anew";
}

}  // namespace baskwell::test
