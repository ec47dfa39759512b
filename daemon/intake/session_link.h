#pragma once
// One MQTT session over the client library: connect, subscribe, disconnect, each begun by a call that returns
// at once and ended by a Happening. Messages go straight into the ArrivalQueue. Decides nothing: when to try
// again is broker.cpp's. The only place that knows the client library.
//
// `happened` is called on the library's threads, with the library's lock held: it must only note what it is
// told. Errors: Outcome when a call cannot even begin. Threads: all functions from one thread.

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "core/result.h"
#include "intake/arrival_queue.h"
#include "intake/broker.h"
#include "settings/settings.h"

namespace baskwell::intake {

struct Happening {
  enum class What : std::uint8_t {
    connected,
    not_connected,   // the attempt failed: code and words
    subscribed,      // codes: one for each filter
    not_subscribed,  // the attempt failed as a whole: words
    lost,            // an established connection ended: code (of a DISCONNECT, or 0) and words
  };
  Session session = Session::live;
  What what = What::lost;
  int code = 0;
  std::string words;       // what the library says; may be empty
  std::vector<int> codes;  // granted QoS, or from 0x80 on why not
};

class SessionLink {
 public:
  // `session` gives the kind: live is clean, kept is persistent. Once `open` is false no message and no
  // happening passes any more, whatever the library still does.
  [[nodiscard]] static Result<std::unique_ptr<SessionLink>> create(
      Session session, const BrokerSettings& settings, const std::string& password,
      std::shared_ptr<ArrivalQueue> queue, ClockSource clock, std::function<void(Happening)> happened,
      std::shared_ptr<const std::atomic<bool>> open);
  ~SessionLink();
  SessionLink(const SessionLink&) = delete;
  SessionLink& operator=(const SessionLink&) = delete;

  [[nodiscard]] Outcome connect();
  [[nodiscard]] Outcome subscribe(const std::vector<std::string>& filters);
  // Says goodbye where there is a connection; waits at most `within_ms` for it to be gone.
  void disconnect(std::int64_t within_ms);

 private:
  struct State;
  explicit SessionLink(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace baskwell::intake
