#pragma once
// The names under which the store keeps core's small types, and the way back. For store/ only. `parse` throws
// Trouble for a name that this program does not know.

#include <string>
#include <string_view>

#include "core/effects.h"
#include "store/outbox.h"
#include "store/sqlite.h"

namespace baskwell::store {

[[nodiscard]] std::string_view level_name(Level level);  // "none", "target", "harm"

void parse(std::string_view name, AlarmKind& kind);
void parse(std::string_view name, AlarmState& state);
void parse(std::string_view name, AlarmInput& input);
void parse(std::string_view name, Priority& priority);
void parse(std::string_view name, Level& level);
void parse(std::string_view name, TellReason& reason);
void parse(std::string_view name, MessageState& state);
void parse(std::string_view name, NoteType& type);

}  // namespace baskwell::store
