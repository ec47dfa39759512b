#include "app/daemon.h"

#include <spdlog/spdlog.h>
#include <unistd.h>

#include <algorithm>
#include <boost/asio/post.hpp>
#include <boost/json.hpp>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <utility>

#include "app/daemon_inner.h"
#include "app/people.h"
#include "app/requests.h"
#include "core/check.h"
#include "store/reader.h"

namespace baskwell {
namespace {

namespace asio = boost::asio;

// While many messages come they are taken in together: a switch of threads for each would cost more than the
// message. They keep the stamps of their arrival. Where few come, the switch is all that they cost, and they
// wait for the moment of their commit: see quiet_patience_ms().
constexpr std::int64_t busy_patience_ms = 5;
constexpr std::int64_t most_quiet_readings = 50;  // a second
// Clock and intake are looked after once a second while messages come, on the way, and at this interval while
// none do: a thread that wakes only to look costs more than a quiet room's readings.
constexpr std::chrono::seconds look_interval{1};
constexpr std::chrono::seconds idle_look_interval{10};
// Well within what a connection of the control socket may take.
constexpr std::chrono::seconds durable_patience{5};
constexpr std::int64_t clock_step_ms = 2000;  // a jump of the wall clock by more is a step, not a correction

// From the file, on a connection of its own: what is listed is what is kept.
Result<std::vector<NoteRecord>> notes_in(const store::Store& store, const std::string& subject,
                                         std::size_t most) {
  auto reader = store::StoreReader::open(store.path());
  if (!reader) return reader.error();
  auto rows = reader.value().notes(subject, most);
  if (!rows) return rows.error();
  std::vector<NoteRecord> notes;
  for (store::NoteRow& row : rows.value()) notes.push_back(std::move(row.record));
  return notes;
}

}  // namespace

void Daemon::Inner::take(const Event& event) {
  if (const auto* broker = std::get_if<BrokerEvent>(&event)) {
    spdlog::info("broker: {}{}", broker->connected ? "connected" : "not connected",
                 broker->detail.empty() ? "" : ": " + broker->detail);
  }
  engine->step(event, effects);
}

int Daemon::Inner::run() {
  auto resume = resume_from(*store, *engine, clock.now());
  if (!resume) {
    spdlog::error("the outbox cannot be read: {}", resume.error().text);
    return 1;
  }
  delivery->start(std::move(resume).value());
  signals.async_wait([this](boost::system::error_code error, int) {
    if (!error) stop();
  });
  const auto wait_for_reload = [this](auto&& self) -> void {
    reload_signal.async_wait([this, self](boost::system::error_code error, int) {
      if (error) return;
      reload();
      self(self);
    });
  };
  wait_for_reload(wait_for_reload);
  const Stamp now = clock.now();
  clock_offset_ms = now.utc.ms - now.elapsed.ms;
  tell_how_things_stand();
  // Something readable lies on top from here on.
  if (!lost_state.empty() || lost_learned) recorder->flush(now.utc);
  if (Outcome started = intake->start(); !started) {
    spdlog::error("intake: {}", started.error().text);
    return 1;
  }
  look_again();
  spdlog::info("watching {} enclosures with {} channels, settings version {}",
               engine->room().enclosures.size(), engine->room().channels.size(), engine->room().version);
  io.run();
  if (hanging) {
    // A delivery call that hangs holds its thread; everything committed is safe, so leave without waiting for
    // it.
    spdlog::default_logger()->flush();
    control.reset();
    store.reset();
    _exit(0);
  }
  return 0;
}

// Brings the engine up to now.
void Daemon::Inner::drain() {
  last_pump = std::chrono::steady_clock::now();
  bell.looked();
  const Stamp now = clock.now();
  look_after(now);
  if (intake->pump(arrivals_at_once, now, intake::sink_into(*this))) asio::post(io, [this] { pump(); });
  if (taken > most_quiet_readings) bell.set_patience_ms(busy_patience_ms);
}

void Daemon::Inner::pump() {
  if (stopping) return;
  drain();
  settle();
}

void Daemon::Inner::step(const Event& event) {
  if (stopping) return;
  engine->step(event, effects);
  settle();
}

void Daemon::Inner::settle(Recorder::Durable durable) {
  for (const TransitionRecord& record : effects.transitions) {
    spdlog::info("alarm {} {} {}: {} -> {} ({}) by {}: {}",
                 record.occurrence.empty() ? "-" : record.occurrence, row_of(record.kind).name,
                 record.subject, name_of(record.from), name_of(record.to), name_of(record.priority),
                 record.who, record.why);
    if (record.kind == AlarmKind::store_trouble && record.to == AlarmState::unacknowledged &&
        !lost_state.empty()) {
      lost_state.clear();
      asio::post(io, [this] {
        const store::StoreStats stats = store->stats();
        tell_of_store(stats.working, stats.trouble);
      });
    }
  }
  for (const NoteRecord& note : effects.notes) {
    spdlog::info("note of {} by {}: {}: {}", note.subject, note.who, name_of(note.type), note.text);
  }
  recorder->take(effects, clock.now(), std::move(durable));
  arm_due();
}

void Daemon::Inner::arm_due() {
  const ElapsedMs due = engine->next_due();
  if (due == armed_for) return;
  armed_for = due;
  due_timer.expires_after(clock.real_until(due));
  due_timer.async_wait([this](boost::system::error_code error) {
    if (error || stopping) return;
    armed_for = ElapsedMs{INT64_MAX};
    drain();  // what came before may say that nothing is due
    step(TickEvent{clock.now()});
  });
}

void Daemon::Inner::look_after(Stamp now) {
  const auto since = std::chrono::duration_cast<std::chrono::milliseconds>(last_pump - last_look);
  const bool due = since >= look_interval;
  watch_clock(now, due);
  if (!due) return;
  const bool quiet = taken * second_ms <= most_quiet_readings * since.count();
  bell.set_patience_ms(quiet ? quiet_patience_ms() : busy_patience_ms);
  taken = 0;
  last_look = last_pump;
  intake->tick(now, intake::sink_into(*this));
}

// In a quiet room what has arrived is judged when it must be committed. Delays count from its arrival and are
// looked at only after it, so no alarm is late by that, where no delay is shorter; else nothing waits. What
// needs no delay (an alarm that worsens, or is over) comes later by the commit interval at most.
std::int64_t Daemon::Inner::quiet_patience_ms() const {
  const std::int64_t interval_ms = settings.store.commit_interval_ms;
  for (const AlarmKind kind : {AlarmKind::too_cold, AlarmKind::too_hot, AlarmKind::no_refuge,
                               AlarmKind::too_dry, AlarmKind::too_damp, AlarmKind::probe_implausible}) {
    const AlarmSettings& alarm = settings.room.alarm_settings[static_cast<std::size_t>(kind)];
    const auto shortest_ms = static_cast<double>(std::min(alarm.on_delay_ms, alarm.harm_on_delay_ms));
    if (alarm.enabled && shortest_ms < clock.pace() * static_cast<double>(interval_ms))
      return busy_patience_ms;
  }
  return interval_ms;
}

void Daemon::Inner::look_again() {
  // A demonstration's clock runs faster, and so must this.
  look_timer.expires_after(clock.pace() > 1 ? look_interval : idle_look_interval);
  look_timer.async_wait([this](boost::system::error_code error) {
    if (error || stopping) return;
    pump();
    look_again();
  });
}

void Daemon::Inner::watch_clock(Stamp now, bool ask_kernel) {
  const std::int64_t offset_ms = now.utc.ms - now.elapsed.ms;
  const std::int64_t step_ms = offset_ms - clock_offset_ms;
  const bool stepped =
      std::abs(step_ms) > clock_step_ms * std::max<std::int64_t>(1, std::llround(clock.pace()));
  clock_offset_ms = stepped ? offset_ms : clock_offset_ms + step_ms / 2;  // follows a slew
  if (!stepped && !ask_kernel) return;
  ClockEvent event = clock.judge(not_before);
  if (!stepped && event.sure == clock_sure && event.trusted == clock_trusted) return;
  if (stepped) {
    event.step_ms = step_ms;
    spdlog::warn("the wall clock stepped by {} ms", step_ms);
    delivery->wake();
  }
  clock_sure = event.sure;
  clock_trusted = event.trusted;
  if (!event.detail.empty()) spdlog::warn("clock: {}", event.detail);
  engine->step(event, effects);
}

std::string Daemon::Inner::status() const {
  namespace json = boost::json;
  const store::StoreStats stats = store->stats();
  const notify::DeliveryCounts counts = delivery->counts();
  return json::serialize(
      json::object{{"version", BASKWELL_VERSION},
                   {"settings_version", engine->room().version},
                   {"enclosures", engine->room().enclosures.size()},
                   {"channels", engine->room().channels.size()},
                   {"store", json::object{{"path", std::filesystem::absolute(store->path()).string()},
                                          {"working", stats.working},
                                          {"trouble", stats.trouble},
                                          {"readings_stored", stats.readings_stored},
                                          {"readings_dropped", stats.readings_dropped},
                                          {"transactions", stats.transactions}}},
                   {"delivery", json::object{{"attempts", counts.attempts},
                                             {"delivered", counts.delivered},
                                             {"failed", counts.failed},
                                             {"waiting", counts.waiting},
                                             {"dropped", counts.dropped}}},
                   {"clock_sure", clock_sure}});
}

void Daemon::Inner::answer(const std::string& request, const std::string& peer, const ControlReply& reply) {
  // So that what is shown is of now, not of the last event.
  drain();
  const Stamp now = clock.now();
  engine->step(TickEvent{now}, effects);
  bool changed = false;
  RequestContext context{
      *engine,
      now,
      [&](const RequestEvent& event) {
        engine->step(event, effects);
        std::string why_not = std::exchange(effects.answer, {});
        changed = why_not.empty();
        return why_not;
      },
      [this] { return intake->report(); },
      [this] { return status(); },
      [&](const NoteEvent& event) -> Result<NoteRecord> {
        engine->step(event, effects);
        std::string why_not = std::exchange(effects.answer, {});
        if (!why_not.empty()) return Error{std::move(why_not)};
        CHECK(!effects.notes.empty());
        changed = true;
        return effects.notes.back();
      },
      [this](const std::string& subject, std::size_t most) { return notes_in(*store, subject, most); }};
  std::string text = answer_request(request, peer, context);
  if (changed && !(effects.notes.empty() && effects.transitions.empty())) {
    settle(answer_when_durable(std::move(text), reply));
    return;
  }
  settle();
  reply(std::move(text));
}

// What a person did is answered once it is on the disk; or, after a while, with the truth that it is not.
Recorder::Durable Daemon::Inner::answer_when_durable(std::string text, ControlReply reply) {
  struct Waiting {
    std::string text;
    ControlReply reply;  // empty: answered
    asio::steady_timer timer;
  };
  auto waiting =
      std::make_shared<Waiting>(Waiting{std::move(text), std::move(reply), asio::steady_timer(io)});
  const auto answer_with = [](Waiting& one, const std::string& why_not) {
    const ControlReply answer_now = std::exchange(one.reply, {});
    if (!answer_now) return;
    one.timer.cancel();
    answer_now(why_not.empty() ? one.text
                               : refused_request("it holds, but is not known to be on the disk: " + why_not +
                                                 "; it is written once the store works again"));
  };
  waiting->timer.expires_after(durable_patience);
  waiting->timer.async_wait([waiting, answer_with](boost::system::error_code error) {
    if (!error) answer_with(*waiting, "the store does not answer");
  });
  // Moved on, so that it is let go on the domain's thread.
  return [this, waiting = std::move(waiting), answer_with](bool ok, const std::string& error) mutable {
    asio::post(io, [waiting = std::move(waiting), answer_with, why_not = ok ? std::string() : error] {
      answer_with(*waiting, why_not);
    });
  };
}

void Daemon::Inner::stop() {
  spdlog::info("stopping");
  intake->stop();
  while (intake->pump(arrivals_at_once, clock.now(), intake::sink_into(*this))) {
  }
  settle();
  recorder->flush(clock.now().utc);
  if (!store->flush()) spdlog::error("store: not everything could be written: {}", store->stats().trouble);
  stopping = true;
  const notify::StopReport report = delivery->stop(stop_patience_ms);
  hanging = hanging || !report.hanging.empty();
  control.reset();
  due_timer.cancel();
  bell.cancel();
  look_timer.cancel();
  reload_signal.cancel();
  recorder.reset();
  io.stop();
}

Daemon::Daemon(std::unique_ptr<Inner> inner) : inner_(std::move(inner)) {}
Daemon::~Daemon() = default;

Result<std::unique_ptr<Daemon>> Daemon::open(DaemonOptions options) {
  auto inner = std::make_unique<Inner>(std::move(options));
  if (Outcome opened = inner->open(); !opened) return opened.error();
  return std::unique_ptr<Daemon>(new Daemon(std::move(inner)));
}

int Daemon::run() {
  return inner_->run();
}

}  // namespace baskwell
