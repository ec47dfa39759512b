#pragma once
// The store's format by version, and bringing an older file forward. For store/ and its tests. Throws
// Trouble. Format in words: docs/store.md. A migration that was ever released is never changed; a new one is
// added.

#include <span>

namespace baskwell::store {

class Database;

inline constexpr int application_id = 0x4261736b;  // "Bask", in the header of the file
inline constexpr int index_stride = 4096;          // readings a row of reading_index

struct Migration {
  int version;  // of the format after it; counts up from 1
  const char* sql;
};
[[nodiscard]] std::span<const Migration> migrations();

// Refuses a file of a newer version and one that is something else, before anything is changed.
void refuse_foreign(const Database& database, std::span<const Migration> steps);

// Each migration is one transaction: a crash between two leaves a file of the version before. Refuses
// as refuse_foreign does.
void bring_forward(Database& database, std::span<const Migration> steps);

// Refuses the same, changes nothing.
void require_readable(const Database& database);

// The tables that give numbers their names.
void write_names(Database& database);

}  // namespace baskwell::store
