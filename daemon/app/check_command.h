#pragma once
// `baskwell check FILE`: every mistake of the settings at once, those of plugins included, and what each
// enclosure cannot be warned of. Prints to `out`; returns the exit status: 0 usable, 1 has errors.

#include <filesystem>
#include <iosfwd>

#include "settings/settings.h"

namespace baskwell {

[[nodiscard]] int check_settings(const std::filesystem::path& file, const LoadOptions& options, UtcMs now,
                                 std::ostream& out);

}  // namespace baskwell
