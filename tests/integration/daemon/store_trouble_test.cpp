// The store cannot be written: people are told of cold all the same, and of the store's trouble; what was
// kept back is written when it works again.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/mount.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <fstream>
#include <set>
#include <string>
#include <system_error>
#include <utility>

#include "broker_peer.h"
#include "harness.h"
#include "receivers.h"
#include "stream_publisher.h"

namespace baskwell::daemon_test {
namespace {

using intake::BrokerPeer;
using intake::StreamPublisher;
using peers::eventually;
using testing::ElementsAre;

bool heard(const WebReceiver& hook, const std::string& kind, const std::string& reason) {
  const auto all = hook.told();
  return std::any_of(all.begin(), all.end(),
                     [&](const Told& told) { return told.kind == kind && told.reason == reason; });
}

class StoreTrouble : public testing::Test {
 protected:
  template <class Done>
  bool publish_until(const std::string& value, Done done) {
    return eventually(patience, [&] {
      publisher_.publish("room/north/hot", 1, [&](int) { return value; });
      return done();
    });
  }
  // Warm and in order, with readings in the store.
  void start_well() {
    daemon_.start();
    ASSERT_TRUE(publish_until("31", [&] {
      return daemon_.ask("status").at("store").at("readings_stored").to_number<int>() > 0;
    })) << daemon_.log();
  }
  // The room gets cold while nothing can be written.
  void people_are_told_all_the_same() {
    ASSERT_TRUE(publish_until("24", [&] { return heard(hook_, "too-cold", "raised"); })) << daemon_.log();
    ASSERT_TRUE(publish_until("24", [&] { return heard(hook_, "store-trouble", "raised"); }))
        << daemon_.log();
    EXPECT_FALSE(daemon_.ask("status").at("store").at("working").as_bool());
    EXPECT_EQ(of_kind(daemon_.alarms(), "store-trouble").size(), 1U);
    // What a person does now holds, but "done" is not said.
    const Ended asked = daemon_.command({"acknowledge", "north"});
    EXPECT_EQ(asked.status, 1);
    EXPECT_THAT(asked.output, testing::HasSubstr("it holds, but is not known to be on the disk: "));
    EXPECT_EQ(text(of_kind(daemon_.alarms(), "too-cold")[0], "state"), "acknowledged");
  }
  void all_is_written_in_the_end() {
    ASSERT_TRUE(publish_until("24", [&] { return heard(hook_, "store-trouble", "over"); })) << daemon_.log();
    const auto before = short_lines(daemon_.alarms());
    EXPECT_THAT(daemon_.rows("SELECT kind, to_state FROM transitions WHERE kind = 'too-cold'"),
                ElementsAre("too-cold|unacknowledged", "too-cold|acknowledged"));
    EXPECT_THAT(daemon_.rows("SELECT to_state FROM transitions WHERE kind = 'store-trouble' ORDER BY id"),
                ElementsAre("unacknowledged", "returned-unacknowledged"));
    daemon_.kill_at_once();
    daemon_.start();
    EXPECT_EQ(short_lines(daemon_.alarms()), before);
    std::set<std::string> ids;
    for (const Told& told : hook_.told()) EXPECT_TRUE(ids.insert(told.id).second) << told.headline;
  }

  BrokerPeer broker_;
  WebReceiver hook_;
  Daemon daemon_{room_of_one(broker_at(broker_.settings().port)) + quick_alarm("too-cold", "300 ms") +
                 quick_alarm("store-trouble", "300 ms") +
                 "[channels.hook]\nkind = \"webhook\"\nurl = \"http://127.0.0.1:" +
                 std::to_string(hook_.port()) + "/alarm\"\n" + person("ines", "Ines Okafor", {"hook"})};
  StreamPublisher publisher_{broker_.settings().port};
};

TEST_F(StoreTrouble, ItsFolderIsGoneAndComesBack) {
  start_well();
  const auto folder = daemon_.folder().path() / "store";
  std::filesystem::rename(folder, daemon_.folder().path() / "elsewhere");
  static_cast<void>(daemon_.folder().write("store", "no folder"));
  people_are_told_all_the_same();
  std::filesystem::remove(folder);
  std::filesystem::rename(daemon_.folder().path() / "elsewhere", folder);
  all_is_written_in_the_end();
}

// Another program holds the file: the answer comes when it is on the disk, and not before.
TEST_F(StoreTrouble, DoneIsSaidWhenItIsOnTheDisk) {
  start_well();
  ASSERT_TRUE(publish_until("24", [&] { return heard(hook_, "too-cold", "raised"); })) << daemon_.log();
  // Both rows of the delivery are written by then.
  ASSERT_TRUE(eventually(
      patience, [&] { return daemon_.rows("SELECT id FROM outbox WHERE state <> 'delivered'").empty(); }));
  peers::Start holding;
  holding.argv = {"sqlite3", daemon_.store_file(), "BEGIN IMMEDIATE", ".shell echo held; sleep 1", "COMMIT"};
  holding.ready = "held";
  holding.ready_within = patience;
  auto holder = peers::Process::start(holding);
  ASSERT_TRUE(holder.ok()) << holder.error().text;
  const Ended asked = daemon_.command({"acknowledge", "A1", "--by", "Ines"});
  EXPECT_EQ(asked.status, 0) << asked.output;
  EXPECT_THAT(daemon_.rows("SELECT to_state, who FROM transitions WHERE input = 'acknowledge'"),
              ElementsAre("acknowledged|Ines"));
}

// A real full disk, of 1 MB. Only who may mount can make one.
class TinyDisk {
 public:
  explicit TinyDisk(std::filesystem::path where) : where_(std::move(where)) {
    mounted_ = ::mount("none", where_.c_str(), "tmpfs", 0, "size=1m") == 0;
    if (!mounted_) why_not_ = std::generic_category().message(errno);
  }
  ~TinyDisk() {
    if (mounted_) ::umount2(where_.c_str(), MNT_DETACH);
  }
  TinyDisk(const TinyDisk&) = delete;
  TinyDisk& operator=(const TinyDisk&) = delete;
  [[nodiscard]] bool mounted() const { return mounted_; }
  [[nodiscard]] const std::string& why_not() const { return why_not_; }
  void fill() const {
    std::ofstream filler(where_ / "filler", std::ios::binary);
    const std::string block(4096, 'x');
    while (filler.write(block.data(), static_cast<std::streamsize>(block.size())).flush()) {
    }
  }
  void make_room() const { std::filesystem::remove(where_ / "filler"); }

 private:
  std::filesystem::path where_;
  bool mounted_ = false;
  std::string why_not_;
};

TEST_F(StoreTrouble, TheDiskIsFullAndHasRoomAgain) {
  const TinyDisk disk(daemon_.folder().path() / "store");
  if (!disk.mounted()) GTEST_SKIP() << "SKIPPED: a file system cannot be mounted here: " << disk.why_not();
  start_well();
  disk.fill();
  people_are_told_all_the_same();
  disk.make_room();
  all_is_written_in_the_end();
  EXPECT_EQ(daemon_.stop(), 0);
}

TEST_F(StoreTrouble, AStartWithoutAStoreIsRefusedInWords) {
  std::filesystem::remove_all(daemon_.folder().path() / "store");
  static_cast<void>(daemon_.folder().write("store", "no folder"));
  const Ended ended =
      run({BASKWELL_BUILD_DIR "/bin/baskwell", "run", "--settings", daemon_.folder().file("room.toml")});
  EXPECT_EQ(ended.status, 1);
  EXPECT_THAT(ended.output, testing::HasSubstr(daemon_.store_file()));
}

}  // namespace
}  // namespace baskwell::daemon_test
