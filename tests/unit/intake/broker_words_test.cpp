#include "intake/broker_words.h"

#include <gtest/gtest.h>

namespace baskwell::intake {
namespace {

TEST(BrokerWords, SayWhatWasRefusedInBothVersions) {
  // MQTT 3.1.1 section 3.2.2.3 and MQTT 5.0 section 3.2.2.2: codes of "bad user or password", "not
  // authorized".
  for (const int code : {4, 5, 0x86, 0x87}) {
    EXPECT_EQ(words_for_connect_refusal(code, "", "keeper"),
              "the broker refused user 'keeper': wrong user or password, or not allowed to connect");
    EXPECT_EQ(words_for_connect_refusal(code, "", ""),
              "the broker wants a user and a password, and none is set");
  }
  EXPECT_EQ(words_for_connect_refusal(2, "", ""), "the broker does not accept the client id");
  EXPECT_EQ(words_for_connect_refusal(0x89, "", ""), "the broker refused the connection: it is busy");
  EXPECT_EQ(words_for_connect_refusal(0xf0, "", ""), "the broker refused the connection: reason code 0xf0");
  EXPECT_EQ(words_for_connect_refusal(-1, "Connection refused", ""),
            "no connection to the broker: Connection refused");
}

TEST(BrokerWords, SayWhyABrokerHungUp) {
  EXPECT_EQ(words_for_disconnect(0x8b), "the broker ended the connection: it is shutting down");
  EXPECT_EQ(words_for_disconnect(0), "the broker ended the connection");
}

TEST(BrokerWords, NameThreeRefusedTopics) {
  EXPECT_EQ(words_for_refused({}), "");
  EXPECT_EQ(words_for_refused({{"a/+", 0x87}}), "the broker refused to send 'a/+' (not authorized)");
  EXPECT_EQ(
      words_for_refused({{"a", 0x80}, {"b", 0x80}, {"c", 0x80}, {"d", 0x80}, {"e", 0x80}}),
      "the broker refused to send 'a' (no reason given), 'b' (no reason given), 'c' (no reason given) and "
      "2 more topics");
}

}  // namespace
}  // namespace baskwell::intake
