#pragma once
// The part of a plan that is nobody's fault: doors, misting, cleaning, animals on probes, gaps, bad values,
// seasonal plans. Pure; any thread.

#include "scenarios/plan.h"

namespace baskwell::scenarios {

void draw_disturbances(const DrawnRoom& room, const Swarm& swarm, const demoroom::Rng& root, int days,
                       Plan& plan);

}  // namespace baskwell::scenarios
