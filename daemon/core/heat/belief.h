#pragma once
// What is believed of one enclosure's heating, for people: `baskwell heat`. degC, K, minutes, UTC ms; NaN:
// not known. Plain values.

#include <string>
#include <vector>

#include "core/time.h"

namespace baskwell::heat {

struct PhaseBelief {
  double level_degc;  // what is kept, mean over the hours it is held
  double swing_k;     // usual highest - lowest within three hours
  double low_k;       // how far it strays below and above what its course expects, 1 % and 99 %
  double high_k;
};

struct ProbeBelief {
  std::string channel;
  std::string zone;
  double now_degc;
  double expected_degc;
  double room_share;  // K for each K that the room is warmer than usual
  double days_learned;
  std::vector<double> course_degc;  // 96 quarters of an hour from local midnight; NaN: not learned
  std::vector<double> low_k;   // like course_degc: how far below it strays at that hour, 1 %; empty: by phase
  std::vector<double> high_k;  // and above, 99 %
};

struct Belief {
  std::string unit;
  std::string thermostat;
  std::vector<std::string> heaters;
  std::vector<std::string> feeds;     // enclosure ids
  std::vector<std::string> unprobed;  // of these, without a temperature probe of their own
  bool judged = false;
  UtcMs judged_from;  // when it will be, where it is not; an estimate
  PhaseBelief day, night;
  double fast_minutes;  // time constants of cooling: of the first ten minutes, and from 20 to 80 minutes
  double slow_minutes;
  int falls_seen = 0;
  double cycle_minutes;             // of an on-off thermostat; NaN: none seen
  double duty;                      // share of the time that it warms; NaN: not known
  std::vector<ProbeBelief> probes;  // the leading one first
  struct Change {
    UtcMs at;
    std::string what;
  };
  std::vector<Change> changes;        // newest first: notes and findings
  std::vector<std::string> evidence;  // of what holds now
};

}  // namespace baskwell::heat
