// Fail the Nth operation on the disk for N = 0, 1, 2 ... until nothing fails any more: whatever was called
// committed is there, whole and once; nothing is there by half.

#include <gtest/gtest.h>

#include <array>
#include <utility>

#include "store/faulty_vfs.h"
#include "store/fixture.h"
#include "store/store.h"

namespace baskwell::store {
namespace {

using test::Fault;
using test::Folder;
using test::options_at;
namespace faulty_vfs = test::faulty_vfs;

constexpr int batches = 6;
constexpr int readings = 60;

class DiskFault : public testing::TestWithParam<Fault> {
 protected:
  void TearDown() override { faulty_vfs::clear(); }

  static StoreOptions options() {
    StoreOptions made = options_at();
    made.vfs = faulty_vfs::name();
    made.checkpoint_pages = 8;  // so that checkpoints are among what fails
    return made;
  }

  // Submits one batch after another; `committed` says what the callbacks said.
  static void work(Store& store, std::array<bool, batches + 1>& committed) {
    const auto room = test::room_of(3);
    for (int i = 1; i <= batches; ++i) {
      Batch batch = test::numbered_batch(room, i, readings);
      batch.snapshot = "snapshot " + std::to_string(i);
      bool& ok = committed[static_cast<std::size_t>(i)];
      batch.on_committed = [&ok](bool done, const std::string&) { ok = done; };
      store.submit(std::move(batch));
      store.flush();
    }
  }

  static void expect_sound(const std::string& path) {
    EXPECT_EQ(test::query(path, "PRAGMA integrity_check"), std::vector<std::string>{"ok"});
  }
};

TEST_P(DiskFault, AtAnyOperationOnceIsMadeUpFor) {
  std::uint64_t nth = 0;
  for (bool more = true; more; ++nth) {
    SCOPED_TRACE(nth);
    const Folder folder;
    faulty_vfs::clear();
    auto opened = Store::open(folder.file(), options());
    ASSERT_TRUE(opened.ok());
    std::array<bool, batches + 1> committed{};
    faulty_vfs::fail(nth, GetParam(), false);
    work(*opened.value(), committed);
    more = faulty_vfs::reached();
    EXPECT_TRUE(opened.value()->flush());
    for (int i = 1; i <= batches; ++i) ASSERT_EQ(test::presence_of(folder.file(), i, readings), 1) << i;
    expect_sound(folder.file());
  }
  EXPECT_GT(nth, 20U);  // there was something to fail
}

TEST_P(DiskFault, ThatStaysLosesNothingCommitted) {
  std::uint64_t nth = 0;
  for (bool more = true; more; ++nth) {
    SCOPED_TRACE(nth);
    const Folder folder;
    faulty_vfs::clear();
    std::array<bool, batches + 1> committed{};
    {
      auto opened = Store::open(folder.file(), options());
      ASSERT_TRUE(opened.ok());
      faulty_vfs::fail(nth, GetParam(), true);
      work(*opened.value(), committed);
      more = faulty_vfs::reached();
    }
    faulty_vfs::clear();
    auto again = Store::open(folder.file(), options());
    ASSERT_TRUE(again.ok()) << again.error().text;
    for (int i = 1; i <= batches; ++i) {
      const int presence = test::presence_of(folder.file(), i, readings);
      ASSERT_NE(presence, -1) << i;
      if (committed[static_cast<std::size_t>(i)]) {
        ASSERT_EQ(presence, 1) << i;
      }
    }
    expect_sound(folder.file());
  }
  EXPECT_GT(nth, 20U);
}

TEST_P(DiskFault, WhileOpeningIsAnErrorInWordsAndTheNextOpeningWorks) {
  std::uint64_t nth = 0;
  for (bool more = true; more; ++nth) {
    SCOPED_TRACE(nth);
    const Folder folder;
    faulty_vfs::clear();
    faulty_vfs::fail(nth, GetParam(), true);
    {
      const auto opened = Store::open(folder.file(), options());
      more = faulty_vfs::reached();
      if (!opened) {
        EXPECT_GT(opened.error().text.size(), folder.file().size() + 10);
      }
      EXPECT_TRUE(more || opened.ok());
    }
    faulty_vfs::clear();
    auto opened = Store::open(folder.file(), options());
    ASSERT_TRUE(opened.ok()) << opened.error().text;
    std::array<bool, batches + 1> committed{};
    work(*opened.value(), committed);
    for (int i = 1; i <= batches; ++i) ASSERT_EQ(test::presence_of(folder.file(), i, readings), 1) << i;
  }
  EXPECT_GT(nth, 5U);
}

INSTANTIATE_TEST_SUITE_P(Kinds, DiskFault, testing::Values(Fault::input_output_error, Fault::disk_full),
                         [](const testing::TestParamInfo<Fault>& fault) {
                           return fault.param == Fault::disk_full ? "DiskFull" : "InputOutputError";
                         });

}  // namespace
}  // namespace baskwell::store
