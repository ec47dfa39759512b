// What is not heard: a probe that says nothing good, an instrument that is gone, a broker that is away.
// Silence is counted only while we could have heard; found by dues, not by readings.

#include <algorithm>

#include "core/engine_state.h"

namespace baskwell {
namespace {

// When the presence topic says that an instrument is gone, silence needs no long proof. Proposal, no source.
constexpr std::int64_t gone_limit_ms = 2 * minute_ms;

// After the broker's return the instruments need a moment to find it again. Proposal, no source. Short, so
// that a connection that comes and goes does not hide a dead probe for ever.
constexpr std::int64_t reconnect_grace_ms = 2 * minute_ms;

}  // namespace

// From when on the silence of a channel counts.
ElapsedMs Engine::State::last_word(const ChannelState& channel) const {
  return channel.probe.heard ? std::max(channel.heard_floor, channel.probe.last_good_at)
                             : channel.heard_floor;
}

Index Engine::State::placement_at(Index channel, UtcMs at) const {
  const std::vector<Placement>& placements = room->channels[channel].placements;
  for (Index i = 0; i < placements.size(); ++i) {
    if (placements[i].span.holds(at)) return i;
  }
  return none;
}

// One loss, one alarm: while the broker is known to be away and its own alarm can say so, silence is its.
bool Engine::State::broker_loss_says_it() const {
  const Point& point = points[broker_point];
  return point.state.target.beyond && !broker_connected && settings_of(point).enabled &&
         point.state.state != AlarmState::out_of_service;
}

void Engine::State::queue_silence(Index index) {
  if (!room->channels[index].expected) return;
  const ChannelState& channel = channels[index];
  std::int64_t limit_ms = silence_limit_ms(channel.probe, *channel.instrument);
  if (channel.gone) limit_ms = gone_limit_ms;
  const PointState& silent = points[channel.silent_point].state;
  if (silent.target.beyond) limit_ms = long_silence_limit_ms(channel.probe, *channel.instrument);
  // Nothing worse is to come; but its placement may end, so it is looked at now and then.
  if (silent.harm.beyond)
    limit_ms *= 1 + std::max<std::int64_t>(0, now.elapsed - last_word(channel)) / limit_ms;
  dues.look_by(index, std::max(last_word(channel) + limit_ms, now.elapsed + 1));
}

void Engine::State::check_silence(Index index, Stamp at, Effects& effects) {
  ChannelState& channel = channels[index];
  now = {at.utc, std::max(now.elapsed, at.elapsed)};
  const std::int64_t quiet_ms = at.elapsed - last_word(channel);
  const std::int64_t limit_ms =
      channel.gone ? gone_limit_ms : silence_limit_ms(channel.probe, *channel.instrument);
  if (quiet_ms < limit_ms) {
    queue_silence(index);
    return;
  }
  if (!settings_of(points[channel.silent_point]).enabled) {  // asked again with the next good reading
    raise_waiting_harm(channel, at, effects);
    return;
  }
  if (placement_at(index, at.utc) == none) {
    // It lies in no place now, so nothing goes unseen; once in a while it is looked at again.
    fault(channel.silent_point, false, false, {}, at, effects);
    channel.heard_floor = at.elapsed;
    queue_silence(index);
    return;
  }
  // While the broker is away nobody can be heard: that makes no probe's silence worse.
  const bool away = broker_loss_says_it();
  const LimitTimer silent = points[channel.silent_point].state.target;
  const bool long_silent = points[channel.silent_point].state.harm.beyond ||
                           (!away && quiet_ms >= long_silence_limit_ms(channel.probe, *channel.instrument));
  fault(channel.silent_point, true, long_silent,
        channel.gone ? "its presence topic says that it is gone" : "nothing good has been heard from it", at,
        effects);
  if (!silent.beyond) raise_waiting_harm(channel, at, effects);
  if (!away) queue_silence(index);  // else when the broker is back
}

// A probe that saw a harmful value and then fell silent may have burnt: what waits for its on-delay is raised
// now. Where other probes lie at the spot only if it was this one that saw it; what they see, they go on
// seeing.
void Engine::State::raise_waiting_harm(const ChannelState& channel, Stamp at, Effects& effects) {
  if (!channel.watches_spot(at.utc)) return;
  const Spot& spot = spots[channel.spot];
  for (const Index point : {spot.low_point, spot.high_point}) {
    if (point == none || !settings_of(points[point]).enabled) continue;
    PointState& state = points[point].state;
    if (!state.harm.beyond || state.harm.active) continue;
    if (spot.members.size() > 1 && state.value != channel.probe.last_good) continue;
    const auto change = raise_pending_harm(state, settings_of(points[point]), at);
    if (change) changed(point, *change, false, at, effects);
  }
}

void Engine::State::handle(const BrokerEvent& event, Effects& effects) {
  const bool was_connected = broker_connected;
  broker_connected = event.connected;
  outages->broker(event.connected, event.detail, event.at);
  // Nothing at all comes in: that is what this kind's harm level means.
  fault(broker_point, !event.connected, !event.connected, event.detail, event.at, effects);
  if (!event.connected) {
    if (was_connected) broker_lost_at = event.at.elapsed;
    return;
  }
  const std::int64_t away_ms =
      was_connected ? 0 : std::max<std::int64_t>(0, event.at.elapsed - broker_lost_at) + reconnect_grace_ms;
  for (Index i = 0; i < channels.size(); ++i) {
    // Silence that the broker's absence caused is not the probes' fault: that time is taken out.
    ChannelState& channel = channels[i];
    channel.heard_floor =
        std::min(last_word(channel) + away_ms, std::max(event.at.elapsed, last_word(channel)));
    Point& silent = points[channel.silent_point];
    if (silent.state.state == AlarmState::suppressed) {
      silent.state.target = LimitTimer{};
      silent.state.harm = LimitTimer{};
      apply(channel.silent_point, AlarmInput::unsuppress, TellReason::raised, event.at, "baskwell",
            "the broker is back", effects);
    }
    queue_silence(i);
  }
}

void Engine::State::handle(const PresenceEvent& event, Effects&) {
  outages->presence(event.instrument, event.present, event.at);
  for (Index i = 0; i < channels.size(); ++i) {
    if (room->channels[i].instrument != event.instrument) continue;
    channels[i].gone = !event.present;
    if (channels[i].gone) queue_silence(i);
  }
}

}  // namespace baskwell
