#pragma once
// A file layer for SQLite that lays itself over the usual one, counts what goes to the disk and fails where
// it is told to. Syncs are counted, not done. One for the whole test program, as SQLite's list of them is.
// Any thread.

#include <cstdint>
#include <string>

namespace baskwell::store::test {

enum class Fault : std::uint8_t { none, input_output_error, disk_full };

struct DiskCounts {
  std::uint64_t writes = 0;
  std::uint64_t syncs = 0;
};

namespace faulty_vfs {
[[nodiscard]] const char* name();  // registers itself at the first call
void clear();                      // no fault, counts zero
// The `nth` write, truncation or sync from now on (from 0) fails; with `for_ever`, so do all after it.
void fail(std::uint64_t nth, Fault fault, bool for_ever);
[[nodiscard]] bool reached();  // the fault has come
[[nodiscard]] DiskCounts counts();
}  // namespace faulty_vfs

}  // namespace baskwell::store::test
