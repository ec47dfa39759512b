// The room's own air and heating.

#include <algorithm>
#include <cmath>

#include "core/heat/outage_inside.h"

namespace baskwell::heat {

void OutageWatch::Inside::hear_room(double degc, Stamp at) {
  constexpr double mean_of_ms = 10.0 * minute_ms;
  const std::int64_t pause_ms = room_air.last_e == INT64_MIN ? hour_ms : at.elapsed.ms - room_air.last_e;
  room_air.last_e = at.elapsed.ms;
  const double share = 1 - std::exp(-static_cast<double>(pause_ms) / mean_of_ms);
  room_air.air_degc =
      std::isnan(room_air.air_degc) ? degc : room_air.air_degc + share * (degc - room_air.air_degc);
}

// Hours, not minutes: the room is slow and its usual hour is learned.
void OutageWatch::Inside::judge_room() {
  RoomWatch& air = room_air;
  if (air.channel == none || !trusted || std::isnan(air.air_degc) ||
      now.elapsed.ms - air.last_e > 30 * minute_ms)
    return;
  const int hour = local_minute(room.clock, now.utc) / 60;
  const auto h = static_cast<std::size_t>(hour);
  constexpr std::uint16_t enough_days = 2;
  constexpr double cold_k = 3;  // a room strays by 2 from day to day: common practice, no source
  constexpr double usual_k = 1;
  const bool known = air.days[h] >= enough_days;
  const double off_k = air.air_degc - static_cast<double>(air.hour_degc[h]);
  air.colder_k = known ? -off_k : 0;
  if (!known || off_k > -usual_k) air.normal_e = now.elapsed.ms;
  if (air.out == 0 || !(air.air_degc >= air.lowest_degc)) {
    air.lowest_degc = air.air_degc;
    air.lowest_e = now.elapsed.ms;
  }
  if (hour != air.hour) {
    if (air.hour >= 0 && air.n > 0) {
      const auto done = static_cast<std::size_t>(air.hour);
      const double mean = air.sum / air.n;
      constexpr double newest = 0.2;
      const bool odd = air.out != 0;
      if (air.days[done] == 0) air.hour_degc[done] = static_cast<float>(mean);
      if (!odd) {
        const auto usual = static_cast<double>(air.hour_degc[done]);
        air.hour_degc[done] = static_cast<float>(usual + newest * (mean - usual));
        air.days[done] = static_cast<std::uint16_t>(std::min(air.days[done] + 1, 1000));
      }
    }
    air.hour = hour;
    air.sum = 0;
    air.n = 0;
  }
  air.sum += air.air_degc;
  ++air.n;
  if (air.out == 0) {
    const bool power_is_out = std::any_of(episodes.begin(), episodes.end(), [](const Episode& one) {
      return one.heat && one.record.stage < OutageStage::settled;
    });
    constexpr std::int64_t lasting_ms = 90 * minute_ms;
    if (power_is_out || !known || off_k > -cold_k || air.normal_e == INT64_MIN ||
        now.elapsed.ms - air.normal_e < lasting_ms)
      return;
    Episode& made = open(utc(air.normal_e));
    made.record.kind = OutageKind::room_heating;
    made.record.from_within_ms = hour_ms;
    air.out = made.number;
    air.lowest_degc = air.air_degc;
    air.lowest_e = now.elapsed.ms;
    return;
  }
  Episode* own = episode(air.out);
  constexpr double risen_k = 1;
  if (own != nullptr && !own->record.to && air.air_degc < air.lowest_degc + risen_k) return;
  if (own != nullptr && !own->record.to) {
    OutageNews news;  // no unit was without its own heat
    end(*own, air.lowest_e, 30 * minute_ms, true, news);
  }
  if (off_k > -usual_k || own == nullptr) air.out = 0;
}

}  // namespace baskwell::heat
