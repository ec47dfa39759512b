#include "notify/plan.h"

#include <algorithm>
#include <utility>

#include "core/check.h"

namespace baskwell::notify {

namespace {

constexpr ElapsedMs never{INT64_MAX};

std::string told_key(std::string_view occurrence, std::string_view person) {
  std::string key(occurrence);
  key += '\n';  // in no id
  key += person;
  return key;
}

// How long until `at` by the wall clock. A date further off than a year is a year off: looked at again then.
std::int64_t until_ms(UtcMs at, Stamp now) {
  if (at <= now.utc) return 0;
  return std::min(at, now.utc + 366 * day_ms) - now.utc;
}

std::string seconds(std::int64_t duration_ms) {
  return std::to_string(duration_ms / second_ms) + " s";
}

// An "over" is no danger to anybody: it ends like any other message, whatever its priority.
bool never_gives_up(const MessageDraft& message) {
  return message.priority == Priority::high && message.reason != TellReason::over;
}

bool has_arrived(Ending ending) {
  return ending == Ending::delivered || ending == Ending::acknowledged;
}

void settle(const MessageDraft& message, Ending ending, std::string why, std::vector<Settlement>& settled) {
  settled.push_back({message.id, message.occurrence, message.person, ending, std::move(why)});
}

}  // namespace

DeliveryPlan::DeliveryPlan(std::vector<Person> people, std::vector<std::string> channels,
                           PlanSettings settings)
    : people_(std::move(people)), channels_(std::move(channels)), settings_(settings) {
  CHECK(settings_.first_wait_ms > 0 && settings_.longest_wait_ms >= settings_.first_wait_ms);
  CHECK(settings_.high_patience_ms > 0 && settings_.patience_ms > 0 && settings_.give_up_ms > 0);
  CHECK(settings_.most_messages > 0);
}

bool DeliveryPlan::in_flight(const Entry& entry) {
  return std::any_of(entry.steps.begin(), entry.steps.end(),
                     [](const Step& step) { return step.state == Try::in_flight; });
}

std::int64_t DeliveryPlan::patience_of(const Entry& entry) const {
  return entry.draft.priority == Priority::high ? settings_.high_patience_ms : settings_.patience_ms;
}

// The first open step at offer_at, each further one a patience later: a channel that is busy or hangs is
// overtaken, one that is free is not.
ElapsedMs DeliveryPlan::open_at(const Entry& entry, std::size_t step, Stamp now) const {
  if (entry.ending || entry.steps[step].state != Try::open) return never;
  const auto open_before =
      std::count_if(entry.steps.begin(), entry.steps.begin() + static_cast<std::ptrdiff_t>(step),
                    [](const Step& other) { return other.state == Try::open; });
  ElapsedMs first = entry.offer_at;
  if (!entry.due) first = std::max(first, now.elapsed + until_ms(entry.draft.not_before, now));
  return first + open_before * patience_of(entry);
}

// Once due, a message stays due: a wall clock stepped back takes nothing back.
void DeliveryPlan::mark_due(Stamp now) {
  for (Entry& entry : entries_) {
    if (entry.due || entry.draft.not_before > now.utc) continue;
    entry.due = true;
    entry.first_due = now.elapsed;
    entry.offer_at = std::max(entry.offer_at, now.elapsed);
  }
}

// Ends the message now, or, with an attempt in flight, as soon as the answer is there. Returns the next
// entry.
DeliveryPlan::Entries::iterator DeliveryPlan::end(Entries::iterator entry, Ending ending, std::string why,
                                                  std::vector<Settlement>& settled) {
  if (in_flight(*entry)) {
    entry->ending = ending;
    entry->ending_why = std::move(why);
    return std::next(entry);
  }
  settle(entry->draft, ending, std::move(why), settled);
  return entries_.erase(entry);
}

// A dead mail server must not pile up two hundred repeats: the newest text wins, and no old "over" may come
// after a new alarm. One of lower priority does not take the place of a higher one, which may be due earlier.
// A repeat goes on where the older one was (its wait, its failed channels, but no refusal); news begins
// afresh.
void DeliveryPlan::replace_older(Entry& newer, std::vector<Settlement>& settled) {
  const MessageDraft& message = newer.draft;
  if (message.occurrence.empty()) return;  // a drill
  for (auto older = entries_.begin(); older != entries_.end();) {
    const MessageDraft& old = older->draft;
    const bool same = old.occurrence == message.occurrence && old.person == message.person;
    const bool outranked = message.reason == TellReason::over || old.reason == TellReason::over ||
                           message.priority >= old.priority;
    if (!same || older->ending || !outranked) {
      ++older;
      continue;
    }
    const bool goes_on = message.reason == TellReason::repeated && message.priority == old.priority &&
                         old.reason != TellReason::over && !in_flight(*older);
    if (goes_on) {
      newer.steps = older->steps;
      for (Step& step : newer.steps)
        if (step.state == Try::refused) step.state = Try::open;
      newer.offer_at = older->offer_at;
      newer.wait_ms = older->wait_ms;
    }
    older = end(older, Ending::replaced, "replaced by " + message.id, settled);
  }
}

bool DeliveryPlan::make_place(const MessageDraft& message, std::vector<Settlement>& settled) {
  if (entries_.size() < settings_.most_messages) return true;
  auto least = entries_.end();
  for (auto entry = entries_.begin(); entry != entries_.end(); ++entry) {
    if (in_flight(*entry)) continue;
    if (least == entries_.end() || entry->draft.priority < least->draft.priority) least = entry;
  }
  const std::string why = "the outbox is full (" + std::to_string(settings_.most_messages) + " messages)";
  if (least == entries_.end() || least->draft.priority > message.priority) {
    settle(message, Ending::dropped, why, settled);
    return false;
  }
  end(least, Ending::dropped, why, settled);
  return true;
}

void DeliveryPlan::add(MessageDraft message, Stamp now, std::vector<Settlement>& settled) {
  CHECK(!message.id.empty());
  for (const Entry& entry : entries_)
    if (entry.draft.id == message.id) return;

  Entry entry;
  entry.offer_at = now.elapsed;
  entry.wait_ms = settings_.first_wait_ms;
  for (const Person& person : people_)
    if (person.id == message.person) entry.person = &person;
  for (std::size_t i = 0; entry.person != nullptr && i < entry.person->channels.size(); ++i) {
    const std::string& channel = entry.person->channels[i].channel;
    if (std::find(channels_.begin(), channels_.end(), channel) != channels_.end())
      entry.steps.push_back({i, Try::open});
  }
  entry.draft = std::move(message);
  replace_older(entry, settled);
  if (entry.draft.only_if_told && !was_told(entry.draft)) {
    settle(entry.draft, Ending::not_needed, "this person never heard of the alarm", settled);
    return;
  }
  if (entry.steps.empty()) {
    const std::string why = entry.person == nullptr ? "no such person: " + entry.draft.person
                                                    : entry.person->name + " has no delivery channel";
    settle(entry.draft, Ending::no_channel, why, settled);
    return;
  }
  if (!make_place(entry.draft, settled)) return;
  entries_.push_back(std::move(entry));
  mark_due(now);
}

void DeliveryPlan::withdraw(std::string_view occurrence, std::vector<Settlement>& settled) {
  if (occurrence.empty()) return;
  for (auto entry = entries_.begin(); entry != entries_.end();) {
    const bool concerned =
        entry->draft.occurrence == occurrence && entry->draft.reason != TellReason::over && !entry->ending;
    entry = concerned ? end(entry, Ending::withdrawn, "no longer needed when it could be sent", settled)
                      : std::next(entry);
  }
}

void DeliveryPlan::pass_time(Stamp now, std::vector<Settlement>& settled) {
  mark_due(now);
  for (auto entry = entries_.begin(); entry != entries_.end();) {
    const bool too_old = entry->due && !entry->ending && !never_gives_up(entry->draft) &&
                         now.elapsed - entry->first_due >= settings_.give_up_ms;
    entry = too_old
                ? end(entry, Ending::gave_up,
                      "given up after " + std::to_string(settings_.give_up_ms / minute_ms) + " min", settled)
                : std::next(entry);
  }
}

std::optional<Attempt> DeliveryPlan::take(std::string_view channel, Stamp now) {
  mark_due(now);
  Entry* best = nullptr;
  std::size_t best_step = 0;
  ElapsedMs best_at = never;
  for (Entry& entry : entries_) {
    for (std::size_t step = 0; step < entry.steps.size(); ++step) {
      if (entry.person->channels[entry.steps[step].person_channel].channel != channel) continue;
      const ElapsedMs at = open_at(entry, step, now);
      if (at > now.elapsed) continue;
      const bool more_urgent = best == nullptr || entry.draft.priority > best->draft.priority ||
                               (entry.draft.priority == best->draft.priority && at < best_at);
      if (!more_urgent) continue;
      best = &entry;
      best_step = step;
      best_at = at;
    }
  }
  if (best == nullptr) return std::nullopt;

  Step& step = best->steps[best_step];
  step.state = Try::in_flight;
  best->offer_at = now.elapsed + patience_of(*best);
  const MessageDraft& draft = best->draft;
  // What follows an "over" begins afresh: the same occurrence may be raised again, and its next "over" is due
  // only to those who heard of that.
  draft.reason == TellReason::over ? forget_told(draft) : remember_told({draft.occurrence, draft.person});
  Attempt attempt;
  attempt.step = best_step;
  attempt.channel = channel;
  attempt.person = draft.person;
  attempt.occurrence = draft.occurrence;
  attempt.letter = {draft.id,       best->person->name, best->person->channels[step.person_channel].address,
                    draft.priority, draft.headline,     draft.body,
                    draft.json,     draft.written};
  return attempt;
}

Aftermath DeliveryPlan::answer(const Attempt& attempt, const ChannelAnswer& answer, Stamp now) {
  const auto entry = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& candidate) {
    return candidate.draft.id == attempt.letter.id;
  });
  CHECK(entry != entries_.end());
  CHECK(attempt.step < entry->steps.size() && entry->steps[attempt.step].state == Try::in_flight);
  entry->steps[attempt.step].state = answer.answer == Answer::refused ? Try::refused : Try::failed;

  if (arrived(answer.answer) && entry->ending != Ending::acknowledged) {
    entry->ending = answer.answer == Answer::acknowledged ? Ending::acknowledged : Ending::delivered;
    entry->ending_why = answer.text;
  }
  Aftermath aftermath;
  if (!entry->ending) aftermath = what_follows(*entry, now);
  if (aftermath.ending) entry->ending = aftermath.ending;
  aftermath.in_flight = in_flight(*entry);
  if (!entry->ending) return aftermath;

  // While another attempt is in flight, only what arrived is certain to have ended.
  if (!aftermath.in_flight || has_arrived(*entry->ending)) aftermath.ending = entry->ending;
  if (aftermath.words.empty() && aftermath.ending && !has_arrived(*aftermath.ending))
    aftermath.words = entry->ending_why;
  if (aftermath.in_flight) return aftermath;
  entries_.erase(entry);
  return aftermath;
}

// After an attempt that did not arrive: the next channel at once, else a new round after the wait, else
// (every channel refused) the end, but never of `high`: somebody may repair the channel.
Aftermath DeliveryPlan::what_follows(Entry& entry, Stamp now) {
  bool any_failed = false;
  for (const Step& step : entry.steps) {
    if (step.state == Try::open) {
      entry.offer_at = now.elapsed;
      return {{}, false, 0, "goes on to " + entry.person->channels[step.person_channel].channel};
    }
    any_failed = any_failed || step.state == Try::failed;
  }
  std::string words;
  std::int64_t wait_ms = entry.wait_ms;
  if (any_failed) {
    entry.wait_ms = std::min(2 * wait_ms, settings_.longest_wait_ms);
  } else if (in_flight(entry)) {
    return {};
  } else if (never_gives_up(entry.draft)) {
    wait_ms = settings_.longest_wait_ms;
    words = "refused by every channel, ";
  } else {
    return {Ending::refused, false, 0, "refused by every channel, not tried again"};
  }
  const Try again = any_failed ? Try::failed : Try::refused;
  for (Step& step : entry.steps)
    if (step.state == again) step.state = Try::open;
  entry.offer_at = now.elapsed + wait_ms;
  return {{}, false, wait_ms, words + "tried again in " + seconds(wait_ms)};
}

ElapsedMs DeliveryPlan::next_due(std::string_view channel, Stamp now) const {
  ElapsedMs next = never;
  for (const Entry& entry : entries_) {
    if (entry.ending) continue;
    if (!entry.due) next = std::min(next, now.elapsed + until_ms(entry.draft.not_before, now));
    if (entry.due && !never_gives_up(entry.draft))
      next = std::min(next, entry.first_due + settings_.give_up_ms);
    for (std::size_t step = 0; step < entry.steps.size(); ++step)
      if (entry.person->channels[entry.steps[step].person_channel].channel == channel)
        next = std::min(next, open_at(entry, step, now));
  }
  return next;
}

std::vector<MessageDraft> DeliveryPlan::undelivered(bool attempted) const {
  std::vector<MessageDraft> found;
  for (const Entry& entry : entries_) {
    if (entry.ending && has_arrived(*entry.ending)) continue;
    if (in_flight(entry) == attempted) found.push_back(entry.draft);
  }
  return found;
}

std::vector<Told> DeliveryPlan::told() const {
  std::vector<Told> all(told_order_.begin(), told_order_.end());
  for (const Entry& entry :
       entries_)  // an "over" that was tried has been forgotten, but must be taken in again
    if (entry.draft.only_if_told && !was_told(entry.draft))
      all.push_back({entry.draft.occurrence, entry.draft.person});
  return all;
}

void DeliveryPlan::remember_told(const Told& told) {
  if (told.occurrence.empty()) return;
  if (!told_.insert(told_key(told.occurrence, told.person)).second) return;
  told_order_.push_back(told);
  if (told_order_.size() <= settings_.most_told) return;
  told_.erase(told_key(told_order_.front().occurrence, told_order_.front().person));
  told_order_.pop_front();
}

bool DeliveryPlan::was_told(const MessageDraft& message) const {
  return told_.count(told_key(message.occurrence, message.person)) != 0;
}

void DeliveryPlan::forget_told(const MessageDraft& message) {
  if (told_.erase(told_key(message.occurrence, message.person)) == 0) return;
  std::erase_if(told_order_, [&](const Told& told) {
    return told.occurrence == message.occurrence && told.person == message.person;
  });
}

}  // namespace baskwell::notify
