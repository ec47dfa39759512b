#include "app/check_command.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <string>

#include "peers/peers.h"

namespace baskwell {
namespace {

namespace fs = std::filesystem;
const UtcMs now{1'795'521'600'000};

struct Checked {
  int status;
  std::string text;
};

Checked check(const fs::path& file) {
  std::ostringstream out;
  const int status = check_settings(file, {}, now, out);
  return {status, out.str()};
}

std::string example(const std::string& name) {
  std::ifstream file(fs::path(BASKWELL_CONFIG_DIR) / "examples" / name);
  std::string text{std::istreambuf_iterator<char>(file), {}};
  const std::size_t care = text.find("../care");
  return text.replace(care, 7, BASKWELL_CONFIG_DIR "/care");
}

TEST(CheckCommand, PassesTheExamplesAndTellsWhatCannotCome) {
  const Checked one = check(fs::path(BASKWELL_CONFIG_DIR) / "examples/one-enclosure.toml");
  EXPECT_EQ(one.status, 0) << one.text;
  EXPECT_NE(one.text.find("0 errors, 0 warnings"), std::string::npos) << one.text;
  const Checked rack = check(fs::path(BASKWELL_CONFIG_DIR) / "examples/rack.toml");
  EXPECT_EQ(rack.status, 0) << rack.text;
  EXPECT_NE(rack.text.find("too-dry: no humidity probe"), std::string::npos) << rack.text;
}

TEST(CheckCommand, TellsUnknownKeysOfPluginsWithTheirPlace) {
  const peers::TempFolder folder;
  std::string text = example("one-enclosure.toml");
  text.replace(text.find("server ="), 8, "servers =");
  const Checked checked = check(folder.write("room.toml", text));
  EXPECT_EQ(checked.status, 1) << checked.text;
  EXPECT_NE(checked.text.find("error: channels.mail.servers: the plugin 'email' has no such key"),
            std::string::npos)
      << checked.text;
}

TEST(CheckCommand, TellsAValueThatAPluginRefuses) {
  const peers::TempFolder folder;
  std::string text = example("one-enclosure.toml");
  text.replace(text.find("smtps://"), 8, "gopher://");
  const Checked checked = check(folder.write("room.toml", text));
  EXPECT_EQ(checked.status, 1) << checked.text;
  EXPECT_NE(checked.text.find("error: channels.mail: "), std::string::npos) << checked.text;
}

TEST(CheckCommand, TellsAChannelOfNoSuchKind) {
  const peers::TempFolder folder;
  std::string text = example("one-enclosure.toml");
  text.replace(text.find("\"email\""), 7, "\"pigeon\"");
  const Checked checked = check(folder.write("room.toml", text));
  EXPECT_EQ(checked.status, 1) << checked.text;
  EXPECT_NE(checked.text.find("pigeon"), std::string::npos) << checked.text;
}

}  // namespace
}  // namespace baskwell
