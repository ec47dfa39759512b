#include "demoroom/enclosure.h"

#include <algorithm>
#include <cmath>

#include "core/check.h"
#include "demoroom/moist_air.h"

namespace baskwell::demoroom {
namespace {

constexpr double kStefanBoltzmann = 5.670e-8;  // W/(m2 K4)
constexpr double kEmissivity = 0.9;
constexpr double kLinearRadiation_w_per_m2k = 5.5;  // 4 sigma eps T^3 near 300 K
constexpr double kOuterFilm_w_per_m2k = 8.0;
constexpr double kGravity = 9.81;

struct Panel {
  double resistance_m2k_per_w;
  double capacity_j_per_m2k;
};
constexpr Panel kFoamPvc{0.010 / 0.06, 0.010 * 550.0 * 1000.0};
constexpr Panel kWood{0.015 / 0.12, 0.015 * 650.0 * 1600.0};
constexpr Panel kGlass{0.004 / 1.0, 0.004 * 2500.0 * 800.0};
constexpr Panel kPlastic{0.002 / 0.2, 0.002 * 950.0 * 1900.0};

Panel side_panel(Build build) {
  switch (build) {
    case Build::foam_pvc:
      return kFoamPvc;
    case Build::wood_glass_front:
    case Build::open_table:
      return kWood;
    case Build::glass_mesh_top:
      return kGlass;
    case Build::plastic_tub:
      return kPlastic;
  }
  CHECK(false);
}

double quarter_power(double difference_k) {
  return std::sqrt(std::sqrt(std::abs(difference_k)));
}

double fourth_power_difference(double a_degc, double b_degc) {
  const double a = a_degc + kKelvin;
  const double b = b_degc + kKelvin;
  return (a * a + b * b) * (a + b) * (a - b);
}

// Flow of heat through an opening by buoyancy, W per K^1.5: volume flow C A sqrt(g H dT / T).
double buoyant_w_per_k32(double coefficient, double area_m2, double height_m) {
  return coefficient * area_m2 * std::sqrt(kGravity * height_m / 295.0) * kAir_j_per_m3k;
}

}  // namespace

Enclosure::Enclosure(const EnclosureSpec& spec, double start_degc, double start_vapour_pa, double max_step_s)
    : room_offset_k_(spec.room_offset_k), vapour_pa_(start_vapour_pa), max_step_s_(max_step_s) {
  CHECK(spec.length_m > 0 && spec.width_m > 0 && spec.height_m > 0);
  CHECK(spec.hot_surface_m2 > 0 && spec.hot_surface_m2 < spec.length_m * spec.width_m);
  CHECK(max_step_s > 0);
  nodes_ =
      Nodes{start_degc, start_degc, start_degc, start_degc, start_degc, start_degc, start_degc, start_degc};
  derive_shell(spec);
  derive_heater(spec);
  derive_moisture(spec);
  set_mixing_times(1.0);
}

void Enclosure::change_substrate(double room_degc) {
  nodes_.substrate_degc = room_degc;
  film_kg_ = 0.0;
}

void Enclosure::set_mixing_times(double factor) {
  CHECK(factor > 0);
  g_.mixing_w_per_k *= factor / mixing_times_;
  g_.mixing_w_per_k32 *= factor / mixing_times_;
  mixing_times_ = factor;
  // Half the stability limit of explicit Euler: no oscillation with the door open.
  substeps_ = std::max(1, static_cast<int>(std::ceil(max_step_s_ * stiffest_per_s() / 0.6)));
}

void Enclosure::derive_shell(const EnclosureSpec& spec) {
  const double floor_m2 = spec.length_m * spec.width_m;
  const double front_m2 = spec.length_m * spec.height_m;
  const bool open = spec.build == Build::open_table;
  const bool mesh = spec.build == Build::glass_mesh_top;
  const double top_m2 = open || mesh ? 0.0 : floor_m2;
  const double walls_m2 = 2.0 * (front_m2 + spec.width_m * spec.height_m) + top_m2;
  const Panel panel = side_panel(spec.build);
  const double glass_m2 = spec.build == Build::wood_glass_front ? front_m2 : 0.0;
  const double panel_w_per_k =
      (walls_m2 - glass_m2) / (panel.resistance_m2k_per_w + 1.0 / kOuterFilm_w_per_m2k);
  const double glass_w_per_k = glass_m2 / (kGlass.resistance_m2k_per_w + 1.0 / kOuterFilm_w_per_m2k);
  g_.wall_room_w_per_k = spec.exposed_share * (panel_w_per_k + glass_w_per_k) / 2.0;
  capacity_.wall =
      ((walls_m2 - glass_m2) * panel.capacity_j_per_m2k + glass_m2 * kGlass.capacity_j_per_m2k) / 2.0;

  const double volume_m3 = floor_m2 * spec.height_m;
  // Leaves, branches and the skin of the furniture follow the air: two and a half times the air alone.
  capacity_.air = 40.0 + 2.5 * volume_m3 / 3.0 * kAir_j_per_m3k;
  g_.air_wall_w_per_k54 = 1.5 * walls_m2 / 3.0;
  g_.air_wall_w_per_k = 1.0 * walls_m2 / 3.0;

  const double section_m2 = spec.width_m * spec.height_m;
  g_.mixing_w_per_k = spec.mixing * 2.0 * section_m2;
  g_.mixing_w_per_k32 = spec.mixing * buoyant_w_per_k32(0.05, section_m2, spec.height_m);
  g_.vent_w_per_k = volume_m3 * spec.air_changes_per_h / 3600.0 * kAir_j_per_m3k / 3.0;
  if (open) g_.vent_w_per_k32 = buoyant_w_per_k32(0.04, floor_m2, spec.height_m) / 3.0;
  if (mesh) g_.vent_w_per_k32 = buoyant_w_per_k32(0.004, floor_m2, spec.height_m) / 3.0;
  g_.door_w_per_k = 4.0 * front_m2;
  g_.door_w_per_k32 = buoyant_w_per_k32(0.06, front_m2, spec.height_m);

  const double sky_share = open ? 0.5 : mesh ? 0.2 : 0.0;  // of what looks up, sees the room
  const double loose_m2 = floor_m2 - spec.hot_surface_m2;
  capacity_.surface = spec.hot_surface_m2 * spec.hot_surface_j_per_m2k;
  capacity_.substrate =
      loose_m2 * (spec.substrate_m * spec.substrate_j_per_m3k + 0.5 * panel.capacity_j_per_m2k);
  const double emits = kEmissivity * kStefanBoltzmann * spec.hot_surface_m2;
  g_.surface_air_w_per_k54 = 1.8 * spec.hot_surface_m2;
  g_.surface_rad_wall = emits * (1.0 - sky_share);
  g_.surface_rad_room = emits * sky_share;
  g_.surface_substrate_w_per_k = 1.5 * std::sqrt(spec.hot_surface_m2);  // along its edge
  g_.substrate_air_w_per_k54 = 1.4 * loose_m2 / 2.0;
  g_.substrate_air_w_per_k = 0.5 * loose_m2 / 2.0;
  g_.substrate_rad_wall_w_per_k =
      kLinearRadiation_w_per_m2k * kEmissivity * loose_m2 * (1.0 - sky_share) / 2.0;
  g_.substrate_rad_room_w_per_k = kLinearRadiation_w_per_m2k * kEmissivity * loose_m2 * sky_share;
  g_.substrate_room_w_per_k = spec.exposed_share * loose_m2 /
                              (panel.resistance_m2k_per_w + 0.5 * spec.substrate_m / 0.15 + 1.0 / 6.0);
}

void Enclosure::derive_heater(const EnclosureSpec& spec) {
  capacity_.heater = 100.0;
  if (!spec.heater) {
    g_.heater_air_w_per_k54 = 0.1;
    return;
  }
  const bool open = spec.build == Build::open_table;
  const double beam_rest = 1.0 - spec.beam_share;
  switch (*spec.heater) {
    case HeaterKind::mat:
    case HeaterKind::cable:
      capacity_.heater = 40.0 + spec.hot_surface_m2 * 1500.0;
      g_.heater_surface_w_per_k = spec.hot_surface_m2 * (*spec.heater == HeaterKind::mat ? 30.0 : 18.0);
      g_.heater_substrate_w_per_k = spec.hot_surface_m2 * 2.0;
      g_.heater_room_w_per_k = spec.hot_surface_m2 * spec.heater_room_loss_w_per_m2k;
      break;
    case HeaterKind::ceramic: {
      capacity_.heater = 220.0;
      const double emits = kEmissivity * kStefanBoltzmann * 0.02;  // 0.02 m2 of glazed front and back
      g_.heater_rad_surface = emits * spec.beam_share;
      g_.heater_rad_wall = emits * beam_rest;
      g_.heater_air_w_per_k54 = 1.8 * 0.02 + 0.03;  // and its hot fitting
      break;
    }
    case HeaterKind::halogen:
      capacity_.heater = 40.0;
      g_.heater_air_w_per_k54 = 0.12;
      g_.beam_surface = 0.8 * spec.beam_share;
      g_.beam_substrate = 0.8 * beam_rest * 0.35;
      g_.beam_room = 0.8 * beam_rest * (open ? 0.3 : 0.0);
      g_.beam_wall_hot = 0.8 * beam_rest * (open ? 0.25 : 0.5);
      g_.beam_wall_cool = 0.8 * beam_rest * (open ? 0.1 : 0.15);
      break;
  }
}

void Enclosure::derive_moisture(const EnclosureSpec& spec) {
  const double floor_m2 = spec.length_m * spec.width_m;
  const double volume_m3 = floor_m2 * spec.height_m;
  constexpr double kEvaporates_kg_per_m2spa = 3.0e-8;  // still indoor air, from memory
  // Wood, paper and bark take up vapour and give it back: six times the air alone.
  water_.vapour_kg_per_pa = 6.0 * volume_m3 / (kVapourGas * 297.0);
  water_.wet_kg_per_s_pa = kEvaporates_kg_per_m2spa * floor_m2 * spec.wet_share;
  water_.water_kg_per_s_pa = kEvaporates_kg_per_m2spa * spec.water_bowl_m2;
  water_.film_kg_per_s_pa = kEvaporates_kg_per_m2spa * floor_m2 * 0.8;
  water_.condense_kg_per_s_pa = kEvaporates_kg_per_m2spa * floor_m2;
  water_.exchange_kg_per_j_pa = 1.0 / (kAir_j_per_m3k * kVapourGas * 297.0);
}

double Enclosure::stiffest_per_s() const {
  constexpr double kSpread_k = 12.0;  // the widest difference counted on between neighbours
  const double root = std::sqrt(kSpread_k);
  const double quarter = std::sqrt(root);
  const double air = 2.0 * (g_.mixing_w_per_k + g_.mixing_w_per_k32 * root) + g_.vent_w_per_k +
                     g_.vent_w_per_k32 * root + (g_.door_w_per_k + g_.door_w_per_k32 * root) / 3.0 +
                     g_.air_wall_w_per_k + g_.air_wall_w_per_k54 * quarter +
                     g_.surface_air_w_per_k54 * quarter + g_.substrate_air_w_per_k +
                     g_.substrate_air_w_per_k54 * quarter + g_.heater_air_w_per_k54 * 3.0;
  const double wall = g_.wall_room_w_per_k + 1.5 * (g_.air_wall_w_per_k + g_.air_wall_w_per_k54 * quarter) +
                      g_.substrate_rad_wall_w_per_k + g_.surface_rad_wall * 1.4e8;
  const double heater = g_.heater_surface_w_per_k + g_.heater_substrate_w_per_k + g_.heater_room_w_per_k +
                        g_.heater_air_w_per_k54 * 5.0 + (g_.heater_rad_surface + g_.heater_rad_wall) * 1.0e9;
  const double surface = g_.heater_surface_w_per_k + g_.surface_air_w_per_k54 * quarter +
                         g_.surface_substrate_w_per_k + (g_.surface_rad_wall + g_.surface_rad_room) * 1.4e8;
  return std::max(
      {air / capacity_.air, wall / capacity_.wall, heater / capacity_.heater, surface / capacity_.surface});
}

double Enclosure::at_degc(Place place) const {
  switch (place) {
    case Place::hot_surface:
      return nodes_.surface_degc;
    case Place::hot_air:
      return nodes_.air_hot_degc;
    case Place::middle_air:
      return nodes_.air_middle_degc;
    case Place::cool_air:
      return nodes_.air_cool_degc;
  }
  CHECK(false);
}

double Enclosure::mean_air_degc() const {
  return (nodes_.air_hot_degc + nodes_.air_middle_degc + nodes_.air_cool_degc) / 3.0;
}

double Enclosure::stored_j() const {
  return capacity_.heater * nodes_.heater_degc + capacity_.surface * nodes_.surface_degc +
         capacity_.air * (nodes_.air_hot_degc + nodes_.air_middle_degc + nodes_.air_cool_degc) +
         capacity_.substrate * nodes_.substrate_degc +
         capacity_.wall * (nodes_.wall_hot_degc + nodes_.wall_cool_degc);
}

void Enclosure::step(const Surroundings& around, double step_s) {
  const double middle_k = std::abs(nodes_.air_middle_degc - around.room_degc - room_offset_k_);
  double exchange_w_per_k = 3.0 * (g_.vent_w_per_k + g_.vent_w_per_k32 * std::sqrt(middle_k));
  if (around.door_open) exchange_w_per_k += g_.door_w_per_k + g_.door_w_per_k32 * std::sqrt(middle_k);
  step_moisture(around, exchange_w_per_k, step_s);
  const double dt_s = step_s / substeps_;
  loss_w_ = 0.0;
  for (int i = 0; i < substeps_; ++i) substep(around, dt_s);
  loss_w_ /= substeps_;
}

void Enclosure::step_moisture(const Surroundings& around, double exchange_w_per_k, double dt_s) {
  const double substrate_pa = saturation_pa(nodes_.substrate_degc);
  const double wall_pa = saturation_pa(nodes_.wall_cool_degc);
  const double deficit_pa = std::max(0.0, substrate_pa - vapour_pa_);
  const double wet_kg_per_s =
      water_.wet_kg_per_s_pa * deficit_pa + water_.water_kg_per_s_pa * std::max(0.0, wall_pa - vapour_pa_);
  const double film_kg_per_s = std::min(film_kg_ / dt_s, water_.film_kg_per_s_pa * deficit_pa);
  const double condense_kg_per_s = water_.condense_kg_per_s_pa * std::max(0.0, vapour_pa_ - wall_pa);
  const double exchange_kg_per_s_pa = exchange_w_per_k * water_.exchange_kg_per_j_pa;
  film_kg_ += (condense_kg_per_s - film_kg_per_s) * dt_s;
  const double gain_kg_per_s = wet_kg_per_s + film_kg_per_s - condense_kg_per_s;
  // Implicit in the exchange, so an open door cannot overshoot.
  const double capacity = water_.vapour_kg_per_pa / dt_s;
  vapour_pa_ = (capacity * vapour_pa_ + gain_kg_per_s + exchange_kg_per_s_pa * around.room_vapour_pa) /
               (capacity + exchange_kg_per_s_pa);
  latent_w_ = (wet_kg_per_s + film_kg_per_s) * kEvaporation_j_per_kg;
  condense_w_ = condense_kg_per_s * kEvaporation_j_per_kg;
}

// The flows of heat between the nodes, W, as they stand.
Enclosure::Flows Enclosure::flows(const Surroundings& around) const {
  const Nodes& n = nodes_;
  const double room = around.room_degc + room_offset_k_;
  const auto to_wall = [this](double d) {
    return (g_.air_wall_w_per_k + g_.air_wall_w_per_k54 * quarter_power(d)) * d;
  };
  const auto from_floor = [this](double d) {
    return (g_.substrate_air_w_per_k + g_.substrate_air_w_per_k54 * quarter_power(d)) * d;
  };
  const auto mixes = [this](double d) {
    return (g_.mixing_w_per_k + g_.mixing_w_per_k32 * std::sqrt(std::abs(d))) * d;
  };
  const auto vents = [this, &around](double d) {
    const double root = std::sqrt(std::abs(d));
    double w_per_k = g_.vent_w_per_k + g_.vent_w_per_k32 * root;
    if (around.door_open) w_per_k += (g_.door_w_per_k + g_.door_w_per_k32 * root) / 3.0;
    return w_per_k * d;
  };
  Flows f;
  const double h_s = n.heater_degc - n.surface_degc;
  f.heater_surface_w = g_.heater_surface_w_per_k * h_s +
                       g_.heater_rad_surface * fourth_power_difference(n.heater_degc, n.surface_degc);
  f.heater_wall_w = g_.heater_rad_wall * fourth_power_difference(n.heater_degc, n.wall_hot_degc);
  f.heater_substrate_w = g_.heater_substrate_w_per_k * (n.heater_degc - n.substrate_degc);
  f.heater_room_w = g_.heater_room_w_per_k * (n.heater_degc - room);
  const double h_a = n.heater_degc - n.air_hot_degc;
  f.heater_air_w = g_.heater_air_w_per_k54 * quarter_power(h_a) * h_a;

  const double s_a = n.surface_degc - n.air_hot_degc;
  f.surface_air_w = g_.surface_air_w_per_k54 * quarter_power(s_a) * s_a;
  f.surface_wall_w = g_.surface_rad_wall * fourth_power_difference(n.surface_degc, n.wall_hot_degc);
  f.surface_room_w = g_.surface_rad_room * fourth_power_difference(n.surface_degc, room);
  f.surface_substrate_w = g_.surface_substrate_w_per_k * (n.surface_degc - n.substrate_degc);

  f.hot_wall_w = to_wall(n.air_hot_degc - n.wall_hot_degc);
  f.cool_wall_w = to_wall(n.air_cool_degc - n.wall_cool_degc);
  f.middle_wall_hot_w = 0.5 * to_wall(n.air_middle_degc - n.wall_hot_degc);
  f.middle_wall_cool_w = 0.5 * to_wall(n.air_middle_degc - n.wall_cool_degc);
  f.floor_middle_w = from_floor(n.substrate_degc - n.air_middle_degc);
  f.floor_cool_w = from_floor(n.substrate_degc - n.air_cool_degc);
  f.floor_wall_hot_w = g_.substrate_rad_wall_w_per_k * (n.substrate_degc - n.wall_hot_degc);
  f.floor_wall_cool_w = g_.substrate_rad_wall_w_per_k * (n.substrate_degc - n.wall_cool_degc);
  f.floor_room_w = (g_.substrate_room_w_per_k + g_.substrate_rad_room_w_per_k) * (n.substrate_degc - room);

  f.hot_middle_w = mixes(n.air_hot_degc - n.air_middle_degc);
  f.middle_cool_w = mixes(n.air_middle_degc - n.air_cool_degc);
  f.vent_hot_w = vents(n.air_hot_degc - room);
  f.vent_middle_w = vents(n.air_middle_degc - room);
  f.vent_cool_w = vents(n.air_cool_degc - room);
  f.wall_hot_room_w = g_.wall_room_w_per_k * (n.wall_hot_degc - room);
  f.wall_cool_room_w = g_.wall_room_w_per_k * (n.wall_cool_degc - room);
  return f;
}

void Enclosure::substep(const Surroundings& around, double dt_s) {
  const Flows f = flows(around);
  Nodes& n = nodes_;
  const double lamp_w = around.heater_w;
  const double beam =
      g_.beam_surface + g_.beam_substrate + g_.beam_wall_hot + g_.beam_wall_cool + g_.beam_room;
  n.heater_degc += dt_s / capacity_.heater *
                   (lamp_w * (1.0 - beam) - f.heater_surface_w - f.heater_wall_w - f.heater_substrate_w -
                    f.heater_room_w - f.heater_air_w);
  n.surface_degc += dt_s / capacity_.surface *
                    (lamp_w * g_.beam_surface + f.heater_surface_w - f.surface_air_w - f.surface_wall_w -
                     f.surface_room_w - f.surface_substrate_w);
  const double per_air = dt_s / capacity_.air;
  n.air_hot_degc +=
      per_air * (f.heater_air_w + f.surface_air_w - f.hot_wall_w - f.hot_middle_w - f.vent_hot_w);
  n.air_middle_degc += per_air * (0.5 * around.light_w + f.hot_middle_w + f.floor_middle_w - f.middle_cool_w -
                                  f.middle_wall_hot_w - f.middle_wall_cool_w - f.vent_middle_w);
  n.air_cool_degc += per_air * (f.middle_cool_w + f.floor_cool_w - f.cool_wall_w - f.vent_cool_w);
  n.substrate_degc += dt_s / capacity_.substrate *
                      (lamp_w * g_.beam_substrate + 0.25 * around.light_w + f.heater_substrate_w +
                       f.surface_substrate_w - f.floor_middle_w - f.floor_cool_w - f.floor_wall_hot_w -
                       f.floor_wall_cool_w - f.floor_room_w - latent_w_);
  const double per_wall = dt_s / capacity_.wall;
  n.wall_hot_degc += per_wall * (lamp_w * g_.beam_wall_hot + f.heater_wall_w + f.surface_wall_w +
                                 f.hot_wall_w + f.middle_wall_hot_w + f.floor_wall_hot_w - f.wall_hot_room_w);
  n.wall_cool_degc +=
      per_wall * (lamp_w * g_.beam_wall_cool + 0.25 * around.light_w + f.cool_wall_w + f.middle_wall_cool_w +
                  f.floor_wall_cool_w + condense_w_ - f.wall_cool_room_w);

  const double out_w = f.heater_room_w + f.surface_room_w + f.floor_room_w + f.vent_hot_w + f.vent_middle_w +
                       f.vent_cool_w + f.wall_hot_room_w + f.wall_cool_room_w + lamp_w * g_.beam_room;
  loss_w_ += out_w;
  energy_.in_j += (lamp_w + around.light_w) * dt_s;
  energy_.out_j += out_w * dt_s;
  energy_.latent_j += (latent_w_ - condense_w_) * dt_s;
}

}  // namespace baskwell::demoroom
