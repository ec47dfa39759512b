#pragma once
// Which sources of the settings a message's topic belongs to. Topics without wildcards are found by hash;
// topics that hold `+` or `#` by a tree of levels, with what was found remembered for the next time. Built
// once from the settings; bounded by them: what is remembered lies in a table of fixed size, so that a
// stranger who publishes a million topics costs a walk through the tree each, and no memory.
//
// Pure. Errors: none (the settings have checked the topics). Threads: one at a time (find remembers).

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "intake/arrival_queue.h"
#include "settings/settings.h"

namespace baskwell::intake {

struct Target {
  enum class Kind : std::uint8_t { probe, presence };
  Kind kind = Kind::probe;
  Session session = Session::live;  // by which its messages come; the same topic on the other is not for it
  std::uint32_t index = 0;          // of Settings::probes or Settings::presences
  friend bool operator==(const Target&, const Target&) = default;
};

class TopicTable {
 public:
  TopicTable(const std::vector<ProbeSource>& probes, const std::vector<PresenceSource>& presences);

  // Empty: a topic that the settings do not know. The span is valid until the next call. `topic_hash` is
  // std::hash of the topic.
  [[nodiscard]] std::span<const Target> find(std::string_view topic, std::size_t topic_hash);

 private:
  struct Seen {
    std::string_view topic;
    std::size_t hash;
  };
  struct Hash {
    using is_transparent = void;
    std::size_t operator()(const std::string& topic) const { return std::hash<std::string_view>{}(topic); }
    std::size_t operator()(const Seen& seen) const { return seen.hash; }
  };
  struct Equal {
    using is_transparent = void;
    bool operator()(const std::string& a, const std::string& b) const { return a == b; }
    bool operator()(const Seen& a, const std::string& b) const { return a.topic == b; }
    bool operator()(const std::string& a, const Seen& b) const { return a == b.topic; }
  };
  struct Node {
    std::unordered_map<std::string, std::uint32_t, Hash, Equal> children;  // by level, "+" among them
    std::vector<Target> here;
    std::vector<Target> below;  // of filters that end in "#" here: this level and all beneath
  };
  struct Remembered {
    bool used = false;
    std::string topic;
    std::vector<Target> targets;
  };

  void add(std::string_view filter, Target target);
  void walk(std::uint32_t node, std::string_view rest, bool first, std::vector<Target>& found) const;
  void find_by_tree(std::string_view topic, std::vector<Target>& found) const;

  std::unordered_map<std::string, std::vector<Target>, Hash, Equal> exact_;
  std::vector<Node> tree_;
  std::vector<Remembered> remembered_;  // by hash; a new topic takes the place of the old
  std::vector<Target> scratch_;         // for topics too long to remember
};

// What to subscribe to on each session: every filter once, and none that another one of the same session
// takes in already (MQTT 5.0 section 3.3.4 lets a broker send one message once for each filter that fits).
struct Subscriptions {
  std::vector<std::string> live;
  std::vector<std::string> kept;  // of sources with keep_queued
};
[[nodiscard]] Subscriptions subscriptions_of(const std::vector<ProbeSource>& probes,
                                             const std::vector<PresenceSource>& presences);

}  // namespace baskwell::intake
