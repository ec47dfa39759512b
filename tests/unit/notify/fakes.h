#pragma once
// A clock that tests set, a delivery channel that answers as told and can hang, and a diary of what was
// called in which order. All may be used from any thread. Waiting for another thread is bounded (10 s of real
// time) and says so by its return value.

#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "core/time.h"
#include "notify/letter.h"

namespace baskwell::notify {

inline constexpr std::chrono::seconds patience{10};

class FakeClock {
 public:
  explicit FakeClock(Stamp start) : now_(start) {}
  [[nodiscard]] Stamp now() const {
    const std::lock_guard lock(mutex_);
    return now_;
  }
  void advance(std::int64_t duration_ms) { step(duration_ms, duration_ms); }
  void step(std::int64_t utc_ms, std::int64_t elapsed_ms) {
    const std::lock_guard lock(mutex_);
    now_ = {now_.utc + utc_ms, now_.elapsed + elapsed_ms};
  }

 private:
  mutable std::mutex mutex_;
  Stamp now_;
};

// Lines written by several threads, in the order of writing.
class Diary {
 public:
  void write(std::string line) {
    const std::lock_guard lock(mutex_);
    lines_.push_back(std::move(line));
    written_.notify_all();
  }
  [[nodiscard]] std::vector<std::string> lines() const {
    const std::lock_guard lock(mutex_);
    return lines_;
  }
  // True once `count` lines are there.
  [[nodiscard]] bool wait_for(std::size_t count) {
    std::unique_lock lock(mutex_);
    return written_.wait_for(lock, patience, [&] { return lines_.size() >= count; });
  }
  [[nodiscard]] bool wait_for(const std::string& line) {
    std::unique_lock lock(mutex_);
    return written_.wait_for(lock, patience, [&] {
      for (const std::string& one : lines_)
        if (one == line) return true;
      return false;
    });
  }

 private:
  mutable std::mutex mutex_;
  std::condition_variable written_;
  std::vector<std::string> lines_;
};

class FakeChannel {
 public:
  // What the coming calls answer, one after the other; then `took`.
  void will_answer(std::vector<ChannelAnswer> answers) {
    const std::lock_guard lock(state_->mutex);
    state_->answers.insert(state_->answers.end(), answers.begin(), answers.end());
  }
  void hang() {
    const std::lock_guard lock(state_->mutex);
    state_->hanging = true;
  }
  void release() {
    const std::lock_guard lock(state_->mutex);
    state_->hanging = false;
    state_->changed.notify_all();
  }
  // True once `count` calls have begun.
  [[nodiscard]] bool wait_for_calls(std::size_t count) {
    std::unique_lock lock(state_->mutex);
    return state_->changed.wait_for(lock, patience, [&] { return state_->letters.size() >= count; });
  }
  // True once no call is running.
  [[nodiscard]] bool wait_for_rest() {
    std::unique_lock lock(state_->mutex);
    return state_->changed.wait_for(lock, patience, [&] { return !state_->running; });
  }
  [[nodiscard]] std::vector<std::string> ids() const {
    const std::lock_guard lock(state_->mutex);
    std::vector<std::string> ids;
    for (const Letter& letter : state_->letters) ids.push_back(letter.id);
    return ids;
  }

  // Keeps its state alive, as a real channel's call does; `diary` may be null.
  [[nodiscard]] ChannelCall call(Diary* diary = nullptr) {
    return [state = state_, diary](const Letter& letter, std::uint32_t timeout_ms) {
      if (diary != nullptr) diary->write("call " + letter.id + " " + std::to_string(timeout_ms));
      std::unique_lock lock(state->mutex);
      state->overlapped = state->overlapped || state->running;
      state->running = true;
      state->letters.push_back(letter);
      state->changed.notify_all();
      state->changed.wait(lock, [&] { return !state->hanging; });
      state->running = false;
      state->changed.notify_all();
      if (state->answers.empty()) return ChannelAnswer{Answer::delivered, "250 taken"};
      ChannelAnswer answer = state->answers.front();
      state->answers.pop_front();
      return answer;
    };
  }
  [[nodiscard]] bool was_called_twice_at_once() const {
    const std::lock_guard lock(state_->mutex);
    return state_->overlapped;
  }

 private:
  struct State {
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<ChannelAnswer> answers;
    std::vector<Letter> letters;
    bool hanging = false;
    bool running = false;
    bool overlapped = false;
  };
  std::shared_ptr<State> state_ = std::make_shared<State>();
};

}  // namespace baskwell::notify
