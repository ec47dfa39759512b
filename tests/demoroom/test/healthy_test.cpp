// A healthy demo room stays inside its bands, summer and winter, so that it raises no alarm.
//
// Bands: /work's species reference as in config/care (adult rows), copied here by hand so that the simulator
// is checked against figures and not against the daemon's code. They move as a 60 minute ramp after lights-on
// and lights-off between the night band and the day band; the hot spot's night band is
// night_min..hot_day_max, the cool end's night_min..max(night_max, cool_day_max).
#include <gmock/gmock.h>

#include <algorithm>
#include <map>
#include <string>

#include "demoroom/payload.h"
#include "demoroom/scenario_demo.h"
#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

struct Species {
  double hot_min, hot_max, cool_min, cool_max, night_min, night_max, rh_min, rh_max;
};

const std::map<std::string, Species>& species() {
  static const std::map<std::string, Species> rows = {
      {"royal-python", {30, 33, 24, 27, 22, 25, 50, 65}},
      {"corn-snake", {28, 32, 22, 26, 18, 22, 40, 60}},
      {"leopard-gecko", {30, 34, 24, 27, 18, 22, 30, 40}},
      {"crested-gecko", {24, 27, 20, 23, 18, 22, 60, 80}},
      {"bearded-dragon", {38, 42, 22, 26, 16, 22, 30, 40}},
      {"hermanns-tortoise", {30, 35, 20, 26, 10, 18, 40, 65}},
  };
  return rows;
}

struct Band {
  double low, high;
};

// 0 at night, 1 by day, an hour's ramp after 08:00 and 20:00.
double daylight_share(std::int64_t local_second) {
  const double hour = static_cast<double>(local_second) / 3600.0;
  if (hour < 8.0) return 0.0;
  if (hour < 9.0) return hour - 8.0;
  if (hour < 20.0) return 1.0;
  if (hour < 21.0) return 21.0 - hour;
  return 0.0;
}

Band band_of(const Species& s, const ProbeSpec& probe, std::int64_t local_second) {
  if (probe.quantity == Quantity::humidity) return {s.rh_min, s.rh_max};
  const double day = daylight_share(local_second);
  if (probe.zone == Zone::hot) return {s.night_min + day * (s.hot_min - s.night_min), s.hot_max};
  const double night_high = std::max(s.night_max, s.cool_max);
  return {s.night_min + day * (s.cool_min - s.night_min), night_high + day * (s.cool_max - night_high)};
}

struct Seen {
  std::int64_t outside_since_ms = 0;
  std::int64_t longest_ms = 0;
  int outside = 0;
  int count = 0;
  double margin = 1e9;  // the least distance to a limit
  std::string worst;
};

std::map<int, Seen> watch_days(RoomSpec spec, std::uint64_t seed, const std::string& start, int days) {
  const std::int64_t start_ms = parse_rfc3339_ms(start).value();
  DemoRoom room(std::move(spec), seed, start_ms - 48 * 3'600'000LL, 0);
  room.run_until(start_ms, {});
  std::map<int, Seen> all;
  room.run_until(start_ms + days * 86'400'000LL, [&](const Report& report) {
    for (const Report::Value& one : report.values) {
      const ProbeSpec& probe = room.spec().probes[static_cast<std::size_t>(one.probe)];
      const bool judged = probe.quantity == Quantity::temperature || probe.quantity == Quantity::humidity;
      if (probe.enclosure < 0 || !judged) continue;
      const Species& s =
          species().at(room.spec().enclosures[static_cast<std::size_t>(probe.enclosure)].species);
      const Band band = band_of(s, probe, day_second(report.utc_ms / 1000));
      const double value = probe.unit == Unit::degf ? (one.read.value - 32.0) / 1.8 : one.read.value;
      Seen& seen = all[one.probe];
      ++seen.count;
      const double margin = std::min(value - band.low, band.high - value);
      if (margin < seen.margin) {
        seen.margin = margin;
        seen.worst = rfc3339_ms(report.utc_ms) + " " + decimal(value, 2) + " in " + decimal(band.low, 2) +
                     ".." + decimal(band.high, 2);
      }
      if (margin >= 0.0) {
        seen.outside_since_ms = 0;
        continue;
      }
      ++seen.outside;
      if (seen.outside_since_ms == 0) seen.outside_since_ms = report.utc_ms;
      seen.longest_ms = std::max(seen.longest_ms, report.utc_ms - seen.outside_since_ms);
    }
  });
  return all;
}

std::string name_of(const RoomSpec& spec, int probe_index) {
  const ProbeSpec& probe = spec.probes[static_cast<std::size_t>(probe_index)];
  return spec.enclosures[static_cast<std::size_t>(probe.enclosure)].id + " " + name(probe.zone) + " " +
         name(probe.quantity);
}

void expect_healthy(const RoomSpec& spec, const std::string& start, std::uint64_t seed) {
  constexpr int kDays = 4;
  const auto all = watch_days(spec, seed, start, kDays);
  EXPECT_EQ(all.size(), 8U * 2U + 3U + 5U);  // hot and cool of eight, three tubs, five humidities
  for (const auto& [probe, seen] : all) {
    SCOPED_TRACE(name_of(spec, probe) + " from " + start + " seed " + std::to_string(seed) + ": " +
                 seen.worst);
    EXPECT_GT(seen.count, kDays * 2800);
    EXPECT_EQ(seen.outside, 0);
  }
}

TEST(Healthy, AutumnDaysStayInsideTheBands) {
  expect_healthy(demo_scenario(), "2026-11-20T00:00:00Z", 7);
}
TEST(Healthy, WinterDaysStayInsideTheBands) {
  expect_healthy(demo_scenario(), "2026-01-14T00:00:00Z", 8);
}
TEST(Healthy, SpringDaysStayInsideTheBands) {
  expect_healthy(demo_scenario(), "2026-04-10T00:00:00Z", 9);
}
TEST(Healthy, SummerDaysStayInsideTheBands) {
  expect_healthy(demo_scenario(), "2026-07-18T00:00:00Z", 10);
}

TEST(Healthy, TheBandsMatter) {
  // The same watch with one thermostat set too low does find it: the test can fail.
  RoomSpec spec = demo_scenario();
  spec.thermostats[0].day_degc = 28.0;
  const auto all = watch_days(spec, 7, "2026-11-20T00:00:00Z", 2);
  EXPECT_GT(all.at(0).outside, 1000);
}

TEST(Healthy, ARoomKeptAtTwentyOrAtTwentyThreeStillHoldsTheTemperatures) {
  for (const double room_degc : {20.0, 23.0}) {
    RoomSpec spec = demo_scenario();
    spec.air.day_degc = spec.air.night_degc = room_degc;
    spec.air.cool_above_degc = room_degc + 0.3;
    const auto all = watch_days(spec, 7, "2026-11-20T00:00:00Z", 2);
    for (const auto& [probe, seen] : all) {
      if (spec.probes[static_cast<std::size_t>(probe)].quantity != Quantity::temperature) continue;
      // A plain band alarm waits ten minutes (issue 3): no excursion may last as long. The tortoise's lamp is
      // on a timer and follows the room: in a cold room it is late into its band by less than the half hour a
      // cold alarm waits at least (husbandry reference section 8).
      const bool on_timer = spec.probes[static_cast<std::size_t>(probe)].enclosure == 7;
      EXPECT_LT(seen.longest_ms, (on_timer ? 30 : 10) * 60'000)
          << name_of(spec, probe) << " room " << room_degc << ": " << seen.worst;
    }
  }
}

}  // namespace
}  // namespace baskwell::demoroom
