#pragma once
// What one seed is about: whole groups of disturbances switched on or off, and their rates; and the seeds
// themselves. Tuning and reporting seeds are hashed in different domains, so that no number drawn for one is
// drawn for the other. Pure; any thread.

#include <cstdint>
#include <string_view>

#include "demoroom/rng.h"

namespace baskwell::scenarios {

enum class SeedSet { tuning, reporting };

// The seed of the i-th episode of a set. `healthy` and faulty episodes draw apart.
[[nodiscard]] std::uint64_t episode_seed(SeedSet set, bool healthy, std::int64_t index);

struct Swarm {
  double door_per_day = 0;  // 0: off
  double misting_per_day = 0;
  double cleaning_every_days = 0;
  double cleaning_note_share = 0;
  double animal_per_day = 0;  // lies on a probe
  double gap_per_day = 0;     // network or broker away
  double bad_value_per_day = 0;
  double loss_share = 0;
  double jitter_share = 0;
  double noise_k = 0.03;
  double radiation_k_per_w = 0;
  double seasonal_every_days = 0;  // the keeper turns a thermostat, and writes it down
  bool summer = false;             // begins in summer, room without or with a weak cooler
  bool winter = false;
  double weather_wander_k = 3.0;
  bool irregular_interval = false;  // each instrument its own, 10 to 300 s
};

[[nodiscard]] Swarm draw_swarm(const demoroom::Rng& root, bool varied_interval);

}  // namespace baskwell::scenarios
