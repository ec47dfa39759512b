#include "demoroom/program/live.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <fstream>
#include <string>

#include "demoroom/payload.h"
#include "demoroom/program/broker_link.h"
#include "demoroom/program/zone_clock.h"
#include "demoroom/scenario_demo.h"
#include "demoroom/time_text.h"

namespace baskwell::demoroom {
namespace {

constexpr const char* kDoTopic = "demo/do";
constexpr const char* kDidTopic = "demo/did";
constexpr const char* kPresenceTopic = "demo/presence";
constexpr std::int64_t kHour_ms = kHour_s * 1000;

volatile std::sig_atomic_t g_stop = 0;

extern "C" void on_stop_signal(int /*signal*/) {
  g_stop = 1;
}

std::int64_t real_now_ms() {
  using namespace std::chrono;
  return duration_cast<milliseconds>(system_clock::now().time_since_epoch()).count();
}

void say(const std::string& line) {
  std::fprintf(stderr, "demo room: %s\n", line.c_str());
}

// Runs in pieces that end at the full hour, where local time may change.
void run_with_zone(DemoRoom& room, std::int64_t until_ms, const LocalOffset& offset, const ReportSink& sink) {
  while (room.now_ms() + kStep_s * 1000 <= until_ms) {
    const std::int64_t before_ms = room.now_ms();
    room.set_local_offset_s(offset(before_ms));
    const std::int64_t hour_end_ms = (before_ms / kHour_ms + 1) * kHour_ms;
    // The step that crosses the hour belongs to the hour it began in.
    room.run_until(std::min(until_ms, std::max(hour_end_ms, before_ms + kStep_s * 1000)), sink);
  }
}

Outcome plan_fault(DemoRoom& room, const std::string& text) {
  const std::size_t space = std::min(text.find(' '), text.size());
  const auto when = parse_rfc3339_ms(text.substr(0, space));
  if (!when) return when.error();
  const auto command = parse_command(text.substr(space));
  if (!command) return command.error();
  const auto* fault = std::get_if<FaultCommand>(&command.value());
  if (fault == nullptr) return Error{"only a fault can be planned; it ends by 'for MINUTES'"};
  return room.schedule(when.value(), *fault);
}

Result<DemoRoom> settled_room(const Options& options, std::int64_t start_ms, const LocalOffset& offset) {
  const std::int64_t from_ms = start_ms - std::llround(options.settle_h * static_cast<double>(kHour_ms));
  if (from_ms < 0) return Error{"--start less --settle is before 1970"};
  DemoRoom room(demo_scenario(options.interval_s), options.seed, from_ms, offset(from_ms));
  run_with_zone(room, start_ms, offset, {});
  for (const std::string& fault : options.faults) {
    const Outcome planned = plan_fault(room, fault);
    if (!planned) return Error{"--fault \"" + fault + "\": " + planned.error().text};
  }
  return room;
}

void answer_commands(DemoRoom& room, BrokerLink& link, std::chrono::milliseconds patience) {
  for (auto line = link.next_line(patience); line; line = link.next_line(std::chrono::milliseconds(0))) {
    while (!line->empty() && (line->back() == '\n' || line->back() == '\r' || line->back() == ' '))
      line->pop_back();
    const auto done = room.command(*line);
    const std::string answer =
        *line + " => " +
        (done ? "ok at " + rfc3339_ms(room.now_ms()) + ": " + done.value() : "error: " + done.error().text);
    link.send(kDidTopic, answer);
    say(answer);
  }
}

}  // namespace

int publish_live(const Options& options) {
  const std::int64_t now_ms = real_now_ms();
  const auto steady_now = std::chrono::steady_clock::now();
  const std::int64_t start_ms = options.start_ms.value_or(now_ms);
  // From here on only the steady clock counts: a step of the wall clock must not move the room.
  const auto steady_anchor =
      steady_now - std::chrono::milliseconds(now_ms - options.anchor_ms.value_or(now_ms));
  const auto simulated_now_ms = [&] {
    const std::chrono::duration<double, std::milli> since = std::chrono::steady_clock::now() - steady_anchor;
    return start_ms + std::llround(options.pace * since.count());
  };
  const auto offset = local_offset(options.zone, options.offset_minutes);
  if (!offset) {
    say(offset.error().text);
    return 1;
  }
  std::signal(SIGINT, on_stop_signal);
  std::signal(SIGTERM, on_stop_signal);
  auto made = settled_room(options, start_ms, offset.value());
  if (!made) {
    say(made.error().text);
    return 1;
  }
  DemoRoom room = std::move(made).value();
  const auto opened = BrokerLink::open({options.broker, "baskwell-demo-room", kDoTopic, kPresenceTopic},
                                       std::chrono::seconds(10));
  if (!opened) {
    say(opened.error().text);
    return 1;
  }
  BrokerLink& link = *opened.value();
  say("publishing to " + options.broker + ", simulated time " + rfc3339_ms(start_ms) + " at pace " +
      decimal(options.pace, 3) + ", seed " + std::to_string(options.seed));
  bool dropping = false;
  const auto publish = [&](const Report& report) {
    for (const Message& message : messages_of(room.spec(), report)) {
      const bool dropped = !link.send(message.topic, message.payload);
      if (dropped != dropping) say(dropped ? "broker away, messages are dropped" : "broker back");
      dropping = dropped;
    }
  };
  while (g_stop == 0) {
    run_with_zone(room, simulated_now_ms(), offset.value(), publish);
    const double real_ms =
        static_cast<double>(room.now_ms() + kStep_s * 1000 - simulated_now_ms()) / options.pace;
    // Woken at least five times a second, for the signals.
    answer_commands(room, link,
                    std::chrono::milliseconds(std::clamp<std::int64_t>(std::llround(real_ms), 1, 200)));
  }
  link.close();
  say("ended, " + std::to_string(link.sent()) + " messages sent, " + std::to_string(link.dropped()) +
      " dropped");
  return 0;
}

int write_csv(const Options& options) {
  const std::int64_t start_ms = options.start_ms.value_or(real_now_ms());
  const auto offset = local_offset(options.zone, options.offset_minutes);
  if (!offset) {
    say(offset.error().text);
    return 1;
  }
  auto made = settled_room(options, start_ms, offset.value());
  if (!made) {
    say(made.error().text);
    return 1;
  }
  DemoRoom room = std::move(made).value();
  std::ofstream file(options.csv_file, std::ios::binary | std::ios::trunc);
  file << kCsvHeader << '\n';
  const std::int64_t end_ms = start_ms + std::llround(options.days * static_cast<double>(kDay_s * 1000));
  run_with_zone(room, end_ms, offset.value(),
                [&](const Report& report) { file << csv_lines_of(room.spec(), report); });
  file.close();
  if (!file) {
    say("cannot write " + options.csv_file);
    return 1;
  }
  return 0;
}

int send_command(const Options& options) {
  const auto opened = BrokerLink::open({options.broker, "", kDidTopic, ""}, std::chrono::seconds(5));
  if (!opened) {
    say(opened.error().text);
    return 2;
  }
  BrokerLink& link = *opened.value();
  const std::string start_of_answer = options.command + " => ";
  if (!link.send(kDoTopic, options.command)) {
    say("the broker went away");
    return 2;
  }
  constexpr std::chrono::seconds kPatience(10);
  const auto deadline = std::chrono::steady_clock::now() + kPatience;
  while (std::chrono::steady_clock::now() < deadline) {
    const auto line = link.next_line(std::chrono::milliseconds(200));
    if (!line || !line->starts_with(start_of_answer)) continue;  // another's answer
    std::printf("%s\n", line->c_str());
    return line->compare(start_of_answer.size(), 2, "ok") == 0 ? 0 : 1;
  }
  say("no answer within 10 s: is the demo room running on " + options.broker + "?");
  return 2;
}

}  // namespace baskwell::demoroom
