#pragma once
// A thin C++ layer over baskwell/plugin.h: wraps a class as a bw_decoder or a bw_channel. Catches every
// exception, so that none leaves the plugin, and turns it into the one line of error text the interface asks
// for. Allocates nothing of its own while decoding. A decoder class has:  explicit T(const
// bw_decoder_settings&)               (throws std::exception: what() is shown)
//                       bw_decoding decode(std::string_view payload, Sink sink, Line& error)
// A channel class has:  explicit T(const Settings&)                          (throws std::exception: what()
// is shown)
//                       bw_delivery deliver(const bw_message&, std::uint32_t timeout_ms, Line& answer)
// Threads: as plugin.h says. Standard library only.

#include <charconv>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "baskwell/plugin.h"

namespace baskwell::plugin {

// What open() failed for; the text names the key and what is allowed, never a value.
struct BadSetting : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// The caller's buffer for one line of text: always terminated, cut at a whole UTF-8 character, control
// characters shown as spaces.
class Line {
 public:
  Line(char* buffer, std::size_t size) : buffer_(buffer), capacity_(size > 0 ? size - 1 : 0) { clear(); }

  void clear() {
    used_ = 0;
    if (buffer_ != nullptr && capacity_ > 0) buffer_[0] = '\0';
  }
  [[nodiscard]] bool empty() const { return used_ == 0; }

  Line& add(std::string_view text) {
    if (buffer_ == nullptr) return *this;
    std::size_t fits = text.size();
    if (fits > capacity_ - used_) {
      fits = capacity_ - used_;
      while (fits > 0 && (static_cast<unsigned char>(text[fits]) & 0xC0U) == 0x80U) --fits;
    }
    for (const char c : text.substr(0, fits)) {
      buffer_[used_++] = static_cast<unsigned char>(c) < 0x20U || c == 0x7F ? ' ' : c;
    }
    if (capacity_ > 0) buffer_[used_] = '\0';
    return *this;
  }
  template <class Integer>
  Line& add_number(Integer value) {
    char digits[24];
    const auto [end, failed] = std::to_chars(digits, digits + sizeof digits, value);
    return add(std::string_view(digits, static_cast<std::size_t>(end - digits)));
  }
  // Foreign text between quotes: at most 40 bytes of it, whatever is not printable ASCII shown as '?'.
  Line& add_quoted(std::string_view text) {
    add("'");
    for (const char c : text.substr(0, 40)) {
      const char shown = c >= 0x20 && c < 0x7F ? c : '?';
      add(std::string_view(&shown, 1));
    }
    return add(text.size() > 40 ? "...'" : "'");
  }
  Line& set(std::string_view text) {
    clear();
    return add(text);
  }

 private:
  char* buffer_;
  std::size_t capacity_;  // without the terminator
  std::size_t used_ = 0;
};

// Where a decoder puts its readings.
class Sink {
 public:
  Sink(bw_reading_sink function, void* context) : function_(function), context_(context) {}
  void operator()(const bw_reading& reading) const { function_(context_, &reading); }

 private:
  bw_reading_sink function_;
  void* context_;
};

// The settings of a channel, read by key. Every function that fails throws BadSetting.
class Settings {
 public:
  explicit Settings(std::span<const bw_setting> all) : all_(all) {}

  [[nodiscard]] const char* find(std::string_view key) const {
    for (const bw_setting& setting : all_) {
      if (key == setting.key) return setting.value;
    }
    return nullptr;
  }
  [[nodiscard]] std::string required(std::string_view key) const {
    const char* value = find(key);
    if (value == nullptr || *value == '\0') throw BadSetting("'" + std::string(key) + "' is missing");
    return value;
  }
  [[nodiscard]] std::string text(std::string_view key, std::string_view otherwise = "") const {
    const char* value = find(key);
    return value != nullptr ? value : std::string(otherwise);
  }
  [[nodiscard]] bool yes_no(std::string_view key, bool otherwise) const {
    const char* value = find(key);
    if (value == nullptr) return otherwise;
    if (std::string_view(value) == "true") return true;
    if (std::string_view(value) == "false") return false;
    throw BadSetting("'" + std::string(key) + "' must be true or false");
  }
  // Every value of a list, in order.
  [[nodiscard]] std::vector<std::string> list(std::string_view key) const {
    std::vector<std::string> values;
    for (const bw_setting& setting : all_) {
      if (key == setting.key) values.emplace_back(setting.value);
    }
    return values;
  }
  // The entries of a table: those whose key begins with `prefix`, without it.
  [[nodiscard]] std::vector<std::pair<std::string, std::string>> table(std::string_view prefix) const {
    std::vector<std::pair<std::string, std::string>> entries;
    for (const bw_setting& setting : all_) {
      const std::string_view key(setting.key);
      if (key.starts_with(prefix)) entries.emplace_back(key.substr(prefix.size()), setting.value);
    }
    return entries;
  }

 private:
  std::span<const bw_setting> all_;
};

namespace detail {

// Runs `work`; an exception becomes the error line and `otherwise`.
template <class Result, class Work>
Result guarded(char* error, std::size_t error_size, Result otherwise, Work work) noexcept {
  try {
    return work();
  } catch (const std::exception& thrown) {
    Line(error, error_size).set(thrown.what());
  } catch (...) {
    Line(error, error_size).set("an unknown failure inside the plugin");
  }
  return otherwise;
}

}  // namespace detail

template <class T>
inline constexpr bw_decoder decoder_functions = {
    [](const bw_decoder_settings* settings, char* error, std::size_t error_size) -> void* {
      return detail::guarded<void*>(error, error_size, nullptr, [&] { return new T(*settings); });
    },
    [](void* self) { delete static_cast<T*>(self); },
    [](void* self, const std::uint8_t* payload, std::size_t size, bw_reading_sink sink, void* context,
       char* error, std::size_t error_size) -> int {
      return detail::guarded<int>(error, error_size, BW_UNREADABLE, [&]() -> int {
        Line line(error, error_size);
        const std::string_view text(reinterpret_cast<const char*>(payload), size);
        return static_cast<T*>(self)->decode(text, Sink(sink, context), line);
      });
    }};

template <class T>
inline constexpr bw_channel channel_functions = {
    [](const bw_setting* settings, std::size_t count, char* error, std::size_t error_size) -> void* {
      return detail::guarded<void*>(error, error_size, nullptr,
                                    [&] { return new T(Settings(std::span(settings, count))); });
    },
    [](void* self) { delete static_cast<T*>(self); },
    [](void* self, const bw_message* message, std::uint32_t timeout_ms, char* answer,
       std::size_t answer_size) -> int {
      return detail::guarded<int>(answer, answer_size, BW_TRY_AGAIN, [&]() -> int {
        Line line(answer, answer_size);
        return static_cast<T*>(self)->deliver(*message, timeout_ms, line);
      });
    }};

// What baskwell_plugin() returns: the description, or nothing to a host that speaks another version.
inline const bw_plugin* answer(const bw_plugin& description, std::uint32_t host_interface) {
  return host_interface == BASKWELL_PLUGIN_INTERFACE ? &description : nullptr;
}

}  // namespace baskwell::plugin
