#pragma once
// Files that tests compare with. With BASKWELL_REFRESH=1 in the environment a file that differs is written
// anew, and the test that wrote it still fails: a refresh is to be looked at in review, never to pass by
// itself. Throws where a file cannot be read or written.

#include <filesystem>
#include <string>

namespace baskwell::test {

[[nodiscard]] std::string read_file(const std::filesystem::path& path);

// Fails the running test where the file does not hold exactly `text`.
void expect_file_holds(const std::filesystem::path& path, const std::string& text);

}  // namespace baskwell::test
