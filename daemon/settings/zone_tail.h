#pragma once
// The rule that holds after the last change a zone file lists: the POSIX TZ text in its last line (RFC 8536
// section 3.3, POSIX.1-2017 section 8.3), as "GMT0BST,M3.5.0/1,M10.5.0". Without it, summer time would end
// for good in 2037. Pure.

#include <optional>
#include <string_view>
#include <vector>

#include "core/climate/zone_rules.h"

namespace baskwell::settings {

// The changes of offset in these years (both included), ascending; empty for a rule without summer time.
// Nothing when the text is no such rule.
[[nodiscard]] std::optional<std::vector<ZoneRules::Change>> changes_by_rule(std::string_view rule,
                                                                            int first_year, int last_year);

}  // namespace baskwell::settings
