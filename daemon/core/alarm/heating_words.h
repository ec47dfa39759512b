#pragma once
// The words of the heating kinds: short complaints for the headline, what to say when they are over, and the
// one check that tells two explanations apart. And the parts of the evidence that core/heat writes into an
// alarm's detail: whole sentences, among them the forecast ("24.0 °C by about 04:10 if nothing changes."),
// how sure it is ("Confidence: good.") and, where core/heat knows one, a check ("To tell: ..."). Pure.

#include <optional>
#include <string>
#include <string_view>

#include "core/alarm/kinds.h"

namespace baskwell {

// "not heating"
[[nodiscard]] std::string_view heating_complaint(AlarmKind kind);
// "heats again"
[[nodiscard]] std::string_view heating_over(AlarmKind kind);

// One step for a person at the enclosure that tells which of the two it is, in either order; "" where none is
// known that tells just these two.
[[nodiscard]] std::string_view check_between(AlarmKind one, AlarmKind other);

// Without the full stop at the end; "" where the detail has none.
struct HeatingDetail {
  std::string evidence;
  std::string forecast;
  std::string confidence;  // "good"
  std::string check;       // without "To tell: "
};
[[nodiscard]] HeatingDetail heating_detail(std::string_view detail);

}  // namespace baskwell
