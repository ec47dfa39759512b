#include "pointer_tree.h"

#include <algorithm>

#include "baskwell/plugin.hpp"

namespace baskwell::decoders {
namespace {

constexpr std::size_t pointer_bytes_max = 1024;

[[noreturn]] void refuse(std::string_view pointer, const std::string& why) {
  throw plugin::BadSetting("pointer '" + std::string(pointer) + "' " + why);
}

std::string unescaped(std::string_view token, std::string_view pointer) {
  std::string name;
  for (std::size_t i = 0; i < token.size(); ++i) {
    if (token[i] != '~') {
      name.push_back(token[i]);
      continue;
    }
    const char next = i + 1 < token.size() ? token[i + 1] : '\0';
    if (next != '0' && next != '1') refuse(pointer, "has a '~' that is not part of ~0 or ~1");
    name.push_back(next == '0' ? '~' : '/');
    ++i;
  }
  return name;
}

std::int64_t array_index(const std::string& name) {
  constexpr std::size_t digits_max = 9;  // no payload within the size limit has a longer array
  if (name.empty() || name.size() > digits_max || (name[0] == '0' && name.size() > 1)) return -1;
  if (!std::all_of(name.begin(), name.end(), [](char c) { return c >= '0' && c <= '9'; })) return -1;
  std::int64_t index = 0;
  for (const char c : name) index = index * 10 + (c - '0');
  return index;
}

}  // namespace

PointerTree::Node PointerTree::add(std::string_view pointer) {
  if (pointer.size() > pointer_bytes_max) refuse(pointer.substr(0, 40), "... is longer than 1024 bytes");
  if (!pointer.empty() && pointer[0] != '/') refuse(pointer, "must be empty or begin with '/' (RFC 6901)");
  Node node = root;
  for (std::string_view rest = pointer; !rest.empty();) {
    rest.remove_prefix(1);
    const std::size_t length = std::min(rest.find('/'), rest.size());
    std::string name = unescaped(rest.substr(0, length), pointer);
    rest.remove_prefix(length);
    Node next = member(node, name);
    if (next == nothing) {
      next = static_cast<Node>(nodes_.size());
      nodes_.emplace_back();
      const std::int64_t index = array_index(name);
      nodes_[node].all.push_back({std::move(name), index, next});
    }
    node = next;
  }
  return node;
}

}  // namespace baskwell::decoders
