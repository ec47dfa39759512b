#include "store/faulty_vfs.h"

#include <sqlite3.h>

#include <atomic>
#include <new>

namespace baskwell::store::test {
namespace {

struct Plan {
  std::atomic<std::int64_t> left{-1};  // operations until the fault; -1: none planned
  std::atomic<Fault> fault{Fault::none};
  std::atomic<bool> for_ever{false};
  std::atomic<bool> reached{false};
  std::atomic<std::uint64_t> writes{0};
  std::atomic<std::uint64_t> syncs{0};
};
Plan plan;

// SQLite reserves szOsFile bytes, aligned to 8, for this and, right behind, the real file.
struct File {
  sqlite3_file base;
  [[nodiscard]] sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
};
sqlite3_file* real_of(sqlite3_file* file) {
  return reinterpret_cast<File*>(file)->real();
}

sqlite3_vfs* usual() {
  static sqlite3_vfs* const found = sqlite3_vfs_find(nullptr);
  return found;
}

// The error this operation is to end with; SQLITE_OK for none.
int next_fault(int input_output_code) {
  bool now = plan.reached && plan.for_ever;
  if (!now && plan.left >= 0) now = plan.left.fetch_sub(1) == 0;
  if (!now || plan.fault == Fault::none) return SQLITE_OK;
  plan.reached = true;
  return plan.fault == Fault::disk_full ? SQLITE_FULL : input_output_code;
}

int close_file(sqlite3_file* file) {
  return real_of(file)->pMethods->xClose(real_of(file));
}
int read_file(sqlite3_file* file, void* to, int bytes, sqlite3_int64 at) {
  return real_of(file)->pMethods->xRead(real_of(file), to, bytes, at);
}
int write_file(sqlite3_file* file, const void* from, int bytes, sqlite3_int64 at) {
  ++plan.writes;
  const int fault = next_fault(SQLITE_IOERR_WRITE);
  if (fault != SQLITE_OK) {
    // A disk that fails may well have taken a part.
    if (bytes > 1) real_of(file)->pMethods->xWrite(real_of(file), from, bytes / 2, at);
    return fault;
  }
  return real_of(file)->pMethods->xWrite(real_of(file), from, bytes, at);
}
int truncate_file(sqlite3_file* file, sqlite3_int64 bytes) {
  const int fault = next_fault(SQLITE_IOERR_TRUNCATE);
  return fault != SQLITE_OK ? fault : real_of(file)->pMethods->xTruncate(real_of(file), bytes);
}
// Counted, not done: these tests lose no power, and what a killed process wrote is in the kernel's hands.
int sync_file(sqlite3_file* /*file*/, int /*flags*/) {
  ++plan.syncs;
  return next_fault(SQLITE_IOERR_FSYNC);
}
int file_size(sqlite3_file* file, sqlite3_int64* bytes) {
  return real_of(file)->pMethods->xFileSize(real_of(file), bytes);
}
int lock_file(sqlite3_file* file, int level) {
  return real_of(file)->pMethods->xLock(real_of(file), level);
}
int unlock_file(sqlite3_file* file, int level) {
  return real_of(file)->pMethods->xUnlock(real_of(file), level);
}
int check_lock(sqlite3_file* file, int* held) {
  return real_of(file)->pMethods->xCheckReservedLock(real_of(file), held);
}
int control_file(sqlite3_file* file, int what, void* argument) {
  return real_of(file)->pMethods->xFileControl(real_of(file), what, argument);
}
int sector_size(sqlite3_file* file) {
  return real_of(file)->pMethods->xSectorSize(real_of(file));
}
int characteristics(sqlite3_file* file) {
  return real_of(file)->pMethods->xDeviceCharacteristics(real_of(file));
}
int map_shared(sqlite3_file* file, int region, int bytes, int extend, void volatile** to) {
  return real_of(file)->pMethods->xShmMap(real_of(file), region, bytes, extend, to);
}
int lock_shared(sqlite3_file* file, int offset, int count, int flags) {
  return real_of(file)->pMethods->xShmLock(real_of(file), offset, count, flags);
}
void barrier(sqlite3_file* file) {
  real_of(file)->pMethods->xShmBarrier(real_of(file));
}
int unmap_shared(sqlite3_file* file, int remove) {
  return real_of(file)->pMethods->xShmUnmap(real_of(file), remove);
}

// Version 2: the shared index of the journal, but no memory map.
const sqlite3_io_methods methods{
    2,           close_file,  read_file,    write_file,   truncate_file, sync_file,       file_size,
    lock_file,   unlock_file, check_lock,   control_file, sector_size,   characteristics, map_shared,
    lock_shared, barrier,     unmap_shared, nullptr,      nullptr};

static_assert(alignof(File) == 8 && sizeof(File) % 8 == 0);

int open_file(sqlite3_vfs* /*vfs*/, const char* path, sqlite3_file* into, int flags, int* out_flags) {
  auto* file = new (into) File{};
  const int code = usual()->xOpen(usual(), path, file->real(), flags, out_flags);
  // Without methods SQLite does not close it.
  file->base.pMethods = code == SQLITE_OK ? &methods : nullptr;
  return code;
}

}  // namespace

namespace faulty_vfs {

const char* name() {
  static sqlite3_vfs vfs = [] {
    sqlite3_vfs made = *usual();
    made.zName = "faulty";
    made.szOsFile = static_cast<int>(sizeof(File)) + usual()->szOsFile;
    made.pNext = nullptr;
    made.xOpen = open_file;
    return made;
  }();
  static const int registered = sqlite3_vfs_register(&vfs, 0);
  return registered == SQLITE_OK ? vfs.zName : "";
}

void clear() {
  plan.left = -1;
  plan.fault = Fault::none;
  plan.for_ever = false;
  plan.reached = false;
  plan.writes = 0;
  plan.syncs = 0;
}

void fail(std::uint64_t nth, Fault fault, bool for_ever) {
  plan.reached = false;
  plan.for_ever = for_ever;
  plan.fault = fault;
  plan.left = static_cast<std::int64_t>(nth);
}

bool reached() {
  return plan.reached;
}

DiskCounts counts() {
  return {plan.writes, plan.syncs};
}

}  // namespace faulty_vfs
}  // namespace baskwell::store::test
