// The program against a real broker (Debian's mosquitto), and its file of readings.
#include <gmock/gmock.h>

#include <csignal>
#include <fstream>
#include <sstream>
#include <string>

#include "peers/peers.h"

namespace baskwell::demoroom {
namespace {

using namespace std::chrono_literals;
using peers::Process;
using testing::HasSubstr;
using testing::StartsWith;

const std::string kProgram = BASKWELL_DEMO_ROOM;

std::string text_of(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

int run_csv(const std::string& file, const std::string& seed) {
  auto process = Process::start({{kProgram, "--once-csv", file, "--days", "0.25", "--start",
                                  "2026-03-29T00:00:00Z", "--seed", seed, "--zone", "Europe/London"},
                                 "",
                                 {},
                                 15000ms});
  EXPECT_TRUE(process.ok());
  const auto end = process.value().wait_for_end(60s);
  return end ? end.value() : -1;
}

TEST(Program, WritesTheSameCsvForTheSameSeed) {
  const peers::TempFolder folder;
  ASSERT_EQ(run_csv(folder.file("a.csv"), "7"), 0);
  ASSERT_EQ(run_csv(folder.file("b.csv"), "7"), 0);
  ASSERT_EQ(run_csv(folder.file("c.csv"), "8"), 0);
  const std::string a = text_of(folder.file("a.csv"));
  EXPECT_THAT(a, StartsWith("time,enclosure,zone,quantity,value,medium,channel\n2026-03-29T00:00:"));
  EXPECT_EQ(a, text_of(folder.file("b.csv")));
  EXPECT_NE(a, text_of(folder.file("c.csv")));
}

TEST(Program, AFaultPlannedOnTheCommandLineShowsInTheFile) {
  const peers::TempFolder folder;
  const auto lines_of_dead = [&](const std::string& fault) {
    std::vector<std::string> argv{kProgram, "--once-csv", folder.file("f.csv"),  "--days",
                                  "0.1",    "--start",    "2026-03-01T00:00:00Z"};
    if (!fault.empty()) argv.insert(argv.end(), {"--fault", fault});
    auto process = Process::start({argv, "", {}, 15000ms});
    EXPECT_TRUE(process.ok());
    const auto end = process.value().wait_for_end(60s);
    EXPECT_TRUE(end.ok() && end.value() == 0) << process.value().output();
    const std::string text = text_of(folder.file("f.csv"));
    int lines = 0;
    for (std::size_t at = text.find("inst-1/hot"); at != std::string::npos;
         at = text.find("inst-1/hot", at + 1))
      ++lines;
    return lines;
  };
  const int healthy = lines_of_dead("");
  const int faulty = lines_of_dead("2026-03-01T01:00:00Z probe-dead shelf-1/hot for 30");
  EXPECT_NEAR(healthy - faulty, 60, 2);  // half an hour at two a minute
}

TEST(Program, AMistakeOnTheCommandLineEndsIt) {
  for (const auto& wrong :
       {std::vector<std::string>{kProgram, "--start", "yesterday"},
        std::vector<std::string>{kProgram, "--pace", "0"},
        std::vector<std::string>{kProgram, "--once-csv", "/dev/null", "--zone", "Mars/Olympus"}}) {
    auto process = Process::start({wrong, "", {}, 15000ms});
    ASSERT_TRUE(process.ok());
    const auto end = process.value().wait_for_end(20s);
    ASSERT_TRUE(end.ok());
    EXPECT_NE(end.value(), 0) << wrong[1];
  }
}

class Live : public testing::Test {
 protected:
  void SetUp() override {
    port_ = std::to_string(peers::free_loopback_port());
    const std::string settings = folder_.write(
        "mosquitto.conf", "listener " + port_ + " 127.0.0.1\nallow_anonymous true\npersistence false\n");
    auto broker = Process::start({{"mosquitto", "-c", settings}, "running", {}, 15000ms});
    ASSERT_TRUE(broker.ok()) << broker.error().text;
    broker_ = std::make_unique<Process>(std::move(broker).value());
    // No waiting for it: what the tests look for is retained or comes again.
    auto listener =
        Process::start({{"mosquitto_sub", "-h", "127.0.0.1", "-p", port_, "-v", "-q", "1", "-t", "demo/#"},
                        "",
                        {},
                        15000ms});
    ASSERT_TRUE(listener.ok()) << listener.error().text;
    listener_ = std::make_unique<Process>(std::move(listener).value());
  }

  std::unique_ptr<Process> start_room() {
    auto room = Process::start({{kProgram, "--broker", uri(), "--pace", "60", "--start",
                                 "2026-11-20T12:00:00Z", "--settle", "24", "--zone", "Europe/London"},
                                "publishing",
                                {},
                                30000ms});
    EXPECT_TRUE(room.ok()) << (room ? "" : room.error().text);
    return room ? std::make_unique<Process>(std::move(room).value()) : nullptr;
  }

  [[nodiscard]] std::string uri() const { return "tcp://127.0.0.1:" + port_; }

  peers::TempFolder folder_;
  std::string port_;
  std::unique_ptr<Process> broker_;
  std::unique_ptr<Process> listener_;
};

TEST_F(Live, PublishesObeysACommandAndEndsCleanly) {
  const auto room = start_room();
  ASSERT_NE(room, nullptr);
  EXPECT_TRUE(listener_->wait_for_line("demo/presence online", 10s).ok());
  EXPECT_TRUE(listener_->wait_for_line("demo/shelf-1/hot 3", 10s).ok());
  const auto json = listener_->wait_for_line("demo/shelf-2 {", 10s);
  ASSERT_TRUE(json.ok());
  EXPECT_THAT(json.value(), HasSubstr("demo/shelf-2 {\"time\":\"2026-11-20T12:0"));

  auto sender = Process::start({{kProgram, "do", "heater-off shelf-2", "--broker", uri()}, "", {}, 15000ms});
  ASSERT_TRUE(sender.ok());
  const auto end = sender.value().wait_for_end(20s);
  ASSERT_TRUE(end.ok());
  EXPECT_EQ(end.value(), 0);
  EXPECT_THAT(sender.value().output(), HasSubstr("heater-off shelf-2 => ok at 2026-11-20T12:"));
  auto wrong = Process::start({{kProgram, "do", "heater-off shelf-77", "--broker", uri()}, "", {}, 15000ms});
  ASSERT_TRUE(wrong.ok());
  EXPECT_EQ(wrong.value().wait_for_end(20s).value(), 1);
  EXPECT_THAT(wrong.value().output(), HasSubstr("=> error: no enclosure 'shelf-77'"));

  room->signal(SIGTERM);
  const auto ended = room->wait_for_end(10s);
  ASSERT_TRUE(ended.ok());
  EXPECT_EQ(ended.value(), 0);
  EXPECT_TRUE(listener_->wait_for_line("demo/presence offline", 10s).ok());
}

TEST_F(Live, ItsLastWillSaysOfflineWhenItIsKilled) {
  const auto room = start_room();
  ASSERT_NE(room, nullptr);
  ASSERT_TRUE(listener_->wait_for_line("demo/presence online", 10s).ok());
  room->kill();
  EXPECT_TRUE(listener_->wait_for_line("demo/presence offline", 15s).ok());
}

}  // namespace
}  // namespace baskwell::demoroom
