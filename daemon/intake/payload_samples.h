#pragma once
// The last bad payloads, for the keeper to look at. Twenty at most; when all places are taken, the one who
// has the most of them gives up its oldest, so that one instrument that talks nonsense does not push out what
// the others said. Bounded in every direction; after the first twenty nothing is allocated beyond the bounds
// below. Pure; one thread at a time.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/time.h"

namespace baskwell::intake {

struct PayloadSample {
  UtcMs at;
  std::string topic;    // first 256 bytes
  std::string payload;  // first 512 bytes, as they came: may be anything, is not for a terminal as it stands
  std::size_t payload_size = 0;  // all of it
  std::string cause;             // for people
};

class PayloadSamples {
 public:
  static constexpr std::size_t count_max = 20;
  static constexpr std::size_t payload_bytes_max = 512;
  static constexpr std::size_t topic_bytes_max = 256;
  static constexpr std::size_t cause_bytes_max = 512;

  // `whose`: any number by which samples belong together.
  void add(std::uint32_t whose, UtcMs at, std::string_view topic, std::string_view payload,
           std::string_view cause);
  // Oldest first.
  [[nodiscard]] std::vector<PayloadSample> all() const;

 private:
  struct Place {
    std::uint32_t whose = 0;
    std::uint64_t number = 0;  // 0: free
    PayloadSample sample;
  };
  [[nodiscard]] Place& place_for_next();

  std::array<Place, count_max> places_;
  std::uint64_t added_ = 0;
};

}  // namespace baskwell::intake
