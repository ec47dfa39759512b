#include "intake/broker_words.h"

namespace baskwell::intake {
namespace {

std::string in_hex(int code) {
  constexpr std::string_view digits = "0123456789abcdef";
  const auto byte = static_cast<unsigned>(code) & 0xffU;
  return {'0', 'x', digits[byte >> 4U], digits[byte & 0xfU]};
}

std::string wrong_login(std::string_view user) {
  return user.empty() ? "the broker wants a user and a password, and none is set"
                      : "the broker refused user '" + std::string(user) +
                            "': wrong user or password, or not allowed to connect";
}

// What 5.0 calls the reason, where it says more than a number to somebody who set the broker up.
std::string reason(int code) {
  switch (code) {
    case 0x80:
      return "no reason given";
    case 0x81:
      return "it could not read what we sent";
    case 0x82:
      return "it found a breach of the protocol";
    case 0x83:
      return "a reason of its own make";
    case 0x84:
      return "it does not speak this version of MQTT";
    case 0x85:
      return "it does not accept the client id";
    case 0x87:
      return "not authorized";
    case 0x88:
      return "it is not available";
    case 0x89:
      return "it is busy";
    case 0x8a:
      return "we are banned";
    case 0x8b:
      return "it is shutting down";
    case 0x8d:
      return "it heard nothing from us for too long";
    case 0x8e:
      return "somebody else connected with the same client id";
    case 0x8f:
      return "it does not accept the topic filter";
    case 0x93:
      return "more messages under way than agreed";
    case 0x95:
      return "a packet was too large";
    case 0x97:
      return "a quota is used up";
    case 0x98:
      return "somebody at the broker ended it";
    case 0x9c:
      return "another server is to be used";
    case 0x9d:
      return "the server has moved";
    case 0x9e:
      return "it has no shared subscriptions";
    case 0x9f:
      return "we connect too often";
    case 0xa2:
      return "it has no wildcard subscriptions";
    default:
      return "reason code " + in_hex(code);
  }
}

}  // namespace

std::string words_for_connect_refusal(int code, std::string_view library_says, std::string_view user) {
  switch (code) {
    case 1:
      return "the broker does not speak this version of MQTT";
    case 2:
      return "the broker does not accept the client id";
    case 3:
      return "the broker is not available";
    case 4:
    case 5:
    case 0x86:
    case 0x87:
      return wrong_login(user);
    default:
      break;
  }
  if (code >= 0x80) return "the broker refused the connection: " + reason(code);
  std::string words = "no connection to the broker";
  if (!library_says.empty()) words.append(": ").append(library_says);
  return words;
}

std::string words_for_disconnect(int reason_code) {
  if (reason_code < 0x80) return "the broker ended the connection";
  return "the broker ended the connection: " + reason(reason_code);
}

std::string words_for_subscribe_refusal(int reason_code) {
  return reason(reason_code);
}

std::string words_for_refused(const std::vector<RefusedFilter>& refused) {
  constexpr std::size_t shown_max = 3;
  if (refused.empty()) return "";
  std::string words = "the broker refused to send ";
  for (std::size_t i = 0; i < refused.size() && i < shown_max; ++i) {
    if (i > 0) words += ", ";
    words += "'" + refused[i].filter + "' (" + words_for_subscribe_refusal(refused[i].reason_code) + ")";
  }
  if (refused.size() > shown_max)
    words += " and " + std::to_string(refused.size() - shown_max) + " more topics";
  return words;
}

}  // namespace baskwell::intake
