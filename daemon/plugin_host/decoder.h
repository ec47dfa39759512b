#pragma once
// Decoder plugins as the rest of the daemon sees them. What a plugin hands over is checked before it goes on:
// a reading that makes no sense is dropped and told, it never reaches `core`. Units: bw_unit, the value
// exact. Errors: Result on load and open; decode() says how much of the payload could be used and why not all
// of it. Threads: a Decoder belongs to one thread at a time. decode() allocates only when there is a problem
// to tell.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "baskwell/plugin.h"
#include "core/result.h"
#include "plugin_host/library.h"

namespace baskwell::plugin_host {

struct Wanted {
  std::string pointer;  // "" for the whole payload
  bw_unit unit = BW_UNIT_DEGC;
};

struct DecoderSettings {
  std::vector<Wanted> wanted;
  std::optional<std::string> time_pointer;
  std::vector<Setting> extra;
};

enum class Decoded {
  whole,      // all that was there and wanted went to the sink
  in_part,    // some went to the sink; the problem says what did not
  unreadable  // nothing went to the sink; the problem says why
};

// Called once a reading. The reading is valid during the call only.
using ReadingSink = void (*)(void* context, const bw_reading& reading);

class Decoder {
 public:
  ~Decoder();
  Decoder(Decoder&&) noexcept;
  Decoder& operator=(Decoder&&) noexcept;

  // `problem` is written only when the result is not `whole`.
  [[nodiscard]] Decoded decode(std::span<const std::uint8_t> payload, ReadingSink sink, void* context,
                               std::string& problem);
  [[nodiscard]] Decoded decode(std::string_view payload, ReadingSink sink, void* context,
                               std::string& problem);

 private:
  friend class DecoderPlugin;
  struct State;
  explicit Decoder(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

class DecoderPlugin {
 public:
  [[nodiscard]] static Result<DecoderPlugin> load(std::string_view name,
                                                  const Folders& folders = default_folders());
  [[nodiscard]] const Description& about() const { return about_; }
  [[nodiscard]] Result<Decoder> open(const DecoderSettings& settings) const;

 private:
  explicit DecoderPlugin(Description about) : about_(std::move(about)) {}
  Description about_;
};

}  // namespace baskwell::plugin_host
