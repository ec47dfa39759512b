// Measures what the store costs: processor time of the writer a reading, bytes a reading, and what a quiet
// room asks of the disk. Usage: store_cost [SECONDS [READINGS_A_SECOND]]. Build it in Release.

#include <sys/resource.h>

#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <utility>

#include "store/faulty_vfs.h"
#include "store/fixture.h"

namespace {

using namespace baskwell;
using namespace baskwell::store;

double seconds_of(clockid_t clock) {
  timespec now{};
  clock_gettime(clock, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

// The process's time less this thread's: the writer's, fsync waits not included.
double writer_seconds() {
  return seconds_of(CLOCK_PROCESS_CPUTIME_ID) - seconds_of(CLOCK_THREAD_CPUTIME_ID);
}

Batch second_of(const std::shared_ptr<const Room>& room, int second, int readings) {
  Batch batch;
  batch.room = room;
  batch.readings.reserve(static_cast<std::size_t>(readings));
  for (int i = 0; i < readings; ++i) {
    const auto channel = static_cast<Index>(static_cast<std::size_t>(i) % room->channels.size());
    const UtcMs measured = store::test::start + second * second_ms + i * second_ms / readings;
    batch.readings.push_back(store::test::reading_of(channel, 2'000 + (i * 7 + second) % 1'500, measured));
  }
  return batch;
}

void measure_rate(int seconds, int rate) {
  const store::test::Folder folder;
  const auto opened = store::test::open_store(folder.file());
  const auto room = store::test::room_of(300);
  const double wall = seconds_of(CLOCK_MONOTONIC);
  const double before = writer_seconds();
  for (int second = 0; second < seconds; ++second) {
    opened->submit(second_of(room, second, rate));
    opened->flush();
  }
  const double spent = writer_seconds() - before;
  const double total = static_cast<double>(seconds) * rate;
  const auto bytes = static_cast<double>(std::filesystem::file_size(folder.file()) +
                                         std::filesystem::file_size(folder.file("room.baskwell-wal")));
  std::printf(
      "%d batches of %d readings: %.2f us of the writer's processor time a reading, %.0f readings a second, "
      "%llu checkpoints, %.0f bytes a reading with the journal\n",
      seconds, rate, 1e6 * spent / total, total / (seconds_of(CLOCK_MONOTONIC) - wall),
      static_cast<unsigned long long>(opened->stats().checkpoints), bytes / total);
}

void measure_quiet_room(int seconds) {
  const store::test::Folder folder;
  StoreOptions options = store::test::options_at();
  options.vfs = store::test::faulty_vfs::name();
  const auto opened = store::test::open_store(folder.file(), std::move(options));
  const auto room = store::test::room_of(24);
  const auto before = store::test::faulty_vfs::counts();
  const double cpu = writer_seconds();
  for (int second = 0; second < seconds; ++second) {
    opened->submit(second_of(room, second, 2));
    opened->flush();
  }
  const auto after = store::test::faulty_vfs::counts();
  std::printf(
      "quiet room, %d commits of 2 readings: %.4f fsyncs and %.1f writes a commit, %.0f us of processor time "
      "a commit\n",
      seconds, static_cast<double>(after.syncs - before.syncs) / seconds,
      static_cast<double>(after.writes - before.writes) / seconds, 1e6 * (writer_seconds() - cpu) / seconds);
}

}  // namespace

int main(int argc, char** argv) {
  const int seconds = argc > 1 ? std::atoi(argv[1]) : 40;
  const int rate = argc > 2 ? std::atoi(argv[2]) : 50'000;
  if (seconds < 1 || rate < 1) return 2;
  measure_rate(seconds, rate);
  measure_quiet_room(3'600);
  rusage used{};
  getrusage(RUSAGE_SELF, &used);
  std::printf("largest resident size %ld kB\n", used.ru_maxrss);
}
