#include "app/control.h"

#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <cstring>
#include <fstream>
#include <memory>
#include <string>
#include <thread>

#include "peers/peers.h"

namespace baskwell {
namespace {

// The server on a context of its own thread.
class Serving {
 public:
  explicit Serving(const std::string& path) {
    auto opened = ControlServer::open(
        io_, path, [this](const std::string& request, const std::string& peer, const ControlReply& reply) {
          std::string answer = "you said " + request + (peer.empty() ? "" : " as somebody");
          if (request != "later") return reply(std::move(answer));
          boost::asio::post(io_, [answer = std::move(answer), reply] { reply(answer); });
        });
    EXPECT_TRUE(opened.ok()) << (opened.ok() ? "" : opened.error().text);
    if (opened) server_ = std::move(opened).value();
    thread_ = std::thread([this] { io_.run(); });
  }
  ~Serving() {
    io_.stop();
    thread_.join();
  }

 private:
  boost::asio::io_context io_;
  std::unique_ptr<ControlServer> server_;
  std::thread thread_;
};

TEST(Control, AnswersOneLineWithOneLineAndKnowsWhoAsks) {
  const peers::TempFolder folder;
  const std::string path = folder.file("b.sock");
  const Serving serving(path);
  auto answer = ask_daemon(path, "{\"do\":\"room\"}");
  ASSERT_TRUE(answer.ok()) << answer.error().text;
  EXPECT_EQ(answer.value(), "you said {\"do\":\"room\"} as somebody");
  struct stat found {};
  ASSERT_EQ(::stat(path.c_str(), &found), 0);
  EXPECT_EQ(found.st_mode & 0777U, 0660U);
}

TEST(Control, AnAnswerMayComeLater) {
  const peers::TempFolder folder;
  const std::string path = folder.file("b.sock");
  const Serving serving(path);
  const auto answer = ask_daemon(path, "later");
  ASSERT_TRUE(answer.ok()) << answer.error().text;
  EXPECT_EQ(answer.value(), "you said later as somebody");
}

TEST(Control, SaysInWordsThatNobodyIsThere) {
  const peers::TempFolder folder;
  const auto answer = ask_daemon(folder.file("absent.sock"), "x");
  ASSERT_FALSE(answer.ok());
  EXPECT_NE(answer.error().text.find("no daemon answers here"), std::string::npos);
}

TEST(Control, TakesOverASocketFileLeftByACrashButNotALiveOne) {
  const peers::TempFolder folder;
  const std::string path = folder.file("b.sock");
  // What a crash leaves: a bound file that nobody listens on.
  const int left = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  std::strncpy(address.sun_path, path.c_str(), sizeof(address.sun_path) - 1);
  ASSERT_EQ(::bind(left, reinterpret_cast<sockaddr*>(&address), sizeof(address)), 0);
  ::close(left);
  const Serving serving(path);
  ASSERT_TRUE(ask_daemon(path, "hello").ok());
  boost::asio::io_context io;
  const auto second =
      ControlServer::open(io, path, [](const std::string&, const std::string&, const ControlReply&) {});
  ASSERT_FALSE(second.ok());
  EXPECT_NE(second.error().text.find("another daemon"), std::string::npos);
}

TEST(Control, ClosesARequestThatIsTooLong) {
  const peers::TempFolder folder;
  const std::string path = folder.file("b.sock");
  const Serving serving(path);
  EXPECT_FALSE(ask_daemon(path, std::string(std::size_t{64} * 1024, 'x')).ok());
  EXPECT_TRUE(ask_daemon(path, "still there").ok());
}

}  // namespace
}  // namespace baskwell
