#pragma once
// A small room by hand for the tests of the program: one royal python's enclosure with a hot and a cool
// probe, and the room's air. Figures: a royal python's adult bands of tests/reference/species.csv. No people
// unless added.

#include <memory>

#include "core/room.h"

namespace baskwell::test {

[[nodiscard]] Room python_room();

}  // namespace baskwell::test
