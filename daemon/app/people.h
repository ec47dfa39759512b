#pragma once
// Delivery as the daemon sets it up: channel plugins opened with their settings and secrets, the outbox's
// life written to the store, what happened posted to the domain. Errors: a plugin that cannot be loaded or
// opened, in words that name the channel and never a secret.

#include <functional>
#include <memory>

#include "app/clock.h"
#include "core/engine.h"
#include "core/event.h"
#include "core/result.h"
#include "notify/delivery.h"
#include "plugin_host/library.h"
#include "settings/settings.h"

namespace baskwell::store {
class Store;
}

namespace baskwell {

// Opened but not started. `post` brings an event to the domain thread. `store` must outlive what is returned.
[[nodiscard]] Result<std::shared_ptr<notify::Delivery>> open_delivery(
    const Settings& settings, const plugin_host::Folders& folders, const Clock& clock, store::Store& store,
    std::function<void(DeliveryEvent)> post);

// What a start finds in the outbox: waiting and unsure messages, and who heard of the alarms that are open.
[[nodiscard]] Result<notify::Resume> resume_from(const store::Store& store, const Engine& engine, Stamp now);

// Where plugins of these settings are looked for.
[[nodiscard]] plugin_host::Folders plugin_folders(const Settings& settings);

// Settings of a plugin with its secrets read.
[[nodiscard]] Result<std::vector<plugin_host::Setting>> resolved(const std::vector<PluginSetting>& settings);

}  // namespace baskwell
