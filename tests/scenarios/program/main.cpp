// baskwell-scenarios: runs many drawn rooms with known faults through core's engine and prints how it did.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "scenarios/table.h"

namespace {

using namespace baskwell::scenarios;

struct Options {
  std::string seeds = "tuning";
  int episodes = 40;
  double enclosure_years = 0;
  int days = 45;
  int first = 0;
  std::string only;
  std::string interval = "30";
  int threads = 2;
  bool verbose = false;
  bool quiet = false;
  std::string csv;
  std::string out;
  std::uint64_t seed = 0;
  double naive_threshold_k = NaiveSettings{}.threshold_k;
  int naive_window_min = static_cast<int>(NaiveSettings{}.window_ms / 60'000);
};

struct Job {
  EpisodeRequest request;
};

std::vector<Job> jobs_of(const Options& options) {
  const SeedSet set = options.seeds == "reporting" ? SeedSet::reporting : SeedSet::tuning;
  std::vector<Job> jobs;
  for (int i = 0; i < options.episodes; ++i) {
    Job job;
    // Half of them healthy, unless only one sort is asked for.
    job.request.plan.healthy = options.only == "healthy" || (options.only.empty() && i % 2 == 1);
    if (!options.only.empty() && options.only != "healthy" && options.only != "faulty") {
      job.request.plan.only = baskwell::alarm_kind_from(options.only);
    }
    job.request.seed = episode_seed(set, job.request.plan.healthy, options.first + i);
    if (options.seed != 0) job.request.seed = options.seed;
    job.request.plan.days = options.days;
    job.request.varied_interval = options.interval == "varied";
    job.request.verbose = options.verbose;
    job.request.naive.threshold_k = options.naive_threshold_k;
    job.request.naive.window_ms = options.naive_window_min * std::int64_t{60'000};
    jobs.push_back(job);
  }
  return jobs;
}

std::vector<EpisodeResult> run_all(const Options& options, const std::vector<Job>& jobs) {
  std::vector<EpisodeResult> results(jobs.size());
  std::atomic<std::size_t> next{0};
  std::atomic<std::size_t> done{0};
  std::mutex printing;
  const auto work = [&] {
    for (;;) {
      const std::size_t i = next.fetch_add(1);
      if (i >= jobs.size()) return;
      results[i] = run_episode(jobs[i].request);
      const std::size_t so_far = done.fetch_add(1) + 1;
      const std::lock_guard hold(printing);
      if (options.verbose) std::fputs(verbose_lines(results[i]).c_str(), stdout);
      if (!options.quiet) std::fprintf(stderr, "\r%zu of %zu rooms", so_far, jobs.size());
    }
  };
  std::vector<std::thread> threads;
  threads.reserve(static_cast<std::size_t>(options.threads));
  for (int i = 0; i < options.threads; ++i) threads.emplace_back(work);
  for (std::thread& one : threads) one.join();
  if (!options.quiet) std::fputc('\n', stderr);
  return results;
}

bool write_file(const std::string& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  file.flush();
  if (file.good()) return true;
  std::fprintf(stderr, "cannot write %s\n", path.c_str());
  return false;
}

int run(const Options& options) {
  if (!options.only.empty() && options.only != "healthy" && options.only != "faulty") {
    const auto kind = baskwell::alarm_kind_from(options.only);
    if (!kind || !baskwell::is_heating_kind(*kind)) {
      std::fprintf(stderr, "--only takes healthy, faulty or a heating kind as not-heating\n");
      return 2;
    }
  }
  const auto began = std::chrono::steady_clock::now();
  const std::vector<EpisodeResult> results = run_all(options, jobs_of(options));
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - began;
  std::string command = "baskwell-scenarios --seeds " + options.seeds + " --episodes " +
                        std::to_string(options.episodes) + " --threads " + std::to_string(options.threads);
  if (options.first != 0) command += " --first " + std::to_string(options.first);
  if (options.seed != 0) command += " --seed " + std::to_string(options.seed);
  if (!options.only.empty()) command += " --only " + options.only;
  if (options.days != Options{}.days) command += " --days " + std::to_string(options.days);
  if (options.interval != "30") command += " --interval " + options.interval;
  if (!options.out.empty()) command += " --out " + options.out;
  const TableHead head{options.seeds, options.interval == "varied" ? "10 to 300 s" : "30 s", options.days,
                       command};
  const std::string table = whole_table(head, results);
  std::fputs(table.c_str(), stdout);
  std::fprintf(stderr, "%.0f s on %d threads\n", took.count(), options.threads);
  bool written = true;
  if (!options.csv.empty()) written &= write_file(options.csv, csv_lines(results));
  if (!options.out.empty()) written &= write_file(options.out, table);
  return written ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app{"Evaluation of heating diagnosis on simulated rooms"};
  app.add_option("--seeds", options.seeds, "tuning or reporting")
      ->check(CLI::IsMember({"tuning", "reporting"}));
  app.add_option("--episodes", options.episodes, "rooms to run, half of them healthy")
      ->check(CLI::Range(1, 100000));
  app.add_option("--first", options.first, "number of the first room")->check(CLI::Range(0, 1000000));
  app.add_option("--days", options.days, "days of each room")->check(CLI::Range(11, 400));
  app.add_option("--only", options.only, "healthy, faulty, or one kind of fault");
  app.add_option("--seed", options.seed,
                 "this very room (as printed); give --only healthy for a healthy one");
  app.add_option("--interval", options.interval, "30 or varied (10 to 300 s)")
      ->check(CLI::IsMember({"30", "varied"}));
  app.add_option("--threads", options.threads)->check(CLI::Range(1, 256));
  app.add_flag("--verbose", options.verbose, "a line for each fault and each false alarm");
  app.add_flag("--quiet", options.quiet, "no progress");
  app.add_option("--csv", options.csv, "a line for each fault and each false alarm to this file");
  app.add_option("--out", options.out, "the table to this file too");
  app.add_option("--naive-threshold", options.naive_threshold_k, "of the naive detector, K");
  app.add_option("--naive-window", options.naive_window_min, "of the naive detector, min")
      ->check(CLI::Range(10, 240));
  CLI11_PARSE(app, argc, argv);
  if (options.seed != 0) options.episodes = 1;
  return run(options);
}
