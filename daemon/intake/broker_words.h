#pragma once
// What the broker or the client library answered, in words for the keeper. Pure.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace baskwell::intake {

// Codes of a refused connection: MQTT 3.1.1 section 3.2.2.3 (1 to 5), MQTT 5.0 section 3.2.2.2 (from 0x80),
// or a code of the client library (negative) with what it says about it.
[[nodiscard]] std::string words_for_connect_refusal(int code, std::string_view library_says,
                                                    std::string_view user);

// The reason code of a DISCONNECT from the broker: MQTT 5.0 section 3.14.2.1.
[[nodiscard]] std::string words_for_disconnect(int reason_code);

// The reason code for one filter of a subscription: MQTT 5.0 section 3.9.3; 3.1.1 knows only 0x80.
[[nodiscard]] std::string words_for_subscribe_refusal(int reason_code);

struct RefusedFilter {
  std::string filter;
  int reason_code = 0;
  friend bool operator==(const RefusedFilter&, const RefusedFilter&) = default;
};
// "": none is refused. Names the first three.
[[nodiscard]] std::string words_for_refused(const std::vector<RefusedFilter>& refused);

}  // namespace baskwell::intake
