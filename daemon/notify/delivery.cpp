#include "notify/delivery.h"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <exception>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>

#include "core/check.h"

namespace baskwell::notify {

namespace {

using Real = std::chrono::steady_clock;

// However far off the next thing due is, the clock is looked at again after this: a step of it that nobody
// announced by wake() delays a message by no more. Not how a new message is found; that is notified.
constexpr std::chrono::milliseconds longest_sleep{10000};
constexpr std::size_t most_owed = 10000;

std::int64_t paced(std::int64_t real_ms, double pace) {
  return std::max<std::int64_t>(1, static_cast<std::int64_t>(static_cast<double>(real_ms) * pace));
}

PlanSettings paced(PlanSettings plan, double pace) {
  plan.high_patience_ms = paced(plan.high_patience_ms, pace);
  plan.patience_ms = paced(plan.patience_ms, pace);
  return plan;
}

std::vector<std::string> ids_of(const std::vector<ChannelSetup>& channels) {
  std::vector<std::string> ids;
  ids.reserve(channels.size());
  for (const ChannelSetup& channel : channels) ids.push_back(channel.id);
  return ids;
}

ChannelAnswer call_safely(const ChannelSetup& channel, const Letter& letter) {
  try {
    return channel.call(letter, channel.timeout_ms);
  } catch (const std::exception& failure) {
    return {Answer::try_again, std::string("the channel failed: ") + failure.what()};
  } catch (...) {
    return {Answer::try_again, "the channel failed without a cause"};
  }
}

// What the domain should hear of endings that no attempt tells it of.
bool is_failure_by_itself(Ending ending) {
  return ending == Ending::gave_up || ending == Ending::no_channel || ending == Ending::dropped;
}

}  // namespace

// Everything behind one mutex, but the calls to channels and callbacks. `settings` and `callbacks` are not
// changed after construction.
struct Delivery::Inner {
  struct Worker {
    std::thread thread;
    bool calling = false;  // between take() and the end of its callbacks
  };

  Inner(DeliverySettings the_settings, DeliveryCallbacks the_callbacks)
      : settings(std::move(the_settings)),
        callbacks(std::move(the_callbacks)),
        plan(settings.people, ids_of(settings.channels), paced(settings.plan, settings.pace)) {}

  void work(std::size_t index);
  void clerk();
  void sleep_until_due(std::unique_lock<std::mutex>& lock, std::condition_variable& signal,
                       std::string_view channel);
  void carry_out(std::size_t index, const Attempt& attempt, std::unique_lock<std::mutex>& lock);
  void post(const Attempt& attempt, const AttemptDone& done, Stamp at) const;
  void report(const Settlement& settlement, Stamp at) const;
  void owe(std::vector<Settlement> settled);

  const DeliverySettings settings;
  const DeliveryCallbacks callbacks;

  // Held from an answer until it is written down; whoever then tries or ends the same message passes through
  // here first, so that what is written of one message is in the order in which it happened. Taken before
  // `mutex`.
  std::mutex order;
  void after_what_is_being_written() { const std::lock_guard lock(order); }

  mutable std::mutex mutex;
  std::condition_variable work_signal;   // for the channels' threads: something may be due
  std::condition_variable clerk_signal;  // for the clerk: something is owed, or due
  std::condition_variable idle_signal;   // for stop(): a thread has come to rest
  DeliveryPlan plan;
  std::deque<Settlement> owed;  // settlements to report that came from no attempt
  DeliveryCounts counts;
  std::vector<Worker> workers;  // one for each of settings.channels
  std::thread clerk_thread;
  bool clerk_busy = false;
  bool started = false;
  bool stopping = false;      // no new attempt begins
  bool closed = false;        // no callback begins
  std::size_t reporting = 0;  // threads inside callbacks
};

void Delivery::Inner::owe(std::vector<Settlement> settled) {
  if (settled.empty()) return;
  for (Settlement& settlement : settled) {
    if (settlement.ending == Ending::dropped) ++counts.dropped;
    if (owed.size() >= most_owed) {  // a store that hangs for good; its rows are settled at the next start
      owed.pop_front();
      ++counts.unrecorded;
    }
    owed.push_back(std::move(settlement));
  }
  clerk_signal.notify_one();
}

void Delivery::Inner::sleep_until_due(std::unique_lock<std::mutex>& lock, std::condition_variable& signal,
                                      std::string_view channel) {
  const Stamp now = settings.clock();
  const ElapsedMs due = plan.next_due(channel, now);
  auto sleep = longest_sleep;
  if (due.ms != INT64_MAX) {
    const double real_ms = static_cast<double>(due - now.elapsed) / settings.pace;
    if (real_ms < static_cast<double>(longest_sleep.count()))  // rounded up: no spinning in the last ms
      sleep = std::chrono::milliseconds(std::max<std::int64_t>(0, static_cast<std::int64_t>(real_ms)) + 1);
  }
  signal.wait_for(lock, sleep);
}

void Delivery::Inner::work(std::size_t index) {
  const std::string& channel = settings.channels[index].id;
  std::unique_lock lock(mutex);
  while (!stopping) {
    const Stamp now = settings.clock();
    std::vector<Settlement> settled;
    plan.pass_time(now, settled);
    owe(std::move(settled));
    const std::optional<Attempt> attempt = plan.take(channel, now);
    if (!attempt) {
      sleep_until_due(lock, work_signal, channel);
      continue;
    }
    workers[index].calling = true;
    carry_out(index, *attempt, lock);
    workers[index].calling = false;
    idle_signal.notify_all();
  }
}

// One attempt, written down before and after. Comes and goes with the lock held.
void Delivery::Inner::carry_out(std::size_t index, const Attempt& attempt,
                                std::unique_lock<std::mutex>& lock) {
  const ChannelSetup& channel = settings.channels[index];
  AttemptDone done;
  done.message = attempt.letter.id;
  done.channel = channel.id;
  done.began = settings.clock().utc;
  ++counts.attempts;
  ++reporting;
  lock.unlock();
  after_what_is_being_written();
  const bool recorded =
      !callbacks.before_attempt || callbacks.before_attempt(done.message, done.channel, done.began).ok();
  lock.lock();
  --reporting;
  idle_signal.notify_all();
  if (!recorded) ++counts.unrecorded;
  if (closed) return;  // stop() did not wait: written down as begun, so not sent twice

  lock.unlock();
  done.answer = call_safely(channel, attempt.letter);
  std::unique_lock in_order(order);
  lock.lock();
  if (closed) return;  // nobody is left to hear of it
  const Stamp now = settings.clock();
  done.ended = now.utc;
  done.aftermath = plan.answer(attempt, done.answer, now);
  ++(arrived(done.answer.answer) ? counts.delivered : counts.failed);
  ++reporting;
  work_signal.notify_all();
  lock.unlock();
  if (callbacks.after_attempt) callbacks.after_attempt(done);
  in_order.unlock();
  post(attempt, done, now);
  lock.lock();
  --reporting;
  idle_signal.notify_all();
}

void Delivery::Inner::post(const Attempt& attempt, const AttemptDone& done, Stamp at) const {
  if (!callbacks.post) return;
  DeliveryEvent event;
  event.at = at;
  event.channel = attempt.channel;
  event.person = attempt.person;
  event.occurrence = attempt.occurrence;
  event.delivered = arrived(done.answer.answer);
  event.acknowledged = done.answer.answer == Answer::acknowledged;
  event.detail = done.answer.text;
  if (!done.aftermath.words.empty())
    event.detail += (event.detail.empty() ? "" : "; ") + done.aftermath.words;
  callbacks.post(event);
}

void Delivery::Inner::report(const Settlement& settlement, Stamp at) const {
  if (callbacks.settled) callbacks.settled(settlement);
  if (!callbacks.post || !is_failure_by_itself(settlement.ending)) return;
  DeliveryEvent event;
  event.at = at;
  event.person = settlement.person;
  event.occurrence = settlement.occurrence;
  event.detail = settlement.why;
  callbacks.post(event);
}

// Reports what came from no attempt, and notices what becomes due or is given up. Owes nothing when it ends.
void Delivery::Inner::clerk() {
  std::unique_lock lock(mutex);
  while (!closed) {
    const Stamp now = settings.clock();
    if (!stopping) {
      std::vector<Settlement> settled;
      plan.pass_time(now, settled);
      owe(std::move(settled));
    }
    if (owed.empty()) {
      if (stopping) break;
      sleep_until_due(lock, clerk_signal, "");
      continue;
    }
    const Settlement settlement = std::move(owed.front());
    owed.pop_front();
    clerk_busy = true;
    ++reporting;
    lock.unlock();
    after_what_is_being_written();
    report(settlement, now);
    lock.lock();
    --reporting;
    clerk_busy = false;
    idle_signal.notify_all();
  }
  idle_signal.notify_all();
}

Delivery::Delivery(DeliverySettings settings, DeliveryCallbacks callbacks) {
  CHECK(settings.clock && settings.pace > 0);
  for (const ChannelSetup& channel : settings.channels) CHECK(!channel.id.empty() && channel.call);
  inner_ = std::make_shared<Inner>(std::move(settings), std::move(callbacks));
}

Delivery::~Delivery() {
  stop(0);
}

void Delivery::start(Resume resume) {
  Inner& inner = *inner_;
  const std::lock_guard lock(inner.mutex);
  CHECK(!inner.started && !inner.stopping);
  inner.started = true;
  std::vector<Settlement> settled;
  for (const Told& told : resume.told) inner.plan.remember_told(told);
  for (MessageDraft& message : resume.unsure) {
    inner.plan.remember_told({message.occurrence, message.person});
    settled.push_back({message.id, message.occurrence, message.person, Ending::unsure,
                       "sending had begun when the daemon ended; not sent again by itself"});
  }
  const Stamp now = inner.settings.clock();
  for (MessageDraft& message : resume.waiting) inner.plan.add(std::move(message), now, settled);
  inner.owe(std::move(settled));

  inner.workers.resize(inner.settings.channels.size());
  for (std::size_t i = 0; i < inner.workers.size(); ++i)
    inner.workers[i].thread = std::thread([self = inner_, i] { self->work(i); });
  inner.clerk_thread = std::thread([self = inner_] { self->clerk(); });
}

void Delivery::tell(std::vector<MessageDraft> messages, std::span<const std::string> withdrawn) {
  if (messages.empty() && withdrawn.empty()) return;
  Inner& inner = *inner_;
  const std::lock_guard lock(inner.mutex);
  std::vector<Settlement> settled;
  for (const std::string& occurrence : withdrawn) inner.plan.withdraw(occurrence, settled);
  const Stamp now = inner.settings.clock();
  for (MessageDraft& message : messages) inner.plan.add(std::move(message), now, settled);
  inner.owe(std::move(settled));
  inner.work_signal.notify_all();
  inner.clerk_signal.notify_one();  // it may sleep longer than until these are due
}

void Delivery::wake() {
  const std::lock_guard lock(inner_->mutex);
  inner_->work_signal.notify_all();
  inner_->clerk_signal.notify_one();
}

StopReport Delivery::stop(std::int64_t patience_ms) {
  Inner& inner = *inner_;
  std::unique_lock lock(inner.mutex);
  if (inner.stopping) return {};
  inner.stopping = true;
  inner.work_signal.notify_all();
  inner.clerk_signal.notify_all();
  const auto calling = [](const Inner::Worker& worker) { return worker.calling; };
  inner.idle_signal.wait_until(lock, Real::now() + std::chrono::milliseconds(patience_ms), [&] {
    return std::none_of(inner.workers.begin(), inner.workers.end(), calling) && !inner.clerk_busy &&
           inner.owed.empty();
  });
  inner.closed = true;
  inner.idle_signal.wait(lock, [&] { return inner.reporting == 0; });  // callbacks are bounded, by contract

  StopReport report;
  report.left = {inner.plan.undelivered(false), inner.plan.undelivered(true), inner.plan.told()};
  std::vector<std::thread> resting;
  for (std::size_t i = 0; i < inner.workers.size(); ++i) {
    if (inner.workers[i].calling) {
      report.hanging.push_back(inner.settings.channels[i].id);
      inner.workers[i].thread.detach();
    } else {
      resting.push_back(std::move(inner.workers[i].thread));
    }
  }
  lock.unlock();
  for (std::thread& thread : resting) thread.join();
  if (inner.clerk_thread.joinable()) inner.clerk_thread.join();
  return report;
}

DeliveryCounts Delivery::counts() const {
  const std::lock_guard lock(inner_->mutex);
  DeliveryCounts counts = inner_->counts;
  counts.waiting = inner_->plan.size();
  return counts;
}

}  // namespace baskwell::notify
