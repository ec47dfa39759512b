#pragma once
// Result<T>: a value, or an Error that says in words what went wrong outside (a file, the network, a person's
// input). Broken invariants are CHECKs instead. No exceptions cross a folder's border.

#include <string>
#include <utility>
#include <variant>

#include "core/check.h"

namespace baskwell {

struct Error {
  std::string text;  // place, cause and what is allowed, in one line, for a person
};

template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : held_(std::in_place_index<0>, std::move(value)) {}
  Result(Error error) : held_(std::in_place_index<1>, std::move(error)) {}

  [[nodiscard]] bool ok() const { return held_.index() == 0; }
  explicit operator bool() const { return ok(); }

  [[nodiscard]] const T& value() const& {
    CHECK(ok());
    return *std::get_if<0>(&held_);
  }
  [[nodiscard]] T& value() & {
    CHECK(ok());
    return *std::get_if<0>(&held_);
  }
  [[nodiscard]] T&& value() && {
    CHECK(ok());
    return std::move(*std::get_if<0>(&held_));
  }
  [[nodiscard]] const Error& error() const {
    CHECK(!ok());
    return *std::get_if<1>(&held_);
  }

 private:
  std::variant<T, Error> held_;
};

struct Done {};  // Result<Done>: nothing to return but success
using Outcome = Result<Done>;

}  // namespace baskwell
