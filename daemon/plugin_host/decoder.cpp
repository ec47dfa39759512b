#include "plugin_host/decoder.h"

#include <algorithm>
#include <array>
#include <utility>

#include "plugin_host/opened.h"

namespace baskwell::plugin_host {
namespace {

constexpr std::size_t error_bytes_max = 512;
constexpr std::int32_t places_max = 18;
constexpr std::int64_t year_10000_ms = 253'402'300'800'000;  // 10000-01-01T00:00:00Z

constexpr bool is_unit(std::uint32_t unit) {
  return unit >= BW_UNIT_DEGC && unit <= BW_UNIT_VOLT;
}

constexpr bool same_quantity(std::uint32_t a, std::uint32_t b) {
  const bool both_temperature = a <= BW_UNIT_KELVIN && b <= BW_UNIT_KELVIN;
  return a == b || both_temperature;
}

}  // namespace

struct Decoder::State {
  Opened<bw_decoder> plugin;
  std::vector<std::uint32_t> declared_units;  // by wanted index

  // One call of decode():
  std::vector<std::uint64_t> came_in_call;  // by wanted index: the call in which a reading for it came last
  std::uint64_t call = 0;
  ReadingSink sink = nullptr;
  void* context = nullptr;
  std::size_t handed_on = 0;
  const char* fault = nullptr;  // the first thing in this call that makes no sense

  [[nodiscard]] const char* fault_of(const bw_reading& reading) {
    if (reading.wanted_index >= declared_units.size()) return "a reading for something that is not wanted";
    if (!is_unit(reading.unit)) return "a reading in an unknown unit";
    if (!same_quantity(reading.unit, declared_units[reading.wanted_index])) {
      return "a reading in a unit of another quantity";
    }
    if (reading.not_a_number > 1 || reading.has_time > 1) return "a reading with a flag other than 0 and 1";
    if (reading.not_a_number == 0 && (reading.value.places < 0 || reading.value.places > places_max)) {
      return "a decimal with other than 0 to 18 places";
    }
    if (reading.has_time == 1 && (reading.measured_utc_ms < 0 || reading.measured_utc_ms >= year_10000_ms)) {
      return "a time outside the years 1970 to 9999";
    }
    if (came_in_call[reading.wanted_index] == call) return "two readings for the same thing";
    came_in_call[reading.wanted_index] = call;
    return nullptr;
  }

  static void take(void* context, const bw_reading* reading) {
    auto& state = *static_cast<State*>(context);
    const char* fault = reading == nullptr ? "no reading" : state.fault_of(*reading);
    if (fault != nullptr) {
      if (state.fault == nullptr) state.fault = fault;
      return;
    }
    ++state.handed_on;
    state.sink(state.context, *reading);
  }
};

Decoder::Decoder(std::unique_ptr<State> state) : state_(std::move(state)) {}
Decoder::~Decoder() = default;
Decoder::Decoder(Decoder&&) noexcept = default;
Decoder& Decoder::operator=(Decoder&&) noexcept = default;

Decoded Decoder::decode(std::span<const std::uint8_t> payload, ReadingSink sink, void* context,
                        std::string& problem) {
  State& s = *state_;
  s.sink = sink;
  s.context = context;
  s.handed_on = 0;
  s.fault = nullptr;
  ++s.call;
  std::array<char, error_bytes_max>
      error;  // NOLINT(*-member-init): only read once a plugin has written into it
  error[0] = '\0';
  int said = BW_UNREADABLE;
  try {
    said = s.plugin.functions().decode(s.plugin.self(), payload.data(), payload.size(), &State::take, &s,
                                       error.data(), error.size());
  } catch (...) {
    s.fault = "an exception";
  }
  error.back() = '\0';
  if (said == BW_DECODED && s.fault == nullptr && s.handed_on > 0) [[likely]]
    return Decoded::whole;
  if (s.fault == nullptr && (said < BW_DECODED || said > BW_DECODED_IN_PART)) s.fault = "an unknown answer";
  if (s.fault == nullptr && said != BW_UNREADABLE && s.handed_on == 0) s.fault = "success without a reading";
  if (s.fault != nullptr) {
    problem = s.plugin.what() + " is faulty: it gave " + s.fault;
  } else {
    problem = one_line(error.data(), error.size());
    if (problem.empty()) problem = s.plugin.what() + " gave no cause";
  }
  return s.handed_on > 0 ? Decoded::in_part : Decoded::unreadable;
}

Decoded Decoder::decode(std::string_view payload, ReadingSink sink, void* context, std::string& problem) {
  return decode(std::span(reinterpret_cast<const std::uint8_t*>(payload.data()), payload.size()), sink,
                context, problem);
}

Result<DecoderPlugin> DecoderPlugin::load(std::string_view name, const Folders& folders) {
  Result<Description> about = Description::load(name, folders);
  if (!about) return about.error();
  if (about.value().decoder() == nullptr) {
    return Error{"the plugin '" + std::string(name) + "' is a channel, not a decoder"};
  }
  return DecoderPlugin(std::move(about).value());
}

Result<Decoder> DecoderPlugin::open(const DecoderSettings& settings) const {
  if (Outcome keys = about_.check_keys(settings.extra); !keys) return keys.error();
  std::vector<bw_wanted> wanted;
  auto state = std::make_unique<Decoder::State>();
  for (const Wanted& one : settings.wanted) {
    wanted.push_back({one.pointer.c_str(), static_cast<std::uint32_t>(one.unit)});
    state->declared_units.push_back(static_cast<std::uint32_t>(one.unit));
  }
  const std::vector<bw_setting> extra = as_bw_settings(settings.extra);
  const bw_decoder_settings plain{wanted.data(), wanted.size(),
                                  settings.time_pointer ? settings.time_pointer->c_str() : nullptr,
                                  extra.data(), extra.size()};
  state->came_in_call.resize(wanted.size());
  const bw_decoder* functions = about_.decoder();
  const Outcome opened =
      state->plugin.open(functions, "the decoder '" + about_.name() + "'",
                         [&](char* error, std::size_t size) { return functions->open(&plain, error, size); });
  if (!opened) return opened.error();
  return Decoder(std::move(state));
}

}  // namespace baskwell::plugin_host
