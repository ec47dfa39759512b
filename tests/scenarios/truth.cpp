#include "scenarios/truth.h"

#include <algorithm>
#include <cmath>

#include "scenarios/statistics.h"

namespace baskwell::scenarios {
namespace {

using demoroom::DemoRoom;
using demoroom::Place;

constexpr std::int64_t kHour_ms = 3'600'000;

double limit_k(AlarmKind kind) {
  if (kind == AlarmKind::room_cold || kind == AlarmKind::room_hot) return kRoomEffect_k;
  return kind == AlarmKind::night_drop_shifted ? kNightEffect_k : kEffect_k;
}

Place place_of(const demoroom::ProbeSpec& probe) {
  if (probe.zone == demoroom::Zone::cool) return Place::cool_air;
  return probe.medium == demoroom::Medium::surface ? Place::hot_surface : Place::hot_air;
}

}  // namespace

RunningTruth::RunningTruth(FaultResult& result, const DrawnRoom& drawn) : result_(&result), drawn_(&drawn) {}

double RunningTruth::difference_k(const DemoRoom& room, const DemoRoom& twin) {
  if (result_->planned.unit < 0) return std::abs(room.room_air().air_degc() - twin.room_air().air_degc());
  const DrawnUnit& unit = drawn_->units[static_cast<std::size_t>(result_->planned.unit)];
  constexpr std::array<Place, 4> kPlaces{Place::hot_surface, Place::hot_air, Place::middle_air,
                                         Place::cool_air};
  places_.resize(unit.enclosures.size() * kPlaces.size());
  double widest_k = 0.0;
  for (std::size_t i = 0; i < places_.size(); ++i) {
    const auto enclosure = static_cast<std::size_t>(unit.enclosures[i / kPlaces.size()]);
    const Place place = kPlaces[i % kPlaces.size()];
    const double now_k =
        room.enclosures()[enclosure].at_degc(place) - twin.enclosures()[enclosure].at_degc(place);
    Hourly& hourly = places_[i];
    double& slot = hourly.minutes[static_cast<std::size_t>(hourly.count) % hourly.minutes.size()];
    hourly.sum += now_k - slot;
    slot = now_k;
    ++hourly.count;
    const bool whole_hour = hourly.count >= static_cast<int>(hourly.minutes.size());
    const double mean_k =
        whole_hour ? std::abs(hourly.sum) / static_cast<double>(hourly.minutes.size()) : 0.0;
    widest_k = std::max({widest_k, mean_k, std::abs(now_k) - unit.held.swing_k});
  }
  return widest_k;
}

double RunningTruth::displaced_k(const DemoRoom& room) const {
  const demoroom::ProbeSpec& probe = drawn_->sim.probes[static_cast<std::size_t>(result_->planned.probe)];
  const demoroom::Enclosure& enclosure = room.enclosures()[static_cast<std::size_t>(probe.enclosure)];
  const double here = enclosure.at_degc(place_of(probe));
  if (result_->planned.sim == demoroom::FaultKind::probe_fell_out) {
    return std::abs(room.room_air().air_degc() - here);
  }
  const Place away = probe.zone == demoroom::Zone::cool ? Place::middle_air : Place::cool_air;
  return std::abs(result_->planned.value * (enclosure.at_degc(away) - here));
}

void RunningTruth::look(const DemoRoom& room, const DemoRoom& twin) {
  const bool moved = result_->planned.kind == AlarmKind::probe_moved;
  const double now_k = moved ? displaced_k(room) : difference_k(room, twin);
  result_->effect_k = std::max(result_->effect_k, now_k);
  const double from_k = moved ? kProbeMoved_k : limit_k(result_->planned.kind);
  if (result_->onset_ms < 0 && now_k > from_k) result_->onset_ms = room.now_ms();
  if (moved && room.now_ms() < result_->planned.start_ms + 6 * kHour_ms) {
    displaced_sum_k_ += now_k;
    ++displaced_minutes_;
  }
  if (result_->planned.kind != AlarmKind::thermostat_hunting &&
      result_->planned.kind != AlarmKind::gradient_lost)
    return;
  if (hours_.empty() || hours_.back().minutes == 60) hours_.emplace_back();
  Hour& hour = hours_.back();
  const DrawnUnit& unit = drawn_->units[static_cast<std::size_t>(result_->planned.unit)];
  const auto i = static_cast<std::size_t>(
      drawn_->sim.thermostats[static_cast<std::size_t>(unit.thermostat)].probe.enclosure);
  const double hot = room.enclosures()[i].at_degc(unit.logged);
  const double twin_hot = twin.enclosures()[i].at_degc(unit.logged);
  hour.low = std::min(hour.low, hot);
  hour.high = std::max(hour.high, hot);
  hour.twin_low = std::min(hour.twin_low, twin_hot);
  hour.twin_high = std::max(hour.twin_high, twin_hot);
  hour.gradient_sum += hot - room.enclosures()[i].at_degc(Place::cool_air);
  hour.twin_gradient_sum += twin_hot - twin.enclosures()[i].at_degc(Place::cool_air);
  ++hour.minutes;
}

void RunningTruth::finish() {
  const AlarmKind kind = result_->planned.kind;
  result_->counts = result_->onset_ms >= 0;
  if (kind == AlarmKind::night_drop_shifted && std::abs(result_->planned.value) < kNightShift_min) {
    result_->counts = false;
  }
  if (kind == AlarmKind::probe_moved) {
    result_->size_k = displaced_minutes_ > 0 ? displaced_sum_k_ / displaced_minutes_ : 0.0;
    result_->counts = result_->size_k >= kProbeMoved_k;
  }
  if (kind != AlarmKind::thermostat_hunting && kind != AlarmKind::gradient_lost) return;
  std::vector<double> own;
  std::vector<double> twins;
  for (const Hour& hour : hours_) {
    if (hour.minutes < 60) continue;
    const bool hunting = kind == AlarmKind::thermostat_hunting;
    own.push_back(hunting ? hour.high - hour.low : hour.gradient_sum / hour.minutes);
    twins.push_back(hunting ? hour.twin_high - hour.twin_low : hour.twin_gradient_sum / hour.minutes);
  }
  if (own.size() < 4) {
    result_->counts = false;
    return;
  }
  const double own_k = quantile(own, 0.5);
  const double twin_k = quantile(twins, 0.5);
  result_->size_k = own_k;
  result_->counts = kind == AlarmKind::thermostat_hunting
                        ? own_k >= kHuntingSwing_k && own_k >= kHuntingTimes * twin_k
                        : twin_k >= 2.0 && own_k <= kGradientLeft * twin_k;
  if (result_->counts && result_->onset_ms < 0) result_->onset_ms = result_->planned.start_ms;
}

}  // namespace baskwell::scenarios
