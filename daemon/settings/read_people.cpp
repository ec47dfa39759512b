// [channels.ID], [people.ID], [alarms.KIND]: who is told of what, and how.

#include <algorithm>

#include "settings/draft.h"
#include "settings/near_name.h"

namespace baskwell::settings {
namespace {

std::vector<PersonChannel> read_person_channels(Draft& draft, TableReader& person) {
  std::vector<PersonChannel> channels;
  for (TableReader& reader : person.tables("channels")) {
    const auto index = read_reference(reader, "channel", draft.delivery_channels);
    if (!reader.has("channel")) reader.missing("channel", joined(draft.delivery_channels.names()));
    PersonChannel channel;
    channel.address = reader.text("address", 1000).value_or("");
    reader.finish();
    if (!index) continue;
    channel.channel = draft.delivery_channels.names()[*index];
    const bool twice = std::any_of(channels.begin(), channels.end(), [&](const PersonChannel& other) {
      return other.channel == channel.channel && other.address == channel.address;
    });
    if (twice) reader.wrong("channel", "is named twice with the same address", "each once");
    channels.push_back(std::move(channel));
  }
  return channels;
}

void read_waking(TableReader& reader, Person& person) {
  const Value* value = reader.find("waking", ValueKind::list);
  if (value == nullptr) return;
  constexpr const char* allowed = "two times of day, as [\"07:00\", \"22:00\"]";
  if (value->items.size() != 2) {
    reader.wrong("waking", "is not two times of day", allowed);
    return;
  }
  std::vector<int> minutes;
  for (const Value& item : value->items) {
    if (item.kind == ValueKind::text && minute_from(item.text)) minutes.push_back(*minute_from(item.text));
    if (item.kind == ValueKind::time) minutes.push_back(static_cast<int>(item.time_of_day_ms / minute_ms));
  }
  if (minutes.size() != 2) {
    reader.wrong("waking", "is not two times of day", allowed);
  } else if (minutes[0] == minutes[1]) {
    reader.wrong("waking", "begins and ends at the same time", allowed);
  } else {
    person.wakes_minute = minutes[0];
    person.sleeps_minute = minutes[1];
  }
}

void read_alarm(TableReader& reader, AlarmSettings& alarm) {
  static const std::vector<std::string> priorities{"low", "medium", "high"};
  const auto priority = reader.one_of("priority", priorities);
  const auto harm_priority = reader.one_of("harm_priority", priorities);
  if (priority) alarm.priority = *priority_from(priorities[*priority]);
  if (harm_priority) alarm.harm_priority = *priority_from(priorities[*harm_priority]);
  const bool both_known = reader.has("priority") == priority.has_value() &&
                          reader.has("harm_priority") == harm_priority.has_value();
  if (both_known && alarm.harm_priority < alarm.priority)
    reader.wrong(reader.has("harm_priority") ? "harm_priority" : "priority",
                 "harm would rank below the target band", "harm_priority at least as high as priority");
  const auto take = [&](std::string_view name, std::int64_t lowest_ms, std::int64_t& into) {
    if (const auto duration = reader.duration_ms(name, lowest_ms, 24 * hour_ms)) into = *duration;
  };
  take("on_delay", 0, alarm.on_delay_ms);
  take("harm_on_delay", 0, alarm.harm_on_delay_ms);
  take("off_delay", 0, alarm.off_delay_ms);
  take("repeat", 0, alarm.repeat_ms);
  take("harm_repeat", 0, alarm.harm_repeat_ms);
  alarm.deadband = reader.number("deadband", 0, 20).value_or(alarm.deadband);
  alarm.worsen_step = reader.number("worsen_step", 0, 20).value_or(alarm.worsen_step);
  alarm.enabled = reader.boolean("enabled").value_or(alarm.enabled);
  reader.finish();
}

}  // namespace

void read_channels(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "channels", draft.delivery_channels)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.delivery_channels.add(draft.report, named.at, named.key, named.id)) continue;
    ChannelSettings channel;
    channel.id = named.id;
    channel.at = {draft.report.file(), named.at.line, named.at.column};
    channel.kind = reader.text("kind").value_or("");
    if (!reader.has("kind")) reader.missing("kind", "the name of a channel plugin, as \"email\"");
    if (const auto timeout_ms = reader.duration_ms("timeout", second_ms, 120 * second_ms))
      channel.timeout_ms = static_cast<std::uint32_t>(*timeout_ms);
    // Whatever else stands here is the plugin's; the plugin host knows which keys it has.
    channel.settings =
        read_plugin_settings(draft, *named.table, named.key,
                             {"kind", "timeout", "timeout_ms", "timeout_s", "timeout_min", "timeout_h"});
    draft.settings.room.delivery_channels.push_back(named.id);
    draft.settings.channels.push_back(std::move(channel));
  }
}

void read_people(Draft& draft, TableReader& root) {
  for (const TableReader::Named& named : read_named_tables(root, "people", draft.people)) {
    TableReader reader(*named.table, named.key, draft.report);
    if (!draft.people.add(draft.report, named.at, named.key, named.id)) continue;
    Person person;
    person.id = named.id;
    person.name = read_name(reader, named.id);
    person.channels = read_person_channels(draft, reader);
    read_waking(reader, person);
    reader.finish();
    const Value* channels = reader.find("channels");
    const bool none_written = channels == nullptr || (channels->items.empty() && channels->members.empty());
    if (none_written) reader.missing("channels", "at least one way to reach this person");
    draft.settings.room.people.push_back(std::move(person));
  }
}

void read_alarms(Draft& draft, TableReader& root) {
  auto section = root.table("alarms");
  if (!section) return;
  std::vector<std::string> kinds;
  for (const AlarmKindRow& row : alarm_kind_rows()) kinds.emplace_back(row.name);
  for (const Member& member : section->table().members) {
    const auto kind = alarm_kind_from(member.key);
    const std::string key = section->key_of(member.key);
    if (!kind) {
      draft.report.error(member.at, key, "there is no alarm kind of this name", joined(kinds),
                         nearest_name(member.key, kinds));
    } else if (auto reader = section->table(member.key)) {
      read_alarm(*reader, draft.settings.room.alarm_settings[static_cast<std::size_t>(*kind)]);
    }
  }
}

}  // namespace baskwell::settings
