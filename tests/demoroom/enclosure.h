#pragma once
// The thermal and moisture physics of one enclosure.
//
// Eight nodes (degC): heater, hot surface, hot, middle and cool air, substrate, hot and cool half of the
// walls; and two stores of water: vapour in the air (Pa) and a film left by misting (kg). Explicit Euler in
// flux form, so energy is kept to rounding: what goes in is what is stored plus what went out. Convection
// goes with |dT|^(1/4), air exchange with |dT|^(1/2), radiation with T^4, so no node follows an exponential.
// Units are in the names (_w, _j_per_k, _w_per_k, _m2).
//
// Sources of the figures: README.md of this folder. Errors: a spec that makes no sense is a broken invariant
// (CHECK). Threads: one object, one thread; objects share nothing.

#include <optional>
#include <string>

namespace baskwell::demoroom {

enum class Build { foam_pvc, wood_glass_front, glass_mesh_top, plastic_tub, open_table };
enum class HeaterKind { mat, cable, ceramic, halogen };
enum class Place { hot_surface, hot_air, middle_air, cool_air };

struct EnclosureSpec {
  std::string id;
  std::string group;  // the rack it belongs to, or empty
  std::string animal;
  std::string species;

  Build build = Build::wood_glass_front;
  double length_m = 0.9;
  double width_m = 0.45;
  double height_m = 0.45;
  double exposed_share = 1.0;      // of its outside that meets room air; the rest leans on neighbours as warm
  double room_offset_k = 0.0;      // warmer or colder than the room's middle: high shelf, floor
  double air_changes_per_h = 4.0;  // by its vents, door shut
  double mixing = 1.0;  // how freely air moves from the hot to the cool end; 1 = sparsely furnished

  double substrate_m = 0.04;
  double substrate_j_per_m3k = 900e3;  // bark 500e3, damp soil 2500e3
  double wet_share = 0.05;             // how damp: share of the floor that evaporates like open water
  double water_bowl_m2 = 0.008;

  double hot_surface_m2 = 0.08;
  double hot_surface_j_per_m2k = 15e3;  // floor over a mat 10e3; a 4 cm basking stone 70e3
  std::optional<HeaterKind> heater = HeaterKind::mat;
  double heater_room_loss_w_per_m2k = 2.0;  // mat or cable: downwards or backwards, out of the enclosure
  double beam_share = 0.3;  // ceramic, halogen: share of the radiation that meets the hot surface

  double light_lux = 0.0;  // at the middle, from its own light when on
  double light_w = 0.0;
  double lamp_lux = 0.0;  // at the middle, from a halogen at full power
  int timer = -1;         // index into RoomSpec::timers for the light, or -1
};

struct Nodes {
  double heater_degc = 20.0;
  double surface_degc = 20.0;
  double air_hot_degc = 20.0;
  double air_middle_degc = 20.0;
  double air_cool_degc = 20.0;
  double substrate_degc = 20.0;
  double wall_hot_degc = 20.0;
  double wall_cool_degc = 20.0;
};

struct Surroundings {
  double room_degc = 20.0;
  double room_vapour_pa = 1000.0;
  double heater_w = 0.0;
  double light_w = 0.0;
  bool door_open = false;
};

struct EnergyBook {       // since the start
  double in_j = 0.0;      // electricity of heater and light
  double out_j = 0.0;     // to the room, by conduction, air and radiation
  double latent_j = 0.0;  // carried off as vapour, less what condensed
};

class Enclosure {
 public:
  Enclosure(const EnclosureSpec& spec, double start_degc, double start_vapour_pa, double max_step_s);

  void step(const Surroundings& around, double step_s);
  void mist(double water_kg) { film_kg_ += water_kg; }
  // New substrate as warm as the room, the old film wiped away.
  void change_substrate(double room_degc);
  // Air mixes this many times as freely as the spec says: a fan, furniture taken out.
  void set_mixing_times(double factor);

  [[nodiscard]] const Nodes& nodes() const { return nodes_; }
  [[nodiscard]] double at_degc(Place place) const;
  [[nodiscard]] double mean_air_degc() const;
  [[nodiscard]] double vapour_pa() const { return vapour_pa_; }
  [[nodiscard]] double film_kg() const { return film_kg_; }
  [[nodiscard]] double loss_w() const { return loss_w_; }  // to the room, over the last step
  [[nodiscard]] const EnergyBook& energy() const { return energy_; }
  [[nodiscard]] double stored_j() const;  // above 0 degC
  [[nodiscard]] int substeps() const { return substeps_; }

 private:
  struct Capacities {  // J/K
    double heater, surface, air, substrate, wall;
  };
  struct Couplings {
    double heater_surface_w_per_k = 0;  // contact
    double heater_substrate_w_per_k = 0;
    double heater_room_w_per_k = 0;
    double heater_air_w_per_k54 = 0;  // times dT^(5/4)
    double heater_rad_surface = 0;    // times (T1^4 - T2^4), K
    double heater_rad_wall = 0;
    double beam_surface = 0;  // shares of a lamp's electricity that arrive as radiation
    double beam_substrate = 0;
    double beam_wall_hot = 0;
    double beam_wall_cool = 0;
    double beam_room = 0;
    double surface_air_w_per_k54 = 0;
    double surface_rad_wall = 0;
    double surface_rad_room = 0;
    double surface_substrate_w_per_k = 0;
    double air_wall_w_per_k54 = 0;  // one end's air to its half of the walls; the middle half as much to each
    double air_wall_w_per_k = 0;
    double substrate_air_w_per_k54 = 0;
    double substrate_air_w_per_k = 0;
    double substrate_rad_wall_w_per_k = 0;
    double substrate_rad_room_w_per_k = 0;
    double substrate_room_w_per_k = 0;
    double mixing_w_per_k = 0;
    double mixing_w_per_k32 = 0;  // times sqrt(dT)
    double vent_w_per_k = 0;      // each third of the air
    double vent_w_per_k32 = 0;
    double door_w_per_k = 0;
    double door_w_per_k32 = 0;
    double wall_room_w_per_k = 0;
  };
  struct Moisture {
    double vapour_kg_per_pa = 0;
    double wet_kg_per_s_pa = 0;       // substrate
    double water_kg_per_s_pa = 0;     // bowl
    double film_kg_per_s_pa = 0;      // when there is a film
    double condense_kg_per_s_pa = 0;  // on the cool walls
    double exchange_kg_per_j_pa = 0;  // turns W/K of air exchange into kg/(s Pa)
  };

  struct Flows {  // W, positive from the first named to the second
    double heater_surface_w, heater_wall_w, heater_substrate_w, heater_room_w, heater_air_w;
    double surface_air_w, surface_wall_w, surface_room_w, surface_substrate_w;
    double hot_wall_w, cool_wall_w, middle_wall_hot_w, middle_wall_cool_w;
    double floor_middle_w, floor_cool_w, floor_wall_hot_w, floor_wall_cool_w, floor_room_w;
    double hot_middle_w, middle_cool_w;
    double vent_hot_w, vent_middle_w, vent_cool_w;
    double wall_hot_room_w, wall_cool_room_w;
  };

  void derive_shell(const EnclosureSpec& spec);
  void derive_heater(const EnclosureSpec& spec);
  void derive_moisture(const EnclosureSpec& spec);
  [[nodiscard]] double stiffest_per_s() const;
  [[nodiscard]] Flows flows(const Surroundings& around) const;
  void step_moisture(const Surroundings& around, double exchange_w_per_k, double dt_s);
  void substep(const Surroundings& around, double dt_s);

  Capacities capacity_{};
  Couplings g_{};
  Moisture water_{};
  double room_offset_k_ = 0;
  Nodes nodes_{};
  double vapour_pa_ = 1000.0;
  double film_kg_ = 0.0;
  double latent_w_ = 0.0;  // drawn from the substrate, from the last moisture step
  double condense_w_ = 0.0;
  double loss_w_ = 0.0;
  EnergyBook energy_{};
  int substeps_ = 1;
  double max_step_s_ = 0;
  double mixing_times_ = 1.0;
};

}  // namespace baskwell::demoroom
