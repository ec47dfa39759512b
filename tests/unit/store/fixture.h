#pragma once
// What the store's tests share: a folder of their own, a small room, batches told apart by a number, and a
// look into the file past our own code.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "store/reader.h"
#include "store/store.h"

namespace baskwell::store::test {

// Removed with all it holds at the end.
class Folder {
 public:
  Folder();
  ~Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(std::string_view name = "room.baskwell") const;

 private:
  std::string path_;
};

inline constexpr UtcMs start{1'764'000'000'000};  // any moment; whole seconds

std::shared_ptr<const Room> room_of(int channels,
                                    std::uint64_t version = 1);  // ids "shelf-0/p0", "shelf-1/p1" ...
StoreOptions options_at(UtcMs now = start, const std::string& boot_id = "boot-1");
std::unique_ptr<Store> open_store(const std::string& path, StoreOptions options = options_at());
StoreReader open_reader(const std::string& path);

StoredReading reading_of(Index channel, std::int64_t digits, UtcMs measured);
TransitionRecord transition_of(const std::string& occurrence, UtcMs at);
MessageDraft message_of(const std::string& id, const std::string& occurrence);

// All of one number, so that a half-written one shows: `readings` readings, one transition "A<n>", one
// message "M<n>".
Batch numbered_batch(const std::shared_ptr<const Room>& room, int number, int readings = 3);
// How much of it the file holds: 0 nothing, 1 all, -1 anything else (a part of it, or more than once).
int presence_of(const std::string& path, int number, int readings = 3);

// SQLite's own answers: rows of columns joined by '|'.
std::vector<std::string> query(const std::string& path, const std::string& sql);

}  // namespace baskwell::store::test
