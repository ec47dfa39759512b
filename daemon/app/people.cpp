#include "app/people.h"

#include <spdlog/spdlog.h>

#include <chrono>
#include <future>
#include <utility>

#include "notify/plugin_channel.h"
#include "plugin_host/channel.h"
#include "store/reader.h"
#include "store/store.h"

namespace baskwell {
namespace {

// A store that does not answer within this does not keep anybody from being told.
constexpr std::chrono::seconds attempt_patience{2};

Outcome write_attempt(store::Store& store, const std::string& message, const std::string& channel, UtcMs at) {
  const auto written = std::make_shared<std::promise<std::string>>();
  std::future<std::string> answer = written->get_future();
  store.record_attempt({message, channel, at},
                       [written](bool ok, const std::string& error) { written->set_value(ok ? "" : error); });
  if (answer.wait_for(attempt_patience) != std::future_status::ready)
    return Error{"the store does not answer"};
  if (std::string error = answer.get(); !error.empty()) return Error{std::move(error)};
  return Done{};
}

store::MessageState state_after(notify::Ending ending) {
  switch (ending) {
    case notify::Ending::delivered:
    case notify::Ending::acknowledged:
      return store::MessageState::delivered;
    case notify::Ending::withdrawn:
    case notify::Ending::replaced:
    case notify::Ending::not_needed:
      return store::MessageState::withdrawn;
    case notify::Ending::unsure:  // nobody will ever know; the alarm's repeat tells again
    case notify::Ending::gave_up:
    case notify::Ending::refused:
    case notify::Ending::dropped:
    case notify::Ending::no_channel:
      return store::MessageState::failed;
  }
  return store::MessageState::failed;
}

}  // namespace

plugin_host::Folders plugin_folders(const Settings& settings) {
  plugin_host::Folders folders(settings.plugin_folders.begin(), settings.plugin_folders.end());
  for (auto& folder : plugin_host::default_folders()) folders.push_back(std::move(folder));
  return folders;
}

Result<std::vector<plugin_host::Setting>> resolved(const std::vector<PluginSetting>& settings) {
  std::vector<plugin_host::Setting> all;
  for (const PluginSetting& setting : settings) {
    std::string value = setting.value;
    if (setting.secret.given()) {
      Result<std::string> secret = setting.secret.read();
      if (!secret) return secret.error();
      value = std::move(secret).value();
    }
    all.push_back({setting.key, std::move(value)});
  }
  return all;
}

Result<std::shared_ptr<notify::Delivery>> open_delivery(const Settings& settings,
                                                        const plugin_host::Folders& folders,
                                                        const Clock& clock, store::Store& store,
                                                        std::function<void(DeliveryEvent)> post) {
  notify::DeliverySettings setup;
  setup.people = settings.room.people;
  setup.clock = [&clock] { return clock.now(); };
  setup.pace = clock.pace();
  for (const ChannelSettings& channel : settings.channels) {
    auto plugin = plugin_host::ChannelPlugin::load(channel.kind, folders);
    if (!plugin) return Error{"channel '" + channel.id + "': " + plugin.error().text};
    auto plugin_settings = resolved(channel.settings);
    if (!plugin_settings) return Error{"channel '" + channel.id + "': " + plugin_settings.error().text};
    auto opened = plugin.value().open(plugin_settings.value());
    if (!opened) return Error{"channel '" + channel.id + "': " + opened.error().text};
    auto instance = std::make_shared<plugin_host::DeliveryChannel>(std::move(opened).value());
    setup.channels.push_back({channel.id, notify::through(std::move(instance)), channel.timeout_ms});
  }
  notify::DeliveryCallbacks callbacks;
  callbacks.before_attempt = [&store](const std::string& message, const std::string& channel, UtcMs at) {
    return write_attempt(store, message, channel, at);
  };
  callbacks.after_attempt = [&store](const notify::AttemptDone& done) {
    store::AttemptOutcome outcome;
    outcome.attempt = {done.message, done.channel, done.began};
    outcome.ended = done.ended;
    outcome.delivered = notify::arrived(done.answer.answer);
    outcome.answer = done.answer.text;
    outcome.becomes = store::MessageState::waiting;
    if (outcome.delivered) outcome.becomes = store::MessageState::delivered;
    if (done.aftermath.ending) outcome.becomes = state_after(*done.aftermath.ending);
    if (done.aftermath.in_flight) outcome.becomes = store::MessageState::attempted;
    outcome.next_try = done.ended + done.aftermath.again_in_ms;
    store.record_outcome(std::move(outcome));
  };
  callbacks.settled = [&store, &clock](const notify::Settlement& settlement) {
    spdlog::info("message {} of {} to {}: {} ({})", settlement.id, settlement.occurrence, settlement.person,
                 name_of(settlement.ending), settlement.why);
    store.record_end({settlement.id, state_after(settlement.ending), clock.now().utc});
  };
  callbacks.post = std::move(post);
  return std::make_shared<notify::Delivery>(std::move(setup), std::move(callbacks));
}

Result<notify::Resume> resume_from(const store::Store& store, const Engine& engine, Stamp now) {
  auto pending = store.pending_messages();
  if (!pending) return pending.error();
  notify::Resume resume;
  for (store::OutboxMessage& message : pending.value().waiting)
    resume.waiting.push_back(std::move(message.draft));
  for (store::OutboxMessage& message : pending.value().unknown_outcome)
    resume.unsure.push_back(std::move(message.draft));
  auto reader = store::StoreReader::open(store.path());
  if (!reader) return reader.error();
  for (const AlarmView& alarm : engine.view(now).alarms) {
    for (const Person& person : engine.room().people) {
      if (alarm.occurrence.empty()) continue;
      auto told = reader.value().was_told(alarm.occurrence, person.id);
      if (!told) return told.error();
      if (told.value()) resume.told.push_back({alarm.occurrence, person.id});
    }
  }
  return resume;
}

}  // namespace baskwell
