#include "store/store.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <system_error>
#include <utility>

#include "store/reader.h"
#include "store/writer.h"

namespace baskwell::store {
namespace {

// One writer a store. The lock is on a file beside it, which stays: taking it away would let two in. Given
// back by the kernel when the process ends, however it ends.
int lock_beside(const std::string& path) {
  const std::string lock_path = path + "-lock";
  const int descriptor = ::open(lock_path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (descriptor < 0) {
    throw Trouble{0, "cannot make " + lock_path + ": " + std::generic_category().message(errno)};
  }
  if (::flock(descriptor, LOCK_EX | LOCK_NB) != 0) {
    ::close(descriptor);
    throw Trouble{0, "another Baskwell is writing this store"};
  }
  return descriptor;
}

}  // namespace

Store::Store(std::unique_ptr<Writer> writer, int lock) : writer_(std::move(writer)), lock_(lock) {}

Store::~Store() {
  writer_.reset();
  ::close(lock_);
}

Result<std::unique_ptr<Store>> Store::open(const std::string& path, StoreOptions options) {
  int lock = -1;
  try {
    lock = lock_beside(path);
    auto writer = std::make_unique<Writer>(path, std::move(options));
    return std::unique_ptr<Store>(new Store(std::move(writer), lock));
  } catch (const Trouble& trouble) {
    if (lock >= 0) ::close(lock);
    return Error{path + ": " + trouble.text};
  }
}

std::size_t Store::submit(Batch batch) {
  return writer_->submit(std::move(batch));
}
void Store::record_attempt(Attempt attempt, Committed on_committed) {
  writer_->submit(std::move(attempt), std::move(on_committed));
}
void Store::record_outcome(AttemptOutcome outcome, Committed on_committed) {
  writer_->submit(std::move(outcome), std::move(on_committed));
}
void Store::record_end(MessageEnd end, Committed on_committed) {
  writer_->submit(std::move(end), std::move(on_committed));
}
Result<std::uint64_t> Store::put_settings(std::vector<SettingsFile> files, UtcMs now) {
  return writer_->put_settings(std::move(files), now);
}
bool Store::flush() {
  return writer_->flush();
}
void Store::retry_now() {
  writer_->retry_now();
}
StoreStats Store::stats() const {
  return writer_->stats();
}
const std::string& Store::path() const {
  return writer_->path();
}

Result<PendingMessages> Store::pending_messages() const {
  const Result<StoreReader> reader = StoreReader::open(writer_->path(), writer_->vfs());
  if (!reader) return reader.error();
  return reader.value().pending_messages();
}
Result<std::optional<Snapshot>> Store::last_snapshot() const {
  const Result<StoreReader> reader = StoreReader::open(writer_->path(), writer_->vfs());
  if (!reader) return reader.error();
  return reader.value().last_snapshot();
}
Result<std::optional<Learned>> Store::last_learned() const {
  const Result<StoreReader> reader = StoreReader::open(writer_->path(), writer_->vfs());
  if (!reader) return reader.error();
  return reader.value().last_learned();
}
Result<std::optional<UtcMs>> Store::last_stored_utc() const {
  const Result<StoreReader> reader = StoreReader::open(writer_->path(), writer_->vfs());
  if (!reader) return reader.error();
  return reader.value().last_stored_utc();
}

}  // namespace baskwell::store
