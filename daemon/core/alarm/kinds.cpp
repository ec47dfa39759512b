#include "core/alarm/kinds.h"

#include <cstddef>

#include "core/check.h"

namespace baskwell {
namespace {

constexpr std::array<std::string_view, 3> priority_names{"low", "medium", "high"};

// How often an unacknowledged alarm is told again. Proposal, no source: `high` often enough to wake a sleeper
// (repeated short sounds wake better than one, JASA 2013;134:2011, as read in a summary), `medium` so that a
// day's message is not lost, `low` never: it lives on the page and in the report.
constexpr std::int64_t repeat_of(Priority priority) {
  switch (priority) {
    case Priority::low:
      return 0;
    case Priority::medium:
      return hour_ms;
    case Priority::high:
      return 3 * minute_ms;
  }
  return 0;
}

// Proposals, no source. 0.5 degC is about 1 % of a probe's span of 50 degC, the dead band usually quoted from
// EEMUA 191 and ISA-18.2 for temperature (from memory); for humidity no source was found.
constexpr double deadband_degc = 0.5;
constexpr double deadband_rh_pct = 3.0;
constexpr double worsen_step_degc = 1.0;
constexpr double worsen_step_rh_pct = 10.0;

struct Delays {
  Priority priority;
  std::int64_t on_delay_ms;
  Priority harm_priority;
  std::int64_t harm_on_delay_ms;
  std::int64_t off_delay_ms = 10 * minute_ms;
};

constexpr AlarmSettings fault(const Delays& delays) {
  AlarmSettings settings;
  settings.priority = delays.priority;
  settings.harm_priority = delays.harm_priority;
  settings.on_delay_ms = delays.on_delay_ms;
  settings.harm_on_delay_ms = delays.harm_on_delay_ms;
  settings.off_delay_ms = delays.off_delay_ms;
  settings.repeat_ms = repeat_of(delays.priority);
  settings.harm_repeat_ms = repeat_of(delays.harm_priority);
  return settings;
}

constexpr AlarmSettings temperature(const Delays& delays) {
  AlarmSettings settings = fault(delays);
  settings.deadband = deadband_degc;
  settings.worsen_step = worsen_step_degc;
  return settings;
}

constexpr AlarmSettings humidity(const Delays& delays) {
  AlarmSettings settings = fault(delays);
  settings.deadband = deadband_rh_pct;
  settings.worsen_step = worsen_step_rh_pct;
  return settings;
}

// Of what core/heat finds.
constexpr std::string_view heat_source =
    "No delay is added here: the evidence is gathered in core/heat until it is enough for the wanted rate of "
    "false alarms (decisions/0012). A fault inside the band is `medium` at most; off-delays: proposal, no "
    "source.";

constexpr std::string_view beyond_harm_limit = "beyond the harm limit";

constexpr std::array<AlarmKindRow, alarm_kind_count> rows{{
    {.kind = AlarmKind::too_cold,
     .name = "too-cold",
     .cause = "A heater, lamp or fuse has failed, a plug is out, or the room has cooled.",
     .consequence = "The animal slows down and cannot digest; after hours to a night of it, it falls ill.",
     .time_to_respond = "the same day; beyond the harm limit within the hour, also at night",
     .first_action = "Check its heater and plug.",
     .harm_means = beyond_harm_limit,
     .has_value = true,
     .defaults = temperature({Priority::medium, 45 * minute_ms, Priority::high, 30 * minute_ms}),
     .source = "Delays: proposal, no source; cold harms over many hours, so they may be long. Common "
               "practice, no source: a lamp change or cleaning is over within half an hour."},
    {.kind = AlarmKind::too_hot,
     .name = "too-hot",
     .cause = "A thermostat is stuck on or its probe has moved, sun shines in, or the room is too warm.",
     .consequence = "Overheating kills in minutes to an hour.",
     .time_to_respond = "within the hour; beyond the harm limit within 10 minutes",
     .first_action = "Unplug its heater.",
     .harm_means = beyond_harm_limit,
     .has_value = true,
     .defaults = temperature({Priority::high, 15 * minute_ms, Priority::high, 5 * minute_ms}),
     .source = "Delays: proposal, no source for time to harm; shorter than for cold, and `high` before the "
               "harm limit is passed, because heat kills sooner (decisions/0013). Keepers name it the "
               "killer of summer (threads read)."},
    {.kind = AlarmKind::no_refuge,
     .name = "no-refuge",
     .cause = "The cool end has warmed up: a heater is stuck on, or the whole room is too warm.",
     .consequence = "The animal has nowhere left to cool down and will overheat.",
     .time_to_respond = "within the hour; beyond the harm limit within 10 minutes",
     .first_action = "Unplug its heater, let warm air out.",
     .harm_means = beyond_harm_limit,
     .has_value = true,
     .defaults = temperature({Priority::medium, 30 * minute_ms, Priority::high, 5 * minute_ms}),
     .source = "Delays: proposal, no source. Slower than too-hot at the target, because the cool end follows "
               "the room by day; as fast beyond the harm limit."},
    {.kind = AlarmKind::too_dry,
     .name = "too-dry",
     .cause = "The water has run out, a misting was missed, or heat and draught dry the air.",
     .consequence = "Skin dries and sheds badly; an amphibian loses water within hours.",
     .time_to_respond = "the same day; beyond the harm limit within hours",
     .first_action = "Fill the water and mist.",
     .harm_means = beyond_harm_limit,
     .has_value = true,
     .defaults = humidity({Priority::low, 3 * hour_ms, Priority::medium, hour_ms}),
     .source = "Delays: proposal, no source; the air dries and recovers around every misting. One hour "
               "beyond the harm limit, because amphibians dry out sooner: common practice, no source."},
    {.kind = AlarmKind::too_damp,
     .name = "too-damp",
     .cause = "Too much was misted, a bowl is spilt, or a vent is blocked.",
     .consequence = "Wet air and wet substrate for days bring skin rot and sick lungs.",
     .time_to_respond = "within a day or two; beyond the harm limit the same day",
     .first_action = "Air it, take out wet substrate.",
     .harm_means = beyond_harm_limit,
     .has_value = true,
     .defaults = humidity({Priority::low, 3 * hour_ms, Priority::medium, 3 * hour_ms}),
     .source = "Delays: proposal, no source; after a misting it is damp for an hour or two and should be."},
    {.kind = AlarmKind::probe_silent,
     .name = "probe-silent",
     .cause = "Its battery is empty, its cable or radio link is broken, or it is switched off.",
     .consequence = "Heat or cold at this spot would go unseen.",
     .time_to_respond = "the same day; after 60 minutes of silence with a heater on, at once",
     .first_action = "Look at animal and probe.",
     .harm_means = "silent for 60 minutes",
     .has_value = false,
     .defaults = fault({Priority::medium, 0, Priority::high, 0}),
     .source = "Proposal, no source: 15 minutes of silence `medium`, 60 `high`; these times are in the "
               "probe's freshness, so no delay is added here."},
    {.kind = AlarmKind::probe_implausible,
     .name = "probe-implausible",
     .cause = "The cable is broken, the probe is wet, or it has come out of its place.",
     .consequence = "Its figures are not used, so this spot is not watched.",
     .time_to_respond = "the same day",
     .first_action = "Check probe, cable and place.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::medium, 10 * minute_ms, Priority::medium, 10 * minute_ms}),
     .source = "Proposal, no source: a single bad figure is common on a bus of digital probes (common "
               "practice, no source); ten minutes of them is not."},
    {.kind = AlarmKind::probe_frozen,
     .name = "probe-frozen",
     .cause = "The probe hangs: the same figure for hours, to the last digit.",
     .consequence = "Heat or cold at this spot would go unseen.",
     .time_to_respond = "within a day or two",
     .first_action = "Warm the probe: it must move.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::low, 0, Priority::low, 0}),
     .source = "Proposal, no source: the hours without change are counted in probe/, so no delay is added "
               "here. `low`: still air in a good enclosure can also stand still."},
    {.kind = AlarmKind::intake_trouble,
     .name = "intake-trouble",
     .cause = "The broker or the network is down, or messages come in that cannot be read or taken.",
     .consequence = "What does not come in is not judged: there is no warning of heat or cold.",
     .time_to_respond = "at once when nothing comes in; else the same day",
     .first_action = "Check that broker and network are up.",
     .harm_means = "the broker is away: nothing comes in at all",
     .has_value = false,
     .defaults = fault({Priority::medium, 5 * minute_ms, Priority::high, 5 * minute_ms, minute_ms}),
     .source = "Proposal, no source: while nothing comes in the whole room is blind, so it may last no "
               "longer than heat beyond a harm limit may go untold: 5 minutes, and `high`. A restart of "
               "the broker is over sooner. A few unreadable messages wake nobody. Over after 1 minute."},
    {.kind = AlarmKind::store_trouble,
     .name = "store-trouble",
     .cause = "The disk is full or failing, or its files may not be written.",
     .consequence = "Readings and the alarm record are being lost, though people are still told.",
     .time_to_respond = "the same day",
     .first_action = "Check whether the disk is full.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::medium, minute_ms, Priority::medium, minute_ms}),
     .source = "Proposal, no source: no animal is in danger while alarms are still told; one minute leaves "
               "out a disk that is slow for a moment."},
    {.kind = AlarmKind::delivery_failed,
     .name = "delivery-failed",
     .cause = "The address, the password, the network or the service behind a channel fails.",
     .consequence = "Somebody may not hear of the next alarm.",
     .time_to_respond = "the same day",
     .first_action = "Check this channel's address and network.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 0}),
     .source = "Proposal, no source: retries come before it, so no delay is added here; one delivered "
               "message is proof enough that it is over."},
    {.kind = AlarmKind::clock_unsure,
     .name = "clock-unsure",
     .cause = "The machine has no time source, or its clock has stepped.",
     .consequence = "Day and night may be held at the wrong hour.",
     .time_to_respond = "the same day",
     .first_action = "Set the machine's clock and time source.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::low, 15 * minute_ms, Priority::low, 15 * minute_ms}),
     .source = "Proposal, no source: a machine without a clock of its own finds the time within minutes of "
               "its start (common practice, no source); delays do not hang on the wall clock."},
    {.kind = AlarmKind::not_heating,
     .name = "not-heating",
     .cause = "Its element or lamp has failed, a plug is out, a circuit or its thermostat is off.",
     .consequence = "It cools down to the room; the forecast says how soon.",
     .time_to_respond = "by the time of the forecast",
     .first_action = "Check its heater and plug.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::high, 0, 20 * minute_ms}),
     .source = heat_source},
    {.kind = AlarmKind::heating_stuck_on,
     .name = "heating-stuck-on",
     .cause = "The thermostat's relay is welded or its output shorted: full power all the time.",
     .consequence = "Overheating kills in minutes to an hour, and a heater that never stops can burn.",
     .time_to_respond = "at once",
     .first_action = "Unplug its heater.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::high, 0, Priority::high, 0, 20 * minute_ms}),
     .source = heat_source},
    {.kind = AlarmKind::heating_weak,
     .name = "heating-weak",
     .cause = "The heater is ageing, partly failed, or too small for so cold a room.",
     .consequence = "The setting cannot be held; a colder night will be worse.",
     .time_to_respond = "within a day or two; by the time of the forecast if it is nearer",
     .first_action = "Hold a hand near the whole heater.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::high, 0, hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::thermostat_drift,
     .name = "thermostat-drift",
     .cause = "The thermostat, its probe or our probe ages: what is kept moves a little every day.",
     .consequence = "In days to weeks it will leave the band.",
     .time_to_respond = "within a few days",
     .first_action = "Compare with a second thermometer.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 6 * hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::thermostat_reset,
     .name = "thermostat-reset",
     .cause = "The thermostat keeps another temperature than before: reset to a default, or turned.",
     .consequence = "Too warm or too cold all day, though everything works.",
     .time_to_respond = "the same day",
     .first_action = "Look at the thermostat's setting.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::high, 0, 2 * hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::thermostat_hunting,
     .name = "thermostat-hunting",
     .cause = "The thermostat swings wider than it did: a worn contact, a loose or covered probe.",
     .consequence = "The animal goes through hot and cold by turns; the heater wears.",
     .time_to_respond = "within a day or two",
     .first_action = "Check the thermostat's probe.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 4 * hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::thermostat_probe_moved,
     .name = "thermostat-probe-moved",
     .cause = "The thermostat's own probe has come out of its place and feels another one.",
     .consequence = "The heater works against a wrong place: it may run on without end, or too little.",
     .time_to_respond = "at once when it is warming up; else the same day",
     .first_action = "Put the thermostat's probe back.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::high, 0, 20 * minute_ms}),
     .source = heat_source},
    {.kind = AlarmKind::probe_moved,
     .name = "probe-moved",
     .cause = "Our probe has been pushed, lifted or covered: it alone reads otherwise, at one stroke.",
     .consequence = "The figures of this spot are those of another place.",
     .time_to_respond = "within a day or two",
     .first_action = "Look where the probe lies.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 4 * hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::high_cutout_open,
     .name = "high-cutout-open",
     .cause = "The high cut-out has switched the heater off, and before that it was too warm.",
     .consequence = "It cools down to the room; what made it too warm is still there.",
     .time_to_respond = "by the time of the forecast",
     .first_action = "Find why it was hot before resetting.",
     .harm_means = "the harm limit is close by the forecast",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::high, 0, 20 * minute_ms}),
     .source = heat_source},
    {.kind = AlarmKind::room_cold,
     .name = "room-cold",
     .cause = "The room's heating is off, a window is open, or it is colder outside than before.",
     .consequence = "Every heater works harder, and the weakest enclosures cool first.",
     .time_to_respond = "the same day",
     .first_action = "Check the room's heating and windows.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::room_hot,
     .name = "room-hot",
     .cause = "Summer heat, sun through a window, or the room's heating stuck on.",
     .consequence = "No thermostat can cool: cool ends follow the room and the refuge goes.",
     .time_to_respond = "within hours",
     .first_action = "Air and shade the room.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::night_drop_shifted,
     .name = "night-drop-shifted",
     .cause = "A timer or the thermostat's clock is late or early, mostly after a power cut.",
     .consequence = "Right temperatures at the wrong hours: day and night are moved for the animal.",
     .time_to_respond = "within a day or two",
     .first_action = "Set the timer or thermostat clock.",
     .harm_means = "",
     .has_value = false,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 12 * hour_ms}),
     .source = heat_source},
    {.kind = AlarmKind::gradient_lost,
     .name = "gradient-lost",
     .cause = "Hot and cool end have come together: a fan, a new hide or vent, or a heater moved.",
     .consequence = "The animal can no longer choose its warmth.",
     .time_to_respond = "the same day",
     .first_action = "Look what changed between the ends.",
     .harm_means = "",
     .has_value = true,
     .defaults = fault({Priority::medium, 0, Priority::medium, 0, 2 * hour_ms}),
     .source = heat_source},
}};

constexpr bool rows_in_order() {
  for (std::size_t i = 0; i < rows.size(); ++i) {
    if (static_cast<std::size_t>(rows[i].kind) != i) return false;
  }
  return true;
}
static_assert(rows_in_order());

}  // namespace

std::string_view name_of(Priority priority) {
  return priority_names[static_cast<std::size_t>(priority)];
}

std::optional<Priority> priority_from(std::string_view name) {
  for (std::size_t i = 0; i < priority_names.size(); ++i) {
    if (priority_names[i] == name) return static_cast<Priority>(i);
  }
  return std::nullopt;
}

const AlarmKindRow& row_of(AlarmKind kind) {
  const auto index = static_cast<std::size_t>(kind);
  CHECK(index < rows.size());
  return rows[index];
}

const std::array<AlarmKindRow, alarm_kind_count>& alarm_kind_rows() {
  return rows;
}

std::optional<AlarmKind> alarm_kind_from(std::string_view name) {
  for (const AlarmKindRow& row : rows) {
    if (row.name == name) return row.kind;
  }
  return std::nullopt;
}

AlarmSettingsTable default_alarm_settings() {
  AlarmSettingsTable settings;
  for (std::size_t i = 0; i < rows.size(); ++i) settings[i] = rows[i].defaults;
  return settings;
}

}  // namespace baskwell
