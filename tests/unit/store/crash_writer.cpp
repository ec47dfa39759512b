// Writes to a store until it is killed, and says on standard output which batch is committed, one number a
// line. Usage: store_crash_writer FILE FIRST_NUMBER. For crash_test.

#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <string>
#include <utility>

#include "store/fixture.h"

namespace {

// Straight to the pipe: what a buffer holds dies with the process.
void say(const std::string& line) {
  std::size_t written = 0;
  while (written < line.size()) {
    const ssize_t now = ::write(STDOUT_FILENO, line.data() + written, line.size() - written);
    if (now <= 0) std::_Exit(3);
    written += static_cast<std::size_t>(now);
  }
}

}  // namespace

int main(int argc, char** argv) {
  using namespace baskwell::store;
  if (argc != 3) return 2;
  const std::string path = argv[1];
  int number = std::atoi(argv[2]);
  StoreOptions options = test::options_at();
  options.checkpoint_pages = 30;  // so that kills fall into checkpoints too
  auto opened = Store::open(path, std::move(options));
  if (!opened) {
    std::fprintf(stderr, "%s\n", opened.error().text.c_str());
    return 1;
  }
  const auto room = test::room_of(3);
  for (;; ++number) {
    Batch batch = test::numbered_batch(room, number, 25);
    batch.snapshot = std::string(20'000, 's');
    batch.on_committed = [number](bool ok, const std::string& error) {
      if (!ok) std::fprintf(stderr, "%s\n", error.c_str());
      if (ok) say(std::to_string(number) + "\n");
    };
    opened.value()->submit(std::move(batch));
    // Two or three to a transaction, so that merged ones are killed as well.
    if (number % 3 == 0) opened.value()->flush();
  }
}
