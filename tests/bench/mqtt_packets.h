#pragma once
// The four MQTT 3.1.1 packets that the benchmarks' publisher sends, built once and sent many times: CONNECT
// (section 3.1), PUBLISH with QoS 1 (3.3), PUBACK's length (3.4), DISCONNECT (3.14). Written by hand, so that
// the publisher takes next to nothing of two cores that the measured programs need. Nothing fails; texts must
// be shorter than 64 KB.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

namespace baskwell::bench {

inline constexpr std::size_t puback_bytes = 4;
inline constexpr std::size_t connack_bytes = 4;

inline void add_length(std::string& packet, std::size_t length) {  // section 2.2.3
  do {
    const auto low = static_cast<unsigned>(length & 0x7FU);
    length >>= 7U;
    packet += static_cast<char>(length > 0 ? low | 0x80U : low);
  } while (length > 0);
}

inline void add_text(std::string& packet, std::string_view text) {  // section 1.5.3
  packet += static_cast<char>(text.size() >> 8U);
  packet += static_cast<char>(text.size() & 0xFFU);
  packet += text;
}

inline std::string connect_packet(std::string_view client_id) {
  std::string body;
  add_text(body, "MQTT");
  body += '\x04';                       // protocol level 3.1.1
  body += '\x02';                       // clean session
  body += std::string_view("\0\0", 2);  // no keep-alive: a pause of ours is no fault
  add_text(body, client_id);
  std::string packet = "\x10";
  add_length(packet, body.size());
  return packet + body;
}

inline std::string disconnect_packet() {
  return {"\xE0\x00", 2};
}

struct PublishPacket {
  std::string bytes;
  std::size_t id_at = 0;  // where its packet identifier stands

  PublishPacket(std::string_view topic, std::string_view payload) {
    bytes = "\x32";  // PUBLISH, QoS 1
    add_length(bytes, 2 + topic.size() + 2 + payload.size());
    add_text(bytes, topic);
    id_at = bytes.size();
    bytes += std::string_view("\0\0", 2);
    bytes += payload;
  }
  // Not 0 (section 2.3.1).
  void set_id(std::uint16_t id) {
    bytes[id_at] = static_cast<char>(id >> 8U);
    bytes[id_at + 1] = static_cast<char>(id & 0xFFU);
  }
};

}  // namespace baskwell::bench
