#include "scenarios/swarm.h"

#include <string>

namespace baskwell::scenarios {

std::uint64_t episode_seed(SeedSet set, bool healthy, std::int64_t index) {
  const demoroom::Rng domain =
      demoroom::Rng(0x5EEDULL).fork(set == SeedSet::tuning ? "tuning seeds" : "reporting seeds");
  demoroom::Rng one =
      domain.fork((healthy ? std::string("healthy ") : std::string("faulty ")) + std::to_string(index));
  return one.next() >> 16U;  // short enough to be typed again
}

Swarm draw_swarm(const demoroom::Rng& root, bool varied_interval) {
  demoroom::Rng rng = root.fork("swarm");
  const auto on = [&rng](double share) { return rng.unit() < share; };
  Swarm swarm;
  if (on(0.6)) swarm.door_per_day = rng.between(0.2, 4.0);
  if (on(0.4)) swarm.misting_per_day = rng.between(0.3, 3.0);
  if (on(0.5)) swarm.cleaning_every_days = rng.between(5.0, 30.0);
  swarm.cleaning_note_share = on(0.7) ? 1.0 : 0.0;
  if (on(0.5)) swarm.animal_per_day = rng.between(0.1, 2.0);
  if (on(0.4)) swarm.gap_per_day = rng.between(0.05, 1.0);
  if (on(0.3)) swarm.bad_value_per_day = rng.between(0.1, 3.0);
  if (on(0.6)) swarm.loss_share = rng.between(0.0, 0.05);
  swarm.jitter_share = on(0.7) ? rng.between(0.02, 0.5) : 0.0;
  swarm.noise_k = rng.between(0.01, 0.12);
  if (on(0.5)) swarm.radiation_k_per_w = rng.between(0.0, 0.03);
  if (on(0.25)) swarm.seasonal_every_days = rng.between(4.0, 14.0);
  const double season = rng.unit();
  swarm.summer = season < 0.25;
  swarm.winter = season > 0.6;
  swarm.weather_wander_k = rng.between(1.5, 5.0);
  swarm.irregular_interval = varied_interval;
  return swarm;
}

}  // namespace baskwell::scenarios
