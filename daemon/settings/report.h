#pragma once
// Collects findings about one file. Several reports (one a file) share one list.

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
