#pragma once
// Collects findings about one file. Several reports (one a file) share one list.

#include <algorithm>
#include <string>
#include <vector>

#include "settings/document.h"
#include "settings/finding.h"

namespace baskwell::settings {

class Report {
 public:
  Report(std::string file, std::vector<Finding>& findings) : file_(std::move(file)), findings_(&findings) {}

  void error(Place at, std::string key, std::string what, std::string allowed = "",
             std::string nearest = "") {
    add(at, true, std::move(key), std::move(what), std::move(allowed), std::move(nearest));
  }
  void warn(Place at, std::string key, std::string what, std::string allowed = "") {
    add(at, false, std::move(key), std::move(what), std::move(allowed), "");
  }
  [[nodiscard]] const std::string& file() const { return file_; }
  // Whether `key` or something under it is wrong: what hangs on it is then not judged.
  [[nodiscard]] bool has_error_at(const std::string& key) const {
    return std::any_of(findings_->begin(), findings_->end(), [&](const Finding& finding) {
      return finding.error && is_at_or_under(finding.key, key);
    });
  }
  [[nodiscard]] std::vector<Finding>& findings() const { return *findings_; }

 private:
  void add(Place at, bool error, std::string key, std::string what, std::string allowed,
           std::string nearest) {
    findings_->push_back({{file_, at.line, at.column},
                          error,
                          std::move(key),
                          std::move(what),
                          std::move(allowed),
                          std::move(nearest)});
  }

  std::string file_;
  std::vector<Finding>* findings_;
};

}  // namespace baskwell::settings
