#pragma once
// One channel of an instrument as the file has it: what it measures, where it was when, and how far it is
// off. Used by the reader of instruments.

#include <optional>
#include <string>

#include "settings/draft.h"

namespace baskwell::settings {

// What an instrument says for those of its channels that do not say otherwise.
struct Shared {
  std::string topic;
  Index enclosure = none;
  std::optional<Zone> zone;
  std::optional<Medium> medium;
  bool place_broken = false;  // enclosure or zone is told, but wrong: a channel without its own has no place
};

struct WrittenChannel {
  Channel channel;
  std::string name;  // "" where it must be made
  std::string pointer;
  std::string topic;  // as written, with its marks
  Origin origin;
  bool is_place_known = true;  // false: a place of it is wrong, and reported
};

// A topic with marks; reported and nothing where it is none.
std::optional<std::string> read_topic(TableReader& reader, const Marks& marks);
// Reads what a channel is, out of its own table or, in the short form, out of the instrument's. Nothing where
// what tells it from others (unit, pointer) is wrong.
std::optional<WrittenChannel> read_channel(Draft& draft, TableReader& reader, const Shared& shared);

}  // namespace baskwell::settings
