#include "intake/topic_table.h"

#include <algorithm>

#include "intake/topic_filter.h"

namespace baskwell::intake {
namespace {

constexpr std::size_t remembered_count = 1024;  // a power of two
constexpr std::size_t remembered_topic_bytes = 256;

// Whether every topic that `narrow` takes in is taken in by `wide` too.
bool covers(std::string_view wide, std::string_view narrow) {
  if (narrow.starts_with('$') && (wide.starts_with('+') || wide.starts_with('#'))) return false;
  Levels in_wide(wide);
  Levels in_narrow(narrow);
  while (const auto pattern = in_wide.next()) {
    if (*pattern == "#") return true;
    const auto level = in_narrow.next();
    if (!level || *level == "#") return false;
    if (*pattern != "+" && *pattern != *level) return false;
  }
  return !in_narrow.next();
}

std::vector<std::string> without_covered(std::vector<std::string> filters) {
  std::sort(filters.begin(), filters.end());
  filters.erase(std::unique(filters.begin(), filters.end()), filters.end());
  std::vector<std::string> wide;
  for (const std::string& filter : filters) {
    if (has_wildcard(filter)) wide.push_back(filter);
  }
  std::erase_if(filters, [&](const std::string& filter) {
    return std::any_of(wide.begin(), wide.end(),
                       [&](const std::string& other) { return other != filter && covers(other, filter); });
  });
  return filters;
}

void sort_once_each(std::vector<Target>& targets) {
  const auto order = [](const Target& target) { return std::pair(target.kind, target.index); };
  std::sort(targets.begin(), targets.end(),
            [&](const Target& a, const Target& b) { return order(a) < order(b); });
  targets.erase(std::unique(targets.begin(), targets.end()), targets.end());
}

}  // namespace

TopicTable::TopicTable(const std::vector<ProbeSource>& probes, const std::vector<PresenceSource>& presences)
    : tree_(1) {
  for (std::size_t i = 0; i < probes.size(); ++i) {
    add(probes[i].topic, {.kind = Target::Kind::probe,
                          .session = probes[i].keep_queued ? Session::kept : Session::live,
                          .index = static_cast<std::uint32_t>(i)});
  }
  for (std::size_t i = 0; i < presences.size(); ++i) {
    add(presences[i].topic,
        {.kind = Target::Kind::presence, .session = Session::live, .index = static_cast<std::uint32_t>(i)});
  }
  // Whoever asks for an exact topic gets all that the tree has for it in the same look.
  for (auto& [topic, targets] : exact_) {
    find_by_tree(topic, targets);
    sort_once_each(targets);
  }
  if (tree_.size() > 1 || !tree_.front().below.empty()) remembered_.resize(remembered_count);
}

void TopicTable::add(std::string_view filter, Target target) {
  if (!has_wildcard(filter)) {
    exact_[std::string(filter)].push_back(target);
    return;
  }
  std::uint32_t at = 0;
  Levels levels(filter);
  while (const auto level = levels.next()) {
    if (*level == "#") {
      tree_[at].below.push_back(target);
      return;
    }
    const auto fresh = static_cast<std::uint32_t>(tree_.size());
    const auto [child, is_new] = tree_[at].children.try_emplace(std::string(*level), fresh);
    at = child->second;
    if (is_new) tree_.emplace_back();
  }
  tree_[at].here.push_back(target);
}

// `rest` is what is left of the topic; without data() once its last level is behind. As deep as the deepest
// filter, not as the topic.
void TopicTable::walk(std::uint32_t node, std::string_view rest, bool first,
                      std::vector<Target>& found) const {
  const Node& at = tree_[node];
  const bool own = first && rest.starts_with('$');  // MQTT 5.0 section 4.7.2: not for wildcards at the front
  if (!own) found.insert(found.end(), at.below.begin(), at.below.end());
  if (rest.data() == nullptr) {
    found.insert(found.end(), at.here.begin(), at.here.end());
    return;
  }
  if (at.children.empty()) return;
  const std::size_t slash = rest.find('/');
  const std::string_view level = rest.substr(0, slash);
  const std::string_view after =
      slash == std::string_view::npos ? std::string_view{} : rest.substr(slash + 1);
  if (const auto child = at.children.find(Seen{level, std::hash<std::string_view>{}(level)});
      child != at.children.end() && level != "+") {
    walk(child->second, after, false, found);
  }
  if (own) return;
  static const std::string any = "+";
  if (const auto child = at.children.find(any); child != at.children.end()) {
    walk(child->second, after, false, found);
  }
}

void TopicTable::find_by_tree(std::string_view topic, std::vector<Target>& found) const {
  if (topic.data() != nullptr) walk(0, topic, true, found);
}

std::span<const Target> TopicTable::find(std::string_view topic, std::size_t topic_hash) {
  if (const auto known = exact_.find(Seen{topic, topic_hash}); known != exact_.end()) return known->second;
  if (remembered_.empty()) return {};
  if (topic.size() > remembered_topic_bytes) {
    scratch_.clear();
    find_by_tree(topic, scratch_);
    sort_once_each(scratch_);
    return scratch_;
  }
  Remembered& place = remembered_[topic_hash & (remembered_count - 1)];
  if (!place.used || place.topic != topic) {
    place.used = true;
    place.topic.assign(topic);
    place.targets.clear();
    find_by_tree(topic, place.targets);
    sort_once_each(place.targets);
  }
  return place.targets;
}

Subscriptions subscriptions_of(const std::vector<ProbeSource>& probes,
                               const std::vector<PresenceSource>& presences) {
  Subscriptions all;
  for (const ProbeSource& probe : probes) (probe.keep_queued ? all.kept : all.live).push_back(probe.filter);
  for (const PresenceSource& presence : presences) all.live.push_back(presence.topic);
  return {.live = without_covered(std::move(all.live)), .kept = without_covered(std::move(all.kept))};
}

}  // namespace baskwell::intake
