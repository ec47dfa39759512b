#include "store/names.h"

#include <array>
#include <cstddef>
#include <optional>

#include "core/check.h"

namespace baskwell::store {
namespace {

constexpr std::array<std::string_view, 3> level_names{"none", "target", "harm"};
constexpr std::array<std::string_view, message_state_count> message_state_names{
    "waiting", "attempted", "delivered", "failed", "withdrawn"};

[[noreturn]] void unknown(const char* what, std::string_view name) {
  throw Trouble{0, std::string("the store has an unknown ") + what + " \"" + std::string(name) +
                       "\"; a newer program may have written it"};
}

// The enumerator among the first `count` whose name this is.
template <class Enum>
std::optional<Enum> find(std::string_view name, int count) {
  for (int i = 0; i < count; ++i) {
    if (name_of(static_cast<Enum>(i)) == name) return static_cast<Enum>(i);
  }
  return std::nullopt;
}

template <class Enum>
void take(std::optional<Enum> found, Enum& into, const char* what, std::string_view name) {
  if (!found) unknown(what, name);
  into = *found;
}

}  // namespace

std::string_view name_of(MessageState state) {
  const auto index = static_cast<std::size_t>(state);
  CHECK(index < message_state_names.size());
  return message_state_names[index];
}

std::optional<MessageState> message_state_from(std::string_view name) {
  return find<MessageState>(name, message_state_count);
}

std::string_view level_name(Level level) {
  const auto index = static_cast<std::size_t>(level);
  CHECK(index < level_names.size());
  return level_names[index];
}

void parse(std::string_view name, AlarmKind& kind) {
  take(alarm_kind_from(name), kind, "alarm kind", name);
}
void parse(std::string_view name, AlarmState& state) {
  take(alarm_state_from(name), state, "alarm state", name);
}
void parse(std::string_view name, AlarmInput& input) {
  take(find<AlarmInput>(name, alarm_input_count), input, "alarm input", name);
}
void parse(std::string_view name, Priority& priority) {
  take(priority_from(name), priority, "priority", name);
}
void parse(std::string_view name, Level& level) {
  for (std::size_t i = 0; i < level_names.size(); ++i) {
    if (level_names[i] != name) continue;
    level = static_cast<Level>(i);
    return;
  }
  unknown("level", name);
}
void parse(std::string_view name, TellReason& reason) {
  // `over` is the last of core's reasons.
  take(find<TellReason>(name, static_cast<int>(TellReason::over) + 1), reason, "reason", name);
}
void parse(std::string_view name, MessageState& state) {
  take(message_state_from(name), state, "message state", name);
}
void parse(std::string_view name, NoteType& type) {
  take(find<NoteType>(name, note_type_count), type, "type of note", name);
}

}  // namespace baskwell::store
