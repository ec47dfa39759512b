#pragma once
// What is done where the daemon's last state cannot be read, so that it watches all the same: the unreadable
// text is kept in a file of its own, the alarms that were open end on record, and their numbers go on where
// the record left them. Reads the whole record. Errors: the record cannot be read either.

#include <string>

#include "core/effects.h"
#include "core/engine.h"
#include "core/result.h"
#include "store/store.h"

namespace baskwell {

// `fresh` has no state yet. Returns what people are to be told. `why`: what is wrong with the snapshot.
[[nodiscard]] Result<std::string> begin_anew(const store::Store& store, const store::Snapshot& damaged,
                                             const std::string& why, UtcMs now, Engine& fresh,
                                             Effects& effects);

// What was learned cannot be read: it is kept in a file of its own and learning begins anew. Logged only:
// nothing is unwatched meanwhile but the heating's course, which says so itself ("not judged yet").
void keep_unreadable_learned(const store::Store& store, const store::Learned& damaged, const std::string& why,
                             UtcMs now);

}  // namespace baskwell
