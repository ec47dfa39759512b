#pragma once
// Outages in the store: one row each, replaced as more is known of it, and a row for every enclosure of its
// check. For store/ only. Throws Trouble, also for a name that this program does not know.

#include <cstddef>
#include <string_view>
#include <vector>

#include "core/heat/outage_record.h"
#include "store/sqlite.h"

namespace baskwell::store {

void write_outage(Database& database, const OutageRecord& record);

// The newest `most`, oldest first; `id` not empty: only that one.
[[nodiscard]] std::vector<OutageRecord> read_outages(const Database& database, std::string_view id,
                                                     std::size_t most);

}  // namespace baskwell::store
