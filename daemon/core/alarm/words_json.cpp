#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <span>
#include <system_error>

#include "core/alarm/message_text.h"
#include "core/alarm/words.h"
#include "core/check.h"

namespace baskwell {
namespace {

// The suffix that carries the unit in a key's name.
std::string_view key_suffix(Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      return "degc";
    case Quantity::humidity:
      return "rh_pct";
    case Quantity::light:
      return "lux";
    case Quantity::power:
      return "w";
    case Quantity::battery:
      return "v";
  }
  CHECK(false);
}

std::string_view level_name(Level level) {
  switch (level) {
    case Level::none:
      return "none";
    case Level::target:
      return "target";
    case Level::harm:
      return "harm";
  }
  CHECK(false);
}

// Writes one JSON object (RFC 8259) by hand: core has the standard library only.
class ObjectText {
 public:
  void text(std::string_view key, std::string_view value) {
    open(key);
    quote(clean_line(value));
  }
  void text_or_null(std::string_view key, std::string_view value) {
    if (!value.empty()) return text(key, value);
    open(key);
    out_ += "null";
  }
  void number(std::string_view key, double value) {
    open(key);
    if (!std::isfinite(value)) {
      out_ += "null";
      return;
    }
    std::array<char, 32> buffer{};
    const auto written = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
    CHECK(written.ec == std::errc());
    out_.append(buffer.data(), written.ptr);
  }
  void texts(std::string_view key, std::span<const std::string> values) {
    open(key);
    out_ += '[';
    for (std::size_t i = 0; i < values.size(); ++i) {
      if (i > 0) out_ += ',';
      quote(clean_line(values[i]));
    }
    out_ += ']';
  }
  [[nodiscard]] std::string take() { return std::move(out_.append("}")); }

 private:
  void open(std::string_view key) {
    out_ += out_.size() > 1 ? "," : "";
    quote(key);
    out_ += ':';
  }
  // `text` is clean: valid UTF-8 without control characters.
  void quote(std::string_view text) {
    out_ += '"';
    for (const char byte : text) {
      if (byte == '"' || byte == '\\') out_ += '\\';
      out_ += byte;
    }
    out_ += '"';
  }

  std::string out_{"{"};
};

}  // namespace

std::string json_for(const AlarmView& alarm, TellReason reason, const std::string& room_name,
                     std::string_view headline) {
  const AlarmKindRow& row = row_of(alarm.kind);
  const std::string unit(key_suffix(alarm.quantity));
  const bool about_a_zone = !alarm.zone.empty();  // else it is about the broker, the store, ...
  ObjectText object;
  object.text("occurrence", alarm.occurrence);
  object.text("reason", name_of(reason));
  object.text("kind", row.name);
  object.text_or_null("may_also_be", alarm.other ? row_of(*alarm.other).name : std::string_view());
  object.text("state", name_of(alarm.state));
  object.text("priority", name_of(alarm.priority));
  object.text("level", level_name(alarm.level));
  object.text("headline", headline);
  object.text("first_action", first_action_for(alarm, reason));
  object.text("room", room_name);
  object.text_or_null("place", alarm.place);
  object.text_or_null("place_id", alarm.place_id);
  object.text_or_null("animal", alarm.animal);
  object.text_or_null("zone", about_a_zone ? name_of(alarm.zone_key) : std::string_view());
  object.text_or_null("medium", alarm.medium);
  object.text_or_null("subject", alarm.subject);
  object.text_or_null("detail", alarm.detail);
  object.text_or_null("quantity", about_a_zone ? name_of(alarm.quantity) : std::string_view());
  object.number("value_" + unit, alarm.value);
  object.number("furthest_" + unit, alarm.worst);
  object.number("target_limit_" + unit, alarm.target_limit);
  object.number("harm_limit_" + unit, alarm.harm_limit);
  object.number("rate_" + unit + "_per_hour", alarm.rate_per_hour);
  object.text("since_utc", utc_text(alarm.since));
  object.text("raised_utc", utc_text(alarm.raised));
  object.text("written_utc", utc_text(alarm.now));
  object.texts("heaters", alarm.heaters);
  object.texts("thermostats", alarm.thermostats);
  object.text_or_null("circuit", alarm.circuit);
  object.texts("also_fed", alarm.also_fed);
  return object.take();
}

}  // namespace baskwell
