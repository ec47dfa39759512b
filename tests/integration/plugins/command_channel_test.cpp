// The command channel with real scripts: answers by exit status, input, time limit, and what the child gets
// to see.
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <boost/json.hpp>
#include <csignal>
#include <fstream>
#include <sstream>

#include "channel_support.h"
#include "peers/peers.h"

namespace baskwell::plugin_host {
namespace {

class CommandChannel : public testing::Test {
 protected:
  std::string script(const std::string& text) {
    std::string path = folder_.write("script" + std::to_string(++scripts_), "#!/bin/sh\n" + text + "\n");
    EXPECT_EQ(::chmod(path.c_str(), 0700), 0);
    return path;
  }
  DeliveryChannel running(const std::string& text, const std::vector<std::string>& arguments = {}) {
    std::vector<Setting> settings = {{"argv", script(text)}};
    for (const std::string& argument : arguments) settings.push_back({"argv", argument});
    return opened("command", settings);
  }
  Delivery answer_of(const std::string& text) {
    DeliveryChannel channel = running(text);
    return channel.deliver(example_message("ines"), seconds(20));
  }
  [[nodiscard]] std::string file_text(const std::string& name) const {
    std::ifstream file(folder_.file(name));
    std::stringstream text;
    text << file.rdbuf();
    return text.str();
  }

  peers::TempFolder folder_;
  int scripts_ = 0;
};

TEST_F(CommandChannel, TheExitStatusIsTheAnswer) {
  const Delivery delivered = answer_of("cat >/dev/null; echo rang the bell; echo more");
  EXPECT_EQ(delivered.result, DeliveryResult::delivered);
  EXPECT_EQ(delivered.answer, "rang the bell");
  const Delivery acknowledged = answer_of("echo Ines is on it; exit 10");
  EXPECT_EQ(acknowledged.result, DeliveryResult::acknowledged);
  EXPECT_EQ(acknowledged.answer, "Ines is on it");
  const Delivery again = answer_of("echo line busy; exit 75");
  EXPECT_EQ(again.result, DeliveryResult::try_again);
  EXPECT_EQ(again.answer, "exit status 75: line busy");
  const Delivery refused = answer_of("echo no modem >&2; exit 1");
  EXPECT_EQ(refused.result, DeliveryResult::refused);
  EXPECT_EQ(refused.answer, "exit status 1: no modem");
  const Delivery signalled = answer_of("kill -SEGV $$");
  EXPECT_EQ(signalled.result, DeliveryResult::try_again);
  EXPECT_EQ(signalled.answer, "ended by signal 11");
  EXPECT_EQ(answer_of("exit 0").answer, "");
}

TEST_F(CommandChannel, TheMessageIsOnStandardInputAndInArgumentsWithoutAShell) {
  DeliveryChannel channel = running("cat >\"$0.in\"; printf '%s\\n' \"$@\" >\"$0.args\"",
                                    {"--to={address}", "{headline}", "$(touch /tmp/never)", "{person} *"});
  Message message = example_message("a; rm -rf \"$HOME\" `id`");
  message.headline = "two\nlines {id}";
  ASSERT_EQ(channel.deliver(message, seconds(20)).result, DeliveryResult::delivered);
  const boost::json::value got = boost::json::parse(file_text("script1.in"));
  EXPECT_EQ(got.at("address").as_string(), message.address);
  EXPECT_EQ(got.at("headline").as_string(), message.headline);
  EXPECT_EQ(got.at("alarm").at("kind").as_string(), "too-cold");
  EXPECT_EQ(file_text("script1.args"),
            "--to=" + message.address + "\ntwo lines {id}\n$(touch /tmp/never)\nInes Okafor *\n");
}

TEST_F(CommandChannel, AMessageNobodyReadsDoesNoHarm) {
  DeliveryChannel channel = running("exec 0<&-; echo deaf");
  Message message = example_message("ines");
  message.body.assign(3'000'000, 'x');  // far more than a pipe holds
  const Delivery delivery = channel.deliver(message, seconds(20));
  EXPECT_EQ(delivery.result, DeliveryResult::delivered);
  EXPECT_EQ(delivery.answer, "deaf");
}

TEST_F(CommandChannel, OutputWithoutEndDoesNotBlockIt) {
  const Delivery delivery =
      answer_of("echo first; head -c 5000000 /dev/zero; head -c 5000000 /dev/zero >&2; exit 10");
  EXPECT_EQ(delivery.result, DeliveryResult::acknowledged);
  EXPECT_EQ(delivery.answer, "first");
}

TEST_F(CommandChannel, WhenTheTimeIsOverTheWholeGroupIsKilled) {
  DeliveryChannel channel =
      running("sleep 600 & echo $! >\"$0.child\"; trap '' TERM; echo working; wait; sleep 600");
  Delivery delivery;
  const milliseconds took =
      time_of([&] { delivery = channel.deliver(example_message("ines"), milliseconds(500)); });
  EXPECT_EQ(delivery.result, DeliveryResult::try_again);
  EXPECT_EQ(delivery.answer, "it did not end within 500 ms and was killed");
  EXPECT_GE(took, milliseconds(450));
  EXPECT_LT(took, milliseconds(3000));
  const pid_t child = static_cast<pid_t>(std::stol(file_text("script1.child")));
  ASSERT_GT(child, 1);
  EXPECT_TRUE(peers::eventually(seconds(10), [&] { return ::kill(child, 0) != 0; }));
}

TEST_F(CommandChannel, AnOffspringThatKeepsTheStreamsOpenIsNotWaitedFor) {
  DeliveryChannel channel = running("sleep 20 & echo $!; exit 0");
  Delivery delivery;
  const milliseconds took =
      time_of([&] { delivery = channel.deliver(example_message("ines"), seconds(15)); });
  EXPECT_EQ(delivery.result, DeliveryResult::delivered);
  EXPECT_LT(took, milliseconds(5000));
  ::kill(static_cast<pid_t>(std::stol(delivery.answer)), SIGKILL);
}

TEST_F(CommandChannel, TheChildInheritsNoDescriptorNoEnvironmentAndNoSignalMask) {
  const int secret =
      ::open("/dev/null", O_RDONLY);  // without O_CLOEXEC, as a careless library might leave one
  ASSERT_GE(secret, 3);
  // NOLINTNEXTLINE(concurrency-mt-unsafe): one thread here
  ASSERT_EQ(::setenv("BASKWELL_TEST_SECRET", "hidden", 1), 0);
  // The mask is looked at by a program that takes the shell's place: a shell blocks signals itself while it
  // forks.
  DeliveryChannel channel = running(
      "ls /proc/$$/fd >\"$0.fds\"; env >\"$0.env\"; exec grep SigBlk /proc/self/status >\"$0.blocked\"");
  sigset_t all;
  sigset_t before;
  ::sigfillset(&all);
  ::pthread_sigmask(SIG_BLOCK, &all, &before);
  const Delivery delivery = channel.deliver(example_message("ines"), seconds(20));
  ::pthread_sigmask(SIG_SETMASK, &before, nullptr);
  ::close(secret);
  ASSERT_EQ(delivery.result, DeliveryResult::delivered) << delivery.answer;
  // The shell itself keeps its script open, and an output redirection with a saved copy, at 10 and above.
  std::istringstream open_fds(file_text("script1.fds"));
  for (int fd = 0; open_fds >> fd;) EXPECT_TRUE(fd <= 2 || fd >= 10) << fd;
  EXPECT_FALSE(holds(file_text("script1.fds"), "\n" + std::to_string(secret) + "\n"));
  EXPECT_FALSE(holds(file_text("script1.env"), "BASKWELL_TEST_SECRET"));
  EXPECT_TRUE(holds(file_text("script1.env"), "PATH="));
  EXPECT_TRUE(holds(file_text("script1.blocked"), "0000000000000000"));
}

TEST_F(CommandChannel, SettingsAreCheckedInWords) {
  EXPECT_TRUE(holds(refusal("command", {}), "'argv' must be a list"));
  EXPECT_TRUE(holds(refusal("command", {{"argv", "sh"}}), "full path"));
  EXPECT_TRUE(holds(refusal("command", {{"argv", "/nonexistent/bell"}}),
                    "cannot run /nonexistent/bell: No such file"));
  EXPECT_TRUE(
      holds(refusal("command", {{"argv", "/bin/sh"}, {"argv", "{titel}"}}), "unknown placeholder {titel}"));
  EXPECT_TRUE(holds(refusal("command", {{"program", "/bin/sh"}}), "unknown key 'program'; known: argv"));
}

TEST_F(CommandChannel, AProgramThatWentAwaySinceIsRefused) {
  DeliveryChannel channel = running("exit 0");
  ASSERT_EQ(::unlink(folder_.file("script1").c_str()), 0);
  const Delivery delivery = channel.deliver(example_message("ines"), seconds(5));
  EXPECT_EQ(delivery.result, DeliveryResult::refused);
  EXPECT_TRUE(holds(delivery.answer, "No such file"));
}

}  // namespace
}  // namespace baskwell::plugin_host
