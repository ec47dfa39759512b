#include "scenarios/episode.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <deque>
#include <map>
#include <utility>

#include "core/check.h"
#include "core/engine.h"
#include "demoroom/demo_room.h"
#include "scenarios/judging.h"
#include "scenarios/truth.h"

namespace baskwell::scenarios {
namespace {

using demoroom::DemoRoom;
using demoroom::FaultCommand;
using demoroom::FaultKind;
using demoroom::Report;
using demoroom::Rng;

double thread_cpu_s() {
  timespec now{};
  CHECK(clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now) == 0);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

// Mean power of each hour of the last day.
struct PowerBook {
  std::array<double, 24> hourly_w{};
  double sum_w = 0;
  int minutes = 0;
  std::size_t next = 0;

  void add(double power_w) {
    sum_w += power_w;
    if (++minutes < 60) return;
    hourly_w[next] = sum_w / 60.0;
    next = (next + 1) % hourly_w.size();
    sum_w = 0;
    minutes = 0;
  }
  [[nodiscard]] double most_w() const { return *std::max_element(hourly_w.begin(), hourly_w.end()); }
};

class Runner {
 public:
  Runner(const EpisodeRequest& request, DrawnRoom drawn, Plan plan);
  EpisodeResult run();

 private:
  void inject(std::int64_t until_ms);
  void start_fault(FaultResult& fault);
  void watch_clocks();
  void step_simulators(std::int64_t until_ms);
  void feed(std::int64_t until_ms);
  void feed_report(const Report& report);
  void feed_gaps(std::int64_t until_ms);
  void take_transitions();
  void look();
  [[nodiscard]] Stamp stamp(std::int64_t utc_ms) const {
    return {UtcMs{utc_ms}, ElapsedMs{utc_ms - drawn_.start_ms + minute_ms}};
  }
  [[nodiscard]] bool in_gap(std::int64_t at_ms) const;
  void schedule(DemoRoom& room, std::int64_t at_ms, const FaultCommand& command) {
    const Outcome done = room.schedule(std::max(at_ms, room.now_ms()), command);
    CHECK(done.ok());
  }

  EpisodeRequest request_;
  DrawnRoom drawn_;
  Plan plan_;
  EpisodeResult result_;
  DemoRoom room_;
  DemoRoom twin_;
  bool has_twin_;
  Engine engine_;
  Effects effects_;
  std::vector<Report> reports_;
  std::deque<FaultResult> faults_;  // addresses stay
  struct Active {
    FaultResult* result;
    RunningTruth truth;
  };
  std::vector<Active> active_;
  std::vector<PowerBook> power_;
  std::vector<int> unit_of_channel_;
  std::vector<PlainBandAlarm> bands_;  // by channel
  std::vector<NaiveDetector> naive_;   // by channel
  std::map<std::string, int> unit_of_subject_;
  std::vector<bool> clock_known_late_;  // by thermostat
  Said said_;
  std::size_t next_event_ = 0;
  std::size_t next_note_ = 0;
  std::size_t next_fault_ = 0;
  std::size_t next_outage_ = 0;
  std::size_t next_gap_ = 0;
  bool broker_away_ = false;
  double room_sum_degc_ = 0;
  int room_minutes_ = 0;
  Rng rng_;
};

Runner::Runner(const EpisodeRequest& request, DrawnRoom drawn, Plan plan)
    : request_(request),
      drawn_(std::move(drawn)),
      plan_(std::move(plan)),
      room_(drawn_.sim, request.seed, drawn_.start_ms, drawn_.local_offset_s),
      twin_(room_),
      has_twin_(!request.plan.healthy),
      engine_(drawn_.core, stamp(drawn_.start_ms)),
      power_(drawn_.sim.heaters.size()),
      clock_known_late_(drawn_.sim.thermostats.size(), false),
      rng_(Rng(request.seed).fork("runner")) {
  for (const PlannedFault& one : plan_.faults) {
    FaultResult fault;
    fault.planned = one;
    if (one.unit >= 0) fault.heater_class = drawn_.units[static_cast<std::size_t>(one.unit)].heater_class;
    faults_.push_back(std::move(fault));
  }
  const Room& core = *drawn_.core;
  for (const Channel& channel : core.channels) {
    const Placement& place = channel.placements.front();
    const int unit = place.enclosure == none ? -1 : drawn_.unit_of_enclosure[place.enclosure];
    unit_of_channel_.push_back(unit);
    unit_of_subject_[channel.id] = unit;
    bands_.emplace_back(core, SpotKey{place.enclosure, place.zone, place.medium, channel.quantity});
    naive_.emplace_back(request.naive, core, place.enclosure == none ? 0 : place.enclosure);
  }
  for (std::size_t i = 0; i < drawn_.units.size(); ++i) {
    const DrawnUnit& unit = drawn_.units[i];
    unit_of_subject_[unit.subject] = static_cast<int>(i);
    for (const int one : unit.enclosures) {
      const std::string& id = core.enclosures[static_cast<std::size_t>(one)].id;
      unit_of_subject_[id + "/gradient"] = static_cast<int>(i);
    }
  }
  unit_of_subject_["room"] = -1;
}

void Runner::start_fault(FaultResult& fault) {
  PlannedFault& planned = fault.planned;
  if (planned.value_is == ValueIs::share_of_need) {
    const DrawnUnit& unit = drawn_.units[static_cast<std::size_t>(planned.unit)];
    const auto heater = static_cast<std::size_t>(unit.heater);
    planned.value =
        std::clamp(planned.value * power_[heater].most_w() / drawn_.sim.heaters[heater].power_w, 0.02, 1.0);
  } else if (planned.value_is == ValueIs::above_setting) {
    const DrawnUnit& unit = drawn_.units[static_cast<std::size_t>(planned.unit)];
    fault.size_k = planned.value;
    const double now_degc = room_.thermostats()[static_cast<std::size_t>(unit.thermostat)].wanted_degc();
    planned.value = std::clamp(now_degc + planned.value, 5.0, 59.0);
  } else if (planned.kind == AlarmKind::thermostat_drift) {
    fault.size_k = planned.value;
  }
  const double minutes =
      static_cast<double>(planned.end_ms - planned.start_ms) / static_cast<double>(minute_ms);
  // One entry for each unit of a dead circuit, one cut.
  const bool cut_already =
      planned.circuit >= 0 && std::any_of(active_.begin(), active_.end(), [&](const Active& one) {
        return one.result->planned.circuit == planned.circuit;
      });
  if (!cut_already) {
    schedule(room_, planned.start_ms, {planned.sim, planned.target, planned.value, minutes});
  }
  for (const PlainBandAlarm& band : bands_) {
    const auto channel = static_cast<std::size_t>(&band - bands_.data());
    const bool its = unit_of_channel_[channel] == planned.unit || planned.unit < 0;
    if (its && band.raised()) fault.band_at_start = true;
  }
  active_.push_back({&fault, RunningTruth(fault, drawn_)});
}

void Runner::inject(std::int64_t until_ms) {
  for (; next_event_ < plan_.events.size() && plan_.events[next_event_].at_ms < until_ms; ++next_event_) {
    const PlannedEvent& one = plan_.events[next_event_];
    schedule(room_, one.at_ms, one.command);
    if (has_twin_) schedule(twin_, one.at_ms, one.command);
  }
  for (; next_outage_ < plan_.outages.size() && plan_.outages[next_outage_].start_ms < until_ms;
       ++next_outage_) {
    const PlannedOutage& one = plan_.outages[next_outage_];
    const double minutes = static_cast<double>(one.end_ms - one.start_ms) / static_cast<double>(minute_ms);
    const std::string target =
        one.circuit < 0 ? "all" : drawn_.sim.circuits[static_cast<std::size_t>(one.circuit)];
    schedule(room_, one.start_ms, {FaultKind::power_cut, target, minutes, minutes});
    result_.outages.push_back({one});
  }
  for (; next_fault_ < plan_.faults.size() && faults_[next_fault_].planned.start_ms < until_ms;
       ++next_fault_) {
    start_fault(faults_[next_fault_]);
  }
}

// A thermostat's clock that an outage has put wrong: nobody planned it, but it is true, until the keeper sees
// it some days later.
void Runner::watch_clocks() {
  for (std::size_t i = 0; i < drawn_.units.size(); ++i) {
    const DrawnUnit& unit = drawn_.units[i];
    const auto thermostat = static_cast<std::size_t>(unit.thermostat);
    const std::int64_t late_s = room_.thermostats()[thermostat].clock().late_s();
    if (late_s == 0) {
      clock_known_late_[thermostat] = false;
      continue;
    }
    const bool known =
        clock_known_late_[thermostat] || std::any_of(active_.begin(), active_.end(), [&](const Active& one) {
          return one.result->planned.unit == static_cast<int>(i) &&
                 one.result->planned.kind == AlarmKind::night_drop_shifted;
        });
    const bool powered_now = room_.thermostats()[thermostat].powered();
    if (known || !powered_now) continue;
    clock_known_late_[thermostat] = true;
    FaultResult fault;
    fault.planned.kind = AlarmKind::night_drop_shifted;
    fault.planned.unit = static_cast<int>(i);
    fault.planned.start_ms = room_.now_ms();
    fault.planned.end_ms =
        room_.now_ms() + std::llround(rng_.between(1.5, 6.0) * static_cast<double>(day_ms));
    fault.planned.sim = FaultKind::thermostat_clock_off;
    fault.planned.target = unit.target;
    fault.planned.value = static_cast<double>(late_s) / 60.0;
    fault.heater_class = unit.heater_class;
    fault.after_outage = true;
    // Nothing more is made wrong; when this "fault" ends, the clock is put right.
    schedule(room_, fault.planned.end_ms - minute_ms,
             {FaultKind::thermostat_clock_off, unit.target, 0.0, 1.0});
    faults_.push_back(std::move(fault));
    active_.push_back({&faults_.back(), RunningTruth(faults_.back(), drawn_)});
  }
}

void Runner::step_simulators(std::int64_t until_ms) {
  reports_.clear();
  room_.run_until(until_ms, [this](const Report& report) {
    if (!report.lost) reports_.push_back(report);
  });
  if (has_twin_) twin_.run_until(until_ms, {});
  for (std::size_t i = 0; i < power_.size(); ++i) power_[i].add(room_.heaters()[i].power_w);
  room_sum_degc_ += room_.room_air().air_degc();
  if (++room_minutes_ == 60) {
    said_.room_hourly_degc.push_back(room_sum_degc_ / 60.0);
    room_sum_degc_ = 0;
    room_minutes_ = 0;
  }
}

bool Runner::in_gap(std::int64_t at_ms) const {
  return next_gap_ < plan_.gaps.size() && plan_.gaps[next_gap_].from_ms <= at_ms &&
         at_ms < plan_.gaps[next_gap_].to_ms;
}

void Runner::feed_gaps(std::int64_t until_ms) {
  while (next_gap_ < plan_.gaps.size()) {
    const Gap& gap = plan_.gaps[next_gap_];
    if (gap.broker && !broker_away_ && gap.from_ms <= until_ms) {
      engine_.step(BrokerEvent{stamp(until_ms), false, "connection refused"}, effects_);
      broker_away_ = true;
    }
    if (gap.to_ms > until_ms) return;
    if (broker_away_) engine_.step(BrokerEvent{stamp(until_ms), true, ""}, effects_);
    broker_away_ = false;
    ++next_gap_;
  }
}

void Runner::feed_report(const Report& report) {
  constexpr std::int64_t kOnTheWay_ms = 150;
  constexpr std::array<std::int64_t, 5> kPowers{1, 10, 100, 1000, 10000};
  for (const Report::Value& value : report.values) {
    if (value.read.kind == demoroom::ValueKind::missing) continue;
    const auto probe = static_cast<std::size_t>(value.probe);
    const demoroom::Step& step = drawn_.sim.probes[probe].step;
    ReadingEvent event;
    event.at = stamp(report.utc_ms + kOnTheWay_ms);
    event.channel = drawn_.channel_of_probe[probe];
    const Channel& channel = drawn_.core->channels[event.channel];
    event.unit = channel.unit;
    event.not_a_number = value.read.kind == demoroom::ValueKind::not_a_number;
    event.value = {value.read.steps * step.num * kPowers[static_cast<std::size_t>(step.decimals)] / step.den,
                   static_cast<std::int8_t>(step.decimals)};
    event.has_own_time = drawn_.own_time;
    event.measured = UtcMs{report.utc_ms};
    engine_.step_reading(event, effects_);
    ++result_.readings;
    if (event.not_a_number || channel.quantity != Quantity::temperature) continue;
    const double degc = judged_value(event.value, event.unit);
    if (degc > 80.0 || degc < -20.0) continue;  // a chip's code, not a temperature; anybody leaves it out
    const int unit = unit_of_channel_[event.channel];
    if (unit < 0) continue;
    if (bands_[event.channel].take(report.utc_ms, degc)) {
      said_.band.push_back({report.utc_ms, unit, AlarmKind::too_cold});
    }
    if (channel.placements.front().zone != Zone::hot) continue;
    if (const auto kind = naive_[event.channel].take(report.utc_ms, degc)) {
      said_.naive.push_back({report.utc_ms, unit, *kind});
    }
  }
}

void Runner::feed(std::int64_t until_ms) {
  for (const Report& report : reports_) {
    if (!in_gap(report.utc_ms)) feed_report(report);
  }
  const std::int64_t tick_ms = until_ms + 200;  // after what is still on its way
  for (; next_note_ < plan_.notes.size() && plan_.notes[next_note_].at_ms <= until_ms; ++next_note_) {
    const PlannedNote& note = plan_.notes[next_note_];
    engine_.step(
        NoteEvent{stamp(tick_ms), note.type, note.subject, std::string(name_of(note.type)), "keeper"},
        effects_);
  }
  feed_gaps(tick_ms);
  engine_.step(TickEvent{stamp(tick_ms)}, effects_);
}

void Runner::take_transitions() {
  for (const TransitionRecord& record : effects_.transitions) {
    if (!is_heating_kind(record.kind)) continue;
    if (record.input == AlarmInput::occurs) {
      SaidAlarm alarm;
      alarm.at_ms = record.at.ms;
      alarm.kind = record.kind;
      alarm.other = record.other;
      alarm.priority = record.priority;
      alarm.occurrence = record.occurrence;
      alarm.subject = record.subject;
      alarm.why = record.why;
      const auto found = unit_of_subject_.find(record.subject);
      alarm.unit = found == unit_of_subject_.end() ? -2 : found->second;
      said_.heat.push_back(std::move(alarm));
    } else if (record.input == AlarmInput::worsens || record.input == AlarmInput::realarm) {
      for (SaidAlarm& alarm : said_.heat) {
        if (alarm.occurrence == record.occurrence) alarm.priority = std::max(alarm.priority, record.priority);
      }
    }
  }
  effects_.clear();
}

void Runner::look() {
  if (!has_twin_) return;
  watch_clocks();
  for (std::size_t i = 0; i < active_.size();) {
    const std::int64_t now_ms = room_.now_ms();
    if (now_ms > active_[i].result->planned.start_ms) active_[i].truth.look(room_, twin_);
    if (now_ms >= active_[i].result->planned.end_ms) {
      active_[i].truth.finish();
      active_.erase(active_.begin() + static_cast<std::ptrdiff_t>(i));
    } else {
      ++i;
    }
  }
}

EpisodeResult Runner::run() {
  result_.seed = request_.seed;
  result_.healthy = request_.plan.healthy;
  result_.enclosures = drawn_.probed_enclosures;
  engine_.step(BrokerEvent{stamp(drawn_.start_ms), true, ""}, effects_);
  const std::int64_t end_ms = drawn_.start_ms + request_.plan.days * day_ms;
  for (std::int64_t at_ms = drawn_.start_ms; at_ms < end_ms; at_ms += minute_ms) {
    const double before_s = thread_cpu_s();
    inject(at_ms + minute_ms);
    step_simulators(at_ms + minute_ms);
    look();
    const double between_s = thread_cpu_s();
    feed(at_ms + minute_ms);
    if (!effects_.transitions.empty()) take_transitions();
    effects_.clear();
    const double after_s = thread_cpu_s();
    result_.simulator_s += between_s - before_s;
    result_.engine_s += after_s - between_s;
  }
  for (Active& one : active_) one.truth.finish();
  result_.faults.assign(faults_.begin(), faults_.end());
  judge_said(drawn_, plan_, said_, end_ms, result_);
  return std::move(result_);
}

}  // namespace

EpisodeResult run_episode(const EpisodeRequest& request) {
  const Swarm swarm = draw_swarm(Rng(request.seed), request.varied_interval);
  DrawnRoom drawn = draw_room(request.seed, swarm);
  std::string text;
  for (const DrawnUnit& unit : drawn.units) {
    char line[200];
    const auto& heater = drawn.sim.heaters[static_cast<std::size_t>(unit.heater)];
    const auto& thermostat = drawn.sim.thermostats[static_cast<std::size_t>(unit.thermostat)];
    std::snprintf(line, sizeof line,
                  "%s: %s %.0f W (x%.1f), set %.1f/%.1f, cools %.0f min, swing %.2f K, period %.0f min; ",
                  unit.target.c_str(), name(unit.heater_class), heater.power_w,
                  heater.power_w / unit.needs.power_w, thermostat.day_degc, thermostat.night_degc,
                  unit.needs.cooling_min, unit.held.swing_k, unit.held.period_min);
    text += line;
  }
  Plan plan = draw_plan(drawn, swarm, request.seed, request.plan);
  EpisodeResult result = Runner(request, std::move(drawn), std::move(plan)).run();
  result.room_text = std::move(text);
  return result;
}

}  // namespace baskwell::scenarios
