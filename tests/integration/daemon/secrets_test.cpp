// Secrets are in their own files and nowhere else: not in the log, the store, any output or what the peers
// said of us.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "broker_peer.h"
#include "harness.h"
#include "receivers.h"

namespace baskwell::daemon_test {
namespace {

using intake::BrokerPeer;
using peers::eventually;

const std::string mail_password = "mail-secret-7Kq2vXw9";
const std::string hook_token = "hook-secret-4Rt8bNz1";
const std::string broker_password = "broker-secret-9Lm3cYd6";

// As it is, in base64 at each of its three offsets (what HTTP and SMTP make of it), and in hex.
std::vector<std::string> guises(const std::string& secret) {
  std::vector<std::string> all{secret};
  static constexpr std::string_view digits =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  for (std::size_t skip = 0; skip < 3; ++skip) {
    std::string base64;
    for (std::size_t i = skip; i + 3 <= secret.size(); i += 3) {
      const auto byte = [&](std::size_t at) {
        return static_cast<unsigned>(static_cast<unsigned char>(secret[at]));
      };
      const unsigned three = byte(i) << 16U | byte(i + 1) << 8U | byte(i + 2);
      for (const unsigned shift : {18U, 12U, 6U, 0U}) base64 += digits[three >> shift & 63U];
    }
    all.push_back(base64);
  }
  std::string hex;
  for (const char c : secret) {
    constexpr std::string_view hex_digits = "0123456789abcdef";
    hex += hex_digits[static_cast<unsigned char>(c) >> 4U];
    hex += hex_digits[static_cast<unsigned char>(c) & 15U];
  }
  all.push_back(hex);
  return all;
}

std::string whole(const std::filesystem::path& path) {
  std::ostringstream text;
  text << std::ifstream(path, std::ios::binary).rdbuf();
  return text.str();
}

void expect_no_secret_in(const std::string& where, const std::string& text) {
  for (const std::string& secret : {mail_password, hook_token, broker_password}) {
    for (const std::string& guise : guises(secret))
      EXPECT_EQ(text.find(guise), std::string::npos) << "'" << guise << "' in " << where;
  }
}

TEST(Secrets, AreNowhereButInTheirFiles) {
  const BrokerPeer broker({.tls = true, .user = "baskwell", .password = broker_password});
  const peers::TempFolder keys;
  const auto made = peers::make_certificates(keys);
  ASSERT_TRUE(made.ok()) << made.error().text;
  const std::vector<std::string> mail_options{
      "--tls",  "starttls", "--certificate", made.value().server_file, "--key", made.value().server_key_file,
      "--user", "baskwell", "--password"};
  std::vector<std::string> right = mail_options;
  right.push_back(mail_password);
  std::vector<std::string> wrong = mail_options;
  wrong.push_back("another");
  const Mailbox mailbox(right);
  const Mailbox refusing(wrong);
  const WebReceiver hook(&made.value());
  const std::string ca = "ca_file = \"" + made.value().ca_file + "\"\n";
  const auto mail = [&](const std::string& id, const Mailbox& box) {
    return "[channels." + id +
           "]\nkind = \"email\"\nserver = \"smtp://127.0.0.1:" + std::to_string(box.port()) +
           "\"\nfrom = \"baskwell@example.org\"\nuser = \"baskwell\"\npassword = { file = \"" +
           keys.file("mail.secret") + "\" }\n" + ca;
  };
  static_cast<void>(keys.write("mail.secret", mail_password + "\n"));
  static_cast<void>(keys.write("hook.secret", "Bearer " + hook_token + "\n"));
  static_cast<void>(keys.write("broker.secret", broker_password + "\n"));
  const std::string broker_table = "[broker]\naddress = \"" + broker.settings().address +
                                   "\"\nuser = \"baskwell\"\npassword = { file = \"" +
                                   keys.file("broker.secret") + "\" }\nca_file = \"" +
                                   broker.certificates().ca_file + "\"\n";
  const std::string settings =
      room_of_one(broker_table) + quick_alarm("too-cold", "200 ms") + mail("mail", mailbox) +
      mail("other-mail", refusing) +
      "[channels.hook]\nkind = \"webhook\"\nurl = \"https://127.0.0.1:" + std::to_string(hook.port()) +
      "/alarm\"\n" + ca + "header.Authorization = { file = \"" + keys.file("hook.secret") + "\" }\n" +
      "[channels.refused-hook]\nkind = \"webhook\"\nurl = \"https://127.0.0.1:" +
      std::to_string(hook.port()) + "/status/401\"\n" + ca + "header.Authorization = { file = \"" +
      keys.file("hook.secret") + "\" }\n" + person("ines", "Ines Okafor", {"other-mail", "mail"}) +
      person("tom", "Tom Weir", {"refused-hook", "hook"});
  Daemon daemon(settings);
  daemon.start();
  ASSERT_TRUE(daemon.process().wait_for_line("broker: connected", patience).ok()) << daemon.log();
  // Every secret is used: two letters' worth of them refused, two taken.
  ASSERT_TRUE(eventually(patience, [&] {
    broker.publish("room/north/hot", "24");
    return !mailbox.letters().empty() && hook.requests().size() >= 2;
  })) << daemon.log();
  EXPECT_EQ(text(mailbox.letters()[0], "user"), "baskwell");
  EXPECT_EQ(text(hook.requests().back().at("headers"), "authorization"), "Bearer " + hook_token);

  std::string outputs;
  for (const char* what : {"room", "alarms", "payloads", "status"}) {
    outputs += daemon.command({what}).output + daemon.command({what, "--json"}).output;
  }
  outputs += run({BASKWELL_BUILD_DIR "/bin/baskwell", "check", daemon.folder().file("room.toml")}).output;
  // A bad file on a reload, and a secret's file that is gone, are told of without it.
  daemon.write_settings(settings + "[broken\n");
  daemon.process().signal(SIGHUP);
  ASSERT_TRUE(daemon.process().wait_for_line("nothing was changed", patience).ok());
  std::filesystem::remove(keys.file("broker.secret"));
  daemon.write_settings(settings);
  daemon.process().signal(SIGHUP);
  ASSERT_TRUE(daemon.process().wait_for_line("nothing was changed", patience).ok()) << daemon.log();
  daemon.kill_at_once();  // whatever lies about then stays
  expect_no_secret_in("the output of commands", outputs);
  expect_no_secret_in("the log", daemon.log());
  std::size_t files = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(daemon.folder().path())) {
    if (!entry.is_regular_file()) continue;
    ++files;
    expect_no_secret_in(entry.path().string(), whole(entry.path()));
  }
  EXPECT_GE(files, 3U);
  for (const auto& request : hook.requests()) expect_no_secret_in("a webhook's body", text(request, "body"));
  expect_no_secret_in("a letter", text(mailbox.letters()[0], "raw"));
}

TEST(Secrets, AreRefusedInTheSettingsThemselves) {
  Daemon daemon(
      room_of_one("[broker]\naddress = \"mqtt://127.0.0.1:1883\"\nuser = \"baskwell\"\npassword = \"" +
                  broker_password + "\"\n"));
  const Ended ended =
      run({BASKWELL_BUILD_DIR "/bin/baskwell", "run", "--settings", daemon.folder().file("room.toml")});
  EXPECT_EQ(ended.status, 1);
  EXPECT_THAT(ended.output, testing::HasSubstr("broker.password"));
  expect_no_secret_in("what it said", ended.output);
}

}  // namespace
}  // namespace baskwell::daemon_test
