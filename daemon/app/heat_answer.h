#pragma once
// The daemon's answer to {"do":"heat","enclosure":"shelf-2"}: what is believed of its heating, in words and
// as JSON; with {"from_ms":...,"to_ms":...} (UTC) also all that a picture of that time needs but the
// readings, which the asker reads from the store itself, so that the daemon is not kept from watching.
// Objects with units in their keys; see docs/command-line.md. Pure: the engine is only looked at. Errors in
// words: no such enclosure, a time too long.

#include <optional>
#include <string>
#include <string_view>

#include "core/engine.h"
#include "core/result.h"

namespace baskwell {

// At least a minute, at most two weeks: a longer time shows nothing that a minute's line could.
inline constexpr std::int64_t longest_window_ms = 14 * day_ms;

struct HeatAnswer {
  std::string text;
  std::string json;
};

[[nodiscard]] Result<HeatAnswer> heat_answer(const Engine& engine, Stamp now, std::string_view enclosure,
                                             std::optional<Span> window);

}  // namespace baskwell
