#pragma once
// The moment at which the heating of several places went off, or came on, together: found from their readings
// afterwards. Heat reaches a probe late (the element's mass, the air or the surface, the probe itself), so a
// fall shows minutes after its cause. Here a straight line is taken to bend by the step response of three
// lags in a row, for a set of lags from a bare lamp to a thick panel; least squares over line, size and lags
// for every moment that comes into question; and the moments are weighed together over all places. Each place
// has a limited say: an on-off thermostat that happened to be off shows another moment, and several of them
// show several. degC, seconds. Pure.

#include <cstddef>
#include <vector>

namespace baskwell::heat {

struct TimedValue {
  double at_s = 0;
  double degc = 0;
};

struct CommonChange {
  bool found = false;
  double at_s = 0;
  double within_s = 0;     // either way; what the readings leave open, not what the shape may be wrong by
  std::size_t agree = 0;   // places whose own best moment lies within 90 s of it
  std::size_t places = 0;  // that had enough readings around it
};

enum class Bend { downwards, upwards };

// Each series ascending in time. It is looked for within [from_s, to_s]; readings from ten minutes before to
// seven minutes after are used. `interval_s`: the usual one of the readings, for slow instruments.
[[nodiscard]] CommonChange find_common_change(const std::vector<std::vector<TimedValue>>& places,
                                              double from_s, double to_s, double interval_s, Bend bend);

}  // namespace baskwell::heat
