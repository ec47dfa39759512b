// The outbox with real channels: a real mail server, one that hangs, real scripts; and how fast a message
// reaches its channel.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <mutex>
#include <optional>

#include "notify/plugin_channel.h"
#include "peers/peers.h"
#include "plugin_host/channel.h"
#include "real_outbox.h"

namespace baskwell::notify {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;
using ::testing::HasSubstr;
using ::testing::SizeIs;

ChannelCall opened(std::string_view plugin, const std::vector<plugin_host::Setting>& settings) {
  const auto loaded = plugin_host::ChannelPlugin::load(plugin, {BASKWELL_PLUGINS});
  if (!loaded) {
    ADD_FAILURE() << loaded.error().text;
    std::abort();
  }
  auto channel = loaded.value().open(settings);
  if (!channel) {
    ADD_FAILURE() << channel.error().text;
    std::abort();
  }
  return through(std::make_shared<plugin_host::DeliveryChannel>(std::move(channel).value()));
}

class DeliveryPeers : public ::testing::Test {
 protected:
  static Person person(const std::string& id, std::vector<PersonChannel> channels) {
    Person made;
    made.id = id;
    made.name = "Ines Okafor";
    made.channels = std::move(channels);
    return made;
  }
  void serve_mail(const std::vector<std::string>& options = {}) {
    peers::Start start;
    start.argv = {"/usr/bin/python3", BASKWELL_PEERS_DIR "/smtp_peer.py"};
    start.argv.insert(start.argv.end(), options.begin(), options.end());
    start.ready = "ready port=";
    auto peer = peers::Process::start(start);
    ASSERT_TRUE(peer.ok()) << peer.error().text;
    mail_.emplace(std::move(peer).value());
  }
  [[nodiscard]] ChannelCall email() const {
    return opened("email", {{"server", "smtp://127.0.0.1:" + std::to_string(mail_->number_after("port="))},
                            {"from", "baskwell@room.example"},
                            {"allow_plain", "true"}});
  }
  // A script that appends the message's JSON to the file "told".
  [[nodiscard]] ChannelCall script(const std::string& first_lines = "") const {
    const std::string path =
        folder_.write("tell.sh", "#!/bin/sh\n" + first_lines + "\ncat >> \"" + told_file() + "\"\n");
    return opened("command", {{"argv", "/bin/sh"}, {"argv", path}});
  }
  [[nodiscard]] std::string told_file() const { return folder_.file("told"); }
  [[nodiscard]] std::vector<std::string> told() const {
    std::vector<std::string> lines;
    std::ifstream file(told_file());
    for (std::string line; std::getline(file, line);) lines.push_back(line);
    return lines;
  }
  DeliveryCallbacks listening() {
    DeliveryCallbacks callbacks;
    callbacks.post = [this](const DeliveryEvent& event) {
      const std::lock_guard lock(mutex_);
      events_.push_back(event);
    };
    return callbacks;
  }
  std::vector<DeliveryEvent> events() {
    const std::lock_guard lock(mutex_);
    return events_;
  }

  peers::TempFolder folder_;
  std::optional<peers::Process> mail_;
  std::mutex mutex_;
  std::vector<DeliveryEvent> events_;
};

TEST_F(DeliveryPeers, AMessageReachesAMailbox) {
  serve_mail();
  DeliverySettings settings;
  settings.people = {person("ines", {{"mail", "ines@example.org"}})};
  settings.channels = {{"mail", email()}};
  settings.clock = real_clock();
  Delivery delivery(settings, listening());
  delivery.start({});
  delivery.tell({high_message("7", "ines", settings.clock())}, {});
  const auto mail = mail_->wait_for_line("mail ", seconds(10));
  ASSERT_TRUE(mail.ok()) << mail.error().text;
  EXPECT_THAT(mail.value(), HasSubstr("ines@example.org"));
  EXPECT_THAT(mail.value(), HasSubstr("hot spot 24.1"));
  ASSERT_TRUE(peers::eventually(seconds(10), [&] { return events().size() == 1; }));
  EXPECT_TRUE(events()[0].delivered) << events()[0].detail;
  EXPECT_TRUE(delivery.stop(5000).hanging.empty());
}

TEST_F(DeliveryPeers, AMailServerThatHangsDelaysNoOtherChannel) {
  serve_mail({"--silent"});
  DeliverySettings settings;
  settings.people = {person("ines", {{"mail", "ines@example.org"}, {"script", ""}}),
                     person("tom", {{"script", ""}}), person("only-mail", {{"mail", "only@example.org"}})};
  settings.channels = {{"mail", email(), 4000}, {"script", script(), 4000}};
  settings.plan.high_patience_ms = 500;
  settings.clock = real_clock();
  Delivery delivery(settings, listening());
  delivery.start({});
  const auto begin = Steady::now();
  delivery.tell({high_message("0", "only-mail", settings.clock())}, {});
  for (int i = 1; i <= 10; ++i) delivery.tell({high_message(std::to_string(i), "tom", settings.clock())}, {});
  for (int i = 11; i <= 20; ++i)
    delivery.tell({high_message(std::to_string(i), "ines", settings.clock())}, {});
  ASSERT_TRUE(peers::eventually(seconds(10), [&] { return told().size() == 20; }));
  EXPECT_LT(Steady::now() - begin, milliseconds(3500))
      << "all by the script before the first mail has timed out";
  EXPECT_EQ(delivery.counts().attempts, 21U) << "the mail server hangs on the first";
  ASSERT_TRUE(peers::eventually(seconds(10), [&] { return events().size() == 21; }));
  const auto failed = events().back();
  EXPECT_EQ(failed.channel, "mail");
  EXPECT_FALSE(failed.delivered);
  EXPECT_THAT(failed.detail, HasSubstr("tried again in 10 s"));
  delivery.stop(5000);
}

TEST_F(DeliveryPeers, WaitsPassAtThePaceOfTheClock) {
  DeliverySettings settings;
  settings.people = {person("ines", {{"script", ""}})};
  // Fails until it was called four times: waits of 10, 20 and 40 s of the clock, 0.7 s in all at pace 100.
  settings.channels = {{"script", script("echo x >> \"" + folder_.file("calls") + "\"\n[ $(wc -l < \"" +
                                         folder_.file("calls") + "\") -lt 4 ] && exit 75")}};
  settings.pace = 100;
  settings.clock = real_clock(settings.pace);
  Delivery delivery(settings, listening());
  const auto begin = Steady::now();
  delivery.start({});
  delivery.tell({high_message("1", "ines", settings.clock())}, {});
  ASSERT_TRUE(peers::eventually(seconds(20), [&] { return events().size() == 4; }));
  const auto took = Steady::now() - begin;
  EXPECT_GE(took, milliseconds(700));
  EXPECT_LT(took, seconds(10));
  const auto all = events();
  EXPECT_THAT(all[0].detail, HasSubstr("exit status 75; tried again in 10 s"));
  EXPECT_THAT(all[2].detail, HasSubstr("tried again in 40 s"));
  EXPECT_TRUE(all[3].delivered) << all[3].detail;
  EXPECT_THAT(told(), SizeIs(1));
}

// The figure of the issue: 99 % reach the channel call within 50 ms; here the outbox's own share of it, from
// tell() to the call, one message after the other and a hundred at once.
TEST_F(DeliveryPeers, AMessageReachesItsChannelInMilliseconds) {
  std::mutex mutex;
  std::map<std::string, Steady::time_point> told_at;
  std::vector<double> waited_ms;
  DeliverySettings settings;
  settings.people = {person("ines", {{"fast", ""}})};
  settings.channels = {{"fast", [&](const Letter& letter, std::uint32_t) {
                          const auto now = Steady::now();
                          const std::lock_guard lock(mutex);
                          const std::chrono::duration<double, std::milli> waited =
                              now - told_at.at(letter.id);
                          waited_ms.push_back(waited.count());
                          return ChannelAnswer{Answer::delivered, ""};
                        }}};
  settings.clock = real_clock();
  Delivery delivery(settings, {});
  delivery.start({});
  std::size_t sent = 0;
  const auto tell = [&](std::size_t count) {
    std::vector<MessageDraft> drafts;
    for (std::size_t i = 0; i < count; ++i)
      drafts.push_back(high_message(std::to_string(sent + i), "ines", settings.clock()));
    {
      const std::lock_guard lock(mutex);
      for (const MessageDraft& draft : drafts) told_at[draft.id] = Steady::now();
    }
    sent += count;
    delivery.tell(std::move(drafts), {});
    return peers::eventually(seconds(10), [&] {
      const std::lock_guard lock(mutex);
      return waited_ms.size() == sent;
    });
  };
  for (int i = 0; i < 500; ++i) ASSERT_TRUE(tell(1));
  for (int i = 0; i < 10; ++i) ASSERT_TRUE(tell(100));
  delivery.stop(1000);
  std::sort(waited_ms.begin(), waited_ms.end());
  const double p50_ms = waited_ms[waited_ms.size() / 2];
  const double p99_ms = waited_ms[waited_ms.size() * 99 / 100];
  std::printf("from tell() to the channel call: median %.2f ms, 99 %% %.2f ms, most %.2f ms\n", p50_ms,
              p99_ms, waited_ms.back());
  EXPECT_LT(p99_ms, 50);
}

}  // namespace
}  // namespace baskwell::notify
