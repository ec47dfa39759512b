#include "core/engine.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "core/check.h"
#include "core/engine_state.h"

namespace baskwell {
namespace {

constexpr std::uint32_t frozen_check_from = 20;  // see probe/judge.cpp; below it nothing can be frozen

bool is_implausible(Quality quality) {
  switch (quality) {
    case Quality::not_finite:
    case Quality::outside_instrument:
    case Quality::outside_medium:
    case Quality::fault_code:
    case Quality::jump:
    case Quality::from_future:
      return true;
    default:
      return false;
  }
}

std::string_view implausible_words(Quality quality) {
  switch (quality) {
    case Quality::not_finite:
      return "it sends no number";
    case Quality::outside_instrument:
      return "it sends more than such an instrument can measure";
    case Quality::outside_medium:
      return "it sends what this place cannot be";
    case Quality::fault_code:
      return "it sends its fault value: power-on 85.0 or disconnected -127";
    case Quality::jump:
      return "its values jump faster than this place can change";
    case Quality::from_future:
      return "its own clock is ahead of ours";
    default:
      return "";
  }
}

std::string spot_subject(const Room& room, const SpotKey& key) {
  std::string subject = key.enclosure == none ? "room" : room.enclosures[key.enclosure].id;
  for (const std::string_view part : {name_of(key.zone), name_of(key.medium), name_of(key.quantity)}) {
    subject += '/';
    subject += part;
  }
  return subject;
}

AlarmKind high_kind(const SpotKey& key) {
  if (key.quantity == Quantity::humidity) return AlarmKind::too_damp;
  return key.zone == Zone::cool ? AlarmKind::no_refuge : AlarmKind::too_hot;
}

template <class State>
Index add_point(State& state, AlarmKind kind, std::string subject) {
  Point point;
  point.kind = kind;
  point.subject = std::move(subject);
  point.state.value = point.state.limit = std::numeric_limits<double>::quiet_NaN();  // nothing heard yet
  state.points.push_back(std::move(point));
  return static_cast<Index>(state.points.size() - 1);
}

Index add_spot(std::vector<Spot>& spots, const SpotKey& key) {
  for (std::size_t i = 0; i < spots.size(); ++i) {
    if (spots[i].key == key) return static_cast<Index>(i);
  }
  Spot spot;
  spot.key = key;
  spots.push_back(std::move(spot));
  return static_cast<Index>(spots.size() - 1);
}

}  // namespace

void RecentValues::add(ElapsedMs at, double judged) {
  if (count > 0 && at.ms - at_ms[(count - 1) % size] < minute_ms) return;
  at_ms[count % size] = at.ms;
  value[count % size] = static_cast<float>(judged);
  ++count;
}

// Least squares over the last quarter hour; at least five minutes of it must be there.
double RecentValues::rate_per_hour(ElapsedMs now) const {
  double n = 0, sum_t = 0, sum_v = 0, sum_tt = 0, sum_tv = 0, oldest = 0;
  for (std::size_t i = 0; i < std::min<std::size_t>(count, size); ++i) {
    const double hours = static_cast<double>(at_ms[i] - now.ms) / hour_ms;
    if (hours < -0.27) continue;
    n += 1;
    sum_t += hours;
    sum_v += static_cast<double>(value[i]);
    sum_tt += hours * hours;
    sum_tv += hours * static_cast<double>(value[i]);
    oldest = std::min(oldest, hours);
  }
  const double spread = n * sum_tt - sum_t * sum_t;
  if (n < 3 || oldest > -5.0 / 60.0 || spread <= 0) return std::numeric_limits<double>::quiet_NaN();
  return (n * sum_tv - sum_t * sum_v) / spread;
}

Engine::State::State(std::shared_ptr<const Room> the_room, Stamp start)
    : room(std::move(the_room)), now(start) {
  for (const Channel& channel : room->channels) {
    for (const Placement& placement : channel.placements) {
      add_spot(spots, {placement.enclosure, placement.zone, placement.medium, channel.quantity});
    }
  }
  for (std::size_t i = 0; i < spots.size(); ++i) {
    const SpotKey key = spots[i].key;
    if (key.quantity != Quantity::temperature && key.quantity != Quantity::humidity) continue;
    const bool warm = key.quantity == Quantity::temperature;
    const Index low =
        add_point(*this, warm ? AlarmKind::too_cold : AlarmKind::too_dry, spot_subject(*room, key));
    const Index high = add_point(*this, high_kind(key), spot_subject(*room, key));
    points[low].spot = points[high].spot = static_cast<Index>(i);
    spots[i].low_point = low;
    spots[i].high_point = high;
  }
  broker_lost_at = start.elapsed;
  channels.resize(room->channels.size());
  for (Index i = 0; i < channels.size(); ++i) {
    const std::string& id = room->channels[i].id;
    channels[i].fixed = &room->channels[i];
    channels[i].instrument = &room->instruments[room->channels[i].instrument];
    channels[i].silent_point = add_point(*this, AlarmKind::probe_silent, id);
    channels[i].implausible_point = add_point(*this, AlarmKind::probe_implausible, id);
    channels[i].frozen_point = add_point(*this, AlarmKind::probe_frozen, id);
    for (const Index point :
         {channels[i].silent_point, channels[i].implausible_point, channels[i].frozen_point}) {
      points[point].channel = i;
    }
    channels[i].heard_floor = start.elapsed;
  }
  broker_point = add_point(*this, AlarmKind::intake_trouble, "broker");
  payload_point = add_point(*this, AlarmKind::intake_trouble, "payloads");
  store_point = add_point(*this, AlarmKind::store_trouble, "store");
  clock_point = add_point(*this, AlarmKind::clock_unsure, "clock");
  for (Index i = 0; i < room->delivery_channels.size(); ++i) {
    delivery_points.push_back(add_point(*this, AlarmKind::delivery_failed, room->delivery_channels[i]));
    points.back().delivery = i;
  }
  // Ids hold no blanks: these cannot be taken for a channel's.
  for (const Person& person : room->people)
    person_points.push_back(add_point(*this, AlarmKind::delivery_failed, "to " + person.id));
  messages_point = add_point(*this, AlarmKind::delivery_failed, "all messages");
  add_heating_points();
  add_outage_watch();
  dues.add_owners(channels.size() + points.size());
  for (Index i = 0; i < channels.size(); ++i) queue_silence(i);
}

Engine::Engine(std::shared_ptr<const Room> room, Stamp start)
    : state_(std::make_unique<State>(std::move(room), start)) {}
Engine::~Engine() = default;
Engine::Engine(Engine&&) noexcept = default;
Engine& Engine::operator=(Engine&&) noexcept = default;

const Room& Engine::room() const {
  return *state_->room;
}

ElapsedMs Engine::next_due() const {
  return state_->dues.empty() ? ElapsedMs{INT64_MAX} : state_->dues.next_at();
}

std::size_t Engine::pending_dues() const {
  return state_->dues.size();
}

void Engine::count_on_from(std::uint64_t last_occurrence, std::uint64_t last_message,
                           std::uint64_t last_outage) {
  state_->outages->count_on_from(last_outage);
  state_->last_occurrence = std::max(state_->last_occurrence, last_occurrence);
  state_->last_message = std::max(state_->last_message, last_message);
}

void Engine::step_reading(const ReadingEvent& event, Effects& effects) {
  state_->advance(event.at, effects);
  state_->reading(event, effects);
}

void Engine::step(const Event& event, Effects& effects) {
  std::visit(
      [&](const auto& one) {
        state_->advance(one.at, effects);
        using Kind = std::decay_t<decltype(one)>;
        if constexpr (std::is_same_v<Kind, ReadingEvent>) {
          state_->reading(one, effects);
        } else if constexpr (!std::is_same_v<Kind, TickEvent>) {
          state_->handle(one, effects);
        }
      },
      event);
}

// Delays that ended before `to` are decided at the moment they ended, in order.
void Engine::State::advance(Stamp to, Effects& effects) {
  while (!dues.empty() && dues.next_at() <= to.elapsed) {
    const ElapsedMs due = dues.next_at();
    const DueQueue::Owner owner = dues.next_owner();
    dues.remove(owner);
    const Stamp at{to.utc - (to.elapsed - due), due};
    if (owner < channels.size()) {
      check_silence(owner, at, effects);
    } else {
      point_due(owner - static_cast<DueQueue::Owner>(channels.size()), at, effects);
    }
  }
  // Two threads may stamp in another order than they hand over; time told to core never goes back.
  now.utc = to.utc;
  now.elapsed = std::max(now.elapsed, to.elapsed);
}

// Which placement, and so which spot, a channel has at this moment.
void Engine::State::place(ChannelState& channel, Index index, UtcMs at) {
  const Channel& fixed = *channel.fixed;
  Span span;
  Index found = none;
  for (Index i = 0; i < fixed.placements.size(); ++i) {
    const Span& own = fixed.placements[i].span;
    if (own.holds(at)) {
      found = i;
      span = own;
      break;
    }
    if (own.to <= at) span.from = std::max(span.from, own.to);
    if (own.from > at) span.to = std::min(span.to, own.from);
  }
  channel.placement_span = span;
  channel.placed_at = at;
  Index spot = none;
  // In no place it may be anything: on the bench, in a drawer. The widest medium is taken.
  Medium medium = Medium::surface;
  if (found != none) {
    const Placement& placement = fixed.placements[found];
    spot = add_spot(spots, {placement.enclosure, placement.zone, placement.medium, fixed.quantity});
    medium = placement.medium;
  }
  channel.range = plausible_range(*channel.instrument, fixed, medium);
  if (found == channel.placement) return;
  if (channel.spot != none) std::erase(spots[channel.spot].members, index);
  if (spot != none) spots[spot].members.push_back(index);
  channel.placement = found;
  channel.spot = spot;
  channel.good_here = false;
}

void Engine::State::calibrate(ChannelState& channel, UtcMs at) const {
  channel.offset = 0;
  channel.calibration_version = 0;
  for (const Calibration& calibration : channel.fixed->calibrations) {
    if (calibration.from > at) break;
    channel.offset = calibration.offset;
    channel.calibration_version = calibration.version;
  }
}

void Engine::State::reading(const ReadingEvent& event, Effects& effects) {
  CHECK(event.channel < channels.size());
  ChannelState& channel = channels[event.channel];
  const UtcMs measured = measured_at(event);
  if (!channel.placement_span.holds(measured)) {
    // A time that cannot be used moves no probe to where it once was or will be.
    const bool usable = judge_time(channel.probe, event, clock_trusted) == Quality::good;
    const bool never_placed = channel.placement_span.from == channel.placement_span.to;
    if (usable || never_placed) place(channel, event.channel, usable ? measured : event.at.utc);
  }
  // A time from before the newest calibration's start asks for the older one.
  if (!channel.fixed->calibrations.empty()) calibrate(channel, measured);
  const double value = judged_value(event.value, event.unit) + channel.offset;

  Quality quality = judge(channel.probe, channel.range, event, value, clock_trusted);
  // Without a time it belongs to no series; it is counted by intake and goes no further.
  if (quality == Quality::retained || quality == Quality::no_time) return;
  if (quality == Quality::good && channel.spot == none) quality = Quality::unplaced;

  effects.readings.push_back({event.channel, event.value, event.unit, quality, event.has_own_time,
                              channel.calibration_version, measured, event.at.utc, event.at.elapsed});

  // A good reading of long ago says nothing about now.
  const ElapsedMs silent_from =
      channel.probe.last_good_at + silence_limit_ms(channel.probe, *channel.instrument);
  const bool good = quality == Quality::good || quality == Quality::unplaced;
  channel.good_here |= good;
  const bool fresh = good && event.at.elapsed < silent_from;
  if (fresh) {
    if (points[channel.silent_point].state.target.beyond)
      fault(channel.silent_point, false, false, {}, event.at, effects);
    if (!event.queued) channel.gone = false;  // whatever its presence topic said last
    if (silent_from < dues.at(event.channel)) queue_silence(event.channel);
    heard_for_outages(event, value, effects);
  }
  if (channel.spot == none) return;
  watch_probe(channel, event, quality, effects);
  if (!fresh) return;
  channel.recent.add(event.at.elapsed, value);
  judge_spot(spots[channel.spot], value, measured, effects);
  feed_heating(event.channel, value, measured, effects);
}

// What one reading says of its probe: that it makes sense, that it moves.
void Engine::State::watch_probe(const ChannelState& channel, const ReadingEvent& event, Quality quality,
                                Effects& effects) {
  if (is_implausible(quality)) {
    fault(channel.implausible_point, true, false, implausible_words(quality), event.at, effects);
    return;
  }
  if (quality != Quality::good) return;
  if (points[channel.implausible_point].state.target.beyond) {
    fault(channel.implausible_point, false, false, {}, event.at, effects);
  }
  const bool was_frozen = points[channel.frozen_point].state.target.beyond;
  if (channel.probe.same_count < frozen_check_from && !was_frozen) return;
  const bool frozen = is_frozen(channel.probe, channel.fixed->quantity);
  if (frozen == was_frozen) return;
  fault(channel.frozen_point, frozen, false,
        frozen ? "it has sent " + to_text(event.value) + " without any change" : "", event.at, effects);
}

void Engine::State::judge_spot(Spot& spot, double value, UtcMs measured, Effects& effects) {
  if (spot.low_point == none) return;  // light, power, battery: nothing is wanted of them yet
  if (!spot.segment.holds(measured)) spot.segment = segment_at(*room, spot.key, measured);
  const Wanted wanted = spot.segment.at(measured);
  double low = value;
  double high = value;
  if (spot.members.size() > 1) {
    // Several probes at one spot: the one furthest out counts, as long as it is heard.
    for (const Index member : spot.members) {
      const ChannelState& other = channels[member];
      if (!other.watches_spot(measured) ||
          now.elapsed - other.probe.last_good_at >= silence_limit_ms(other.probe, *other.instrument))
        continue;
      low = std::min(low, other.probe.last_good);
      high = std::max(high, other.probe.last_good);
    }
  }
  fact(spot.low_point, {wanted.low - low, wanted.harm_low - low, low, wanted.low}, now, effects);
  fact(spot.high_point, {high - wanted.high, high - wanted.harm_high, high, wanted.high}, now, effects);
}

void Engine::State::handle(const IntakeTroubleEvent& event, Effects& effects) {
  fault(payload_point, event.bad, false, event.detail, event.at, effects);
}

void Engine::State::handle(const StoreEvent& event, Effects& effects) {
  fault(store_point, !event.working, false, event.detail, event.at, effects);
}

void Engine::State::handle(const DeliveryEvent& event, Effects& effects) {
  for (Index i = 0; i < room->delivery_channels.size(); ++i) {
    if (room->delivery_channels[i] != event.channel) continue;
    fault(delivery_points[i], !event.delivered, false, event.detail, event.at, effects);
  }
  // Without a channel: the message found no way at all to its person.
  const bool lost = event.channel.empty() && !event.delivered;
  bool is_known = false;
  for (Index i = 0; i < room->people.size(); ++i) {
    if (room->people[i].id != event.person) continue;
    is_known = true;
    if (lost || event.delivered) fault(person_points[i], lost, false, event.detail, event.at, effects);
  }
  if ((lost && !is_known) || event.delivered)
    fault(messages_point, lost, false, event.detail, event.at, effects);
  if (!event.acknowledged || event.occurrence.empty()) return;
  for (Index i = 0; i < points.size(); ++i) {
    if (occurrence_name(points[i].state.occurrence) == event.occurrence) {
      std::string who = event.person;
      for (const Person& person : room->people) {
        if (person.id == event.person) who = person.name;
      }
      apply(i, AlarmInput::acknowledge, TellReason::raised, event.at, who, "answered by " + event.channel,
            effects);
    }
  }
}

void Engine::State::handle(const ClockEvent& event, Effects& effects) {
  clock_trusted = event.trusted;
  outages->clock(event.trusted, event.sure, event.step_ms);
  if (event.step_ms != 0) {
    heating->clock_stepped(event.step_ms);
    // What was stamped by the old clock is carried over to the new one, so that nothing looks early or late.
    for (Point& point : points) {
      if (point.state.began.ms != 0) point.state.began = point.state.began + event.step_ms;
      if (point.state.raised.ms != 0) point.state.raised = point.state.raised + event.step_ms;
    }
  }
  fault(clock_point, !event.trusted || !event.sure, false, event.detail, event.at, effects);
}

void Engine::State::handle(const RequestEvent& event, Effects& effects) {
  effects.answer = request(event, effects);
}

}  // namespace baskwell
