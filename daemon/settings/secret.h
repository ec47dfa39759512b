#pragma once
// Where a secret lies. Only the path is kept in the settings; the secret itself is read when it is needed and
// by whom it is needed, so that no finding, no log and no stored settings version can hold it. Any thread;
// blocks for as long as one small file takes to read.

#include <filesystem>
#include <string>

#include "core/result.h"

namespace baskwell {

class Secret {
 public:
  Secret() = default;  // none
  explicit Secret(std::filesystem::path file) : file_(std::move(file)) {}

  [[nodiscard]] bool given() const { return !file_.empty(); }
  [[nodiscard]] const std::filesystem::path& file() const { return file_; }
  // The file's text up to its first line end; at most 4096 bytes. The error names the file, never what is in
  // it. CHECKs that one is given.
  [[nodiscard]] Result<std::string> read() const;

 private:
  std::filesystem::path file_;
};

}  // namespace baskwell
