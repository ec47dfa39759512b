// The helper that every integration test leans on is tested itself.
#include "peers/peers.h"

#include <gtest/gtest.h>

#include <csignal>
#include <filesystem>
#include <fstream>

#include "peers/certificates.h"

namespace baskwell::peers {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;

Start shell(const std::string& script, const std::string& ready = "") {
  Start start;
  start.argv = {"sh", "-c", script};
  start.ready = ready;
  return start;
}

TEST(Peers, WaitsForTheReadyLineAndReadsANumberFromIt) {
  Result<Process> peer = Process::start(shell("echo warming up; echo ready port=4711; sleep 600", "ready"));
  ASSERT_TRUE(peer.ok()) << peer.error().text;
  EXPECT_EQ(peer.value().ready_line(), "ready port=4711");
  EXPECT_EQ(peer.value().number_after("port="), 4711);
  EXPECT_EQ(peer.value().number_after("speed="), -1);
  EXPECT_EQ(peer.value().stop(), 128 + SIGTERM);
}

TEST(Peers, AProgramThatCannotStartIsAnErrorWithItsOutput) {
  Start start;
  start.argv = {"/nonexistent/program"};
  start.ready = "ready";
  const Result<Process> peer = Process::start(start);
  ASSERT_FALSE(peer.ok());
  EXPECT_NE(peer.error().text.find("cannot start this program"), std::string::npos) << peer.error().text;
}

TEST(Peers, APeerThatNeverGetsReadyIsEnded) {
  Start start = shell("echo hello; sleep 600", "ready");
  start.ready_within = milliseconds(200);
  const Result<Process> peer = Process::start(start);
  ASSERT_FALSE(peer.ok());
  EXPECT_NE(peer.error().text.find("hello"), std::string::npos);
}

TEST(Peers, StopEndsEvenAPeerThatIgnoresSigtermAndItsChildren) {
  Result<Process> peer =
      Process::start(shell("trap '' TERM; sleep 600 & echo ready $!; wait; sleep 600", "ready"));
  ASSERT_TRUE(peer.ok()) << peer.error().text;
  const auto child = static_cast<pid_t>(peer.value().number_after("ready "));
  EXPECT_EQ(peer.value().stop(milliseconds(100)), 128 + SIGKILL);
  EXPECT_TRUE(eventually(seconds(5), [&] { return ::kill(child, 0) != 0; }));
}

TEST(Peers, ExitStatusAndEnvironmentAndOutput) {
  Start start = shell("echo \"it is $COLOUR\" >&2; exit 3");
  start.environment = {"COLOUR=green"};
  Result<Process> peer = Process::start(start);
  ASSERT_TRUE(peer.ok());
  EXPECT_TRUE(peer.value().wait_for_line("it is green", seconds(10)).ok());
  EXPECT_EQ(peer.value().wait_for_end(seconds(10)).value(), 3);
}

TEST(Peers, TemporaryFoldersGoAway) {
  std::string path;
  {
    const TempFolder folder;
    path = folder.write("note", "kept for a moment");
    EXPECT_TRUE(std::filesystem::exists(path));
  }
  EXPECT_FALSE(std::filesystem::exists(path));
}

TEST(Peers, FreePortsAreFree) {
  const std::uint16_t port = free_loopback_port();
  EXPECT_NE(port, 0);
  EXPECT_FALSE(accepts_on(port));
}

TEST(Peers, CertificatesAreSignedByTheirAuthority) {
  const TempFolder folder;
  const Result<Certificates> made = make_certificates(folder);
  ASSERT_TRUE(made.ok()) << made.error().text;
  for (const auto& [authority, expected] :
       {std::pair{made.value().ca_file, 0}, std::pair{made.value().stranger_file, 2}}) {
    Start verify;
    verify.argv = {"openssl", "verify", "-CAfile", authority, made.value().server_file};
    Result<Process> openssl = Process::start(verify);
    ASSERT_TRUE(openssl.ok());
    EXPECT_EQ(openssl.value().wait_for_end(seconds(20)).value(), expected) << openssl.value().output();
  }
}

}  // namespace
}  // namespace baskwell::peers
