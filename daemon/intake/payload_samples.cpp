#include "intake/payload_samples.h"

#include <algorithm>

namespace baskwell::intake {

PayloadSamples::Place& PayloadSamples::place_for_next() {
  if (added_ < count_max) return places_[added_];
  std::array<std::size_t, count_max> held{};
  for (std::size_t i = 0; i < count_max; ++i) {
    held[i] = static_cast<std::size_t>(std::count_if(
        places_.begin(), places_.end(), [&](const Place& other) { return other.whose == places_[i].whose; }));
  }
  std::size_t victim = 0;
  for (std::size_t i = 1; i < count_max; ++i) {
    const bool older = places_[i].number < places_[victim].number;
    if (held[i] > held[victim] || (held[i] == held[victim] && older)) victim = i;
  }
  return places_[victim];
}

void PayloadSamples::add(std::uint32_t whose, UtcMs at, std::string_view topic, std::string_view payload,
                         std::string_view cause) {
  Place& place = place_for_next();
  place.whose = whose;
  place.number = ++added_;
  place.sample.at = at;
  place.sample.topic.assign(topic.substr(0, topic_bytes_max));
  place.sample.payload.assign(payload.substr(0, payload_bytes_max));
  place.sample.payload_size = payload.size();
  place.sample.cause.assign(cause.substr(0, cause_bytes_max));
}

std::vector<PayloadSample> PayloadSamples::all() const {
  std::vector<const Place*> taken;
  for (const Place& place : places_) {
    if (place.number != 0) taken.push_back(&place);
  }
  std::sort(taken.begin(), taken.end(), [](const Place* a, const Place* b) { return a->number < b->number; });
  std::vector<PayloadSample> samples;
  samples.reserve(taken.size());
  for (const Place* place : taken) samples.push_back(place->sample);
  return samples;
}

}  // namespace baskwell::intake
