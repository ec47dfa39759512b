#pragma once
// What plugin_host opens: one instance of a plugin's decoder or channel, closed with the object. Errors: what
// the plugin wrote, or that it wrote nothing or threw, in words. Threads: as the instance itself.

#include <array>
#include <cstddef>
#include <string>
#include <utility>

#include "core/result.h"
#include "plugin_host/library.h"

namespace baskwell::plugin_host {

// `Functions`: bw_decoder or bw_channel.
template <class Functions>
class Opened {
 public:
  Opened() = default;
  Opened(const Opened&) = delete;
  Opened& operator=(const Opened&) = delete;
  ~Opened() {
    if (self_ == nullptr) return;
    try {
      functions_->close(self_);
    } catch (...) {  // a plugin that throws while it is closed has nobody left to tell
      self_ = nullptr;
    }
  }

  // `call(error, size)` opens it. `what` for people: "the decoder 'json'".
  template <class Call>
  [[nodiscard]] Outcome open(const Functions* functions, std::string what, Call call) {
    functions_ = functions;
    what_ = std::move(what);
    std::array<char, 1024> error{};
    try {
      self_ = call(error.data(), error.size());
    } catch (...) {
      return Error{what_ + " threw an exception when it was opened"};
    }
    if (self_ != nullptr) return Done{};
    std::string cause = one_line(error.data(), error.size());
    return Error{cause.empty() ? what_ + " could not be opened and gave no cause" : std::move(cause)};
  }

  [[nodiscard]] const Functions& functions() const { return *functions_; }
  [[nodiscard]] void* self() const { return self_; }
  [[nodiscard]] const std::string& what() const { return what_; }

 private:
  const Functions* functions_ = nullptr;
  void* self_ = nullptr;
  std::string what_;
};

}  // namespace baskwell::plugin_host
