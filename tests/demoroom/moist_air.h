#pragma once
// Moist air as the demo room needs it: Pa, degC, %RH. Written apart from core/climate on purpose: the
// simulator must not share the equations of what it checks. Alduchov and Eskridge 1996, from memory.

#include <cmath>

namespace baskwell::demoroom {

inline constexpr double kVapourGas = 461.5;              // J/(kg K), water vapour
inline constexpr double kEvaporation_j_per_kg = 2.45e6;  // near 20 degC
inline constexpr double kAir_j_per_m3k = 1200.0;         // density 1.19 kg/m3 times 1005 J/(kg K)
inline constexpr double kKelvin = 273.15;

[[nodiscard]] inline double saturation_pa(double degc) {
  return 610.94 * std::exp(17.625 * degc / (degc + 243.04));
}

[[nodiscard]] inline double relative_humidity_pct(double vapour_pa, double degc) {
  return 100.0 * vapour_pa / saturation_pa(degc);
}

}  // namespace baskwell::demoroom
