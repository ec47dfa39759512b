#pragma once
// RFC 6901 JSON pointers, compiled once into a tree that a stream of JSON events walks: at every value the
// walker knows, without looking anything up by path, whether it is wanted. Follows RFC 6901 section 4: ~1 is
// '/', ~0 is '~'; an array index is 0 or digits without a leading zero; '-' names the element after the last,
// which never exists; a member name that occurs twice in one object is an error. Errors: add() throws
// BadSetting with the pointer and what is wrong. Threads: build on one, then read-only.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace baskwell::decoders {

class PointerTree {
 public:
  using Node = std::uint32_t;
  static constexpr Node root = 0;
  static constexpr Node nothing = 0xFFFF'FFFF;  // a value below which nothing is wanted

  PointerTree() : nodes_(1) {}

  // Returns the node of `pointer`; the same pointer twice gives the same node.
  Node add(std::string_view pointer);

  [[nodiscard]] Node member(Node object, std::string_view name) const;
  [[nodiscard]] Node element(Node array, std::size_t index) const;
  [[nodiscard]] std::size_t size() const { return nodes_.size(); }

 private:
  struct Child {
    std::string name;
    std::int64_t index;  // -1: the name is not an array index
    Node node;
  };
  struct Children {
    std::vector<Child> all;
  };
  std::vector<Children> nodes_;
};

inline PointerTree::Node PointerTree::member(Node object, std::string_view name) const {
  for (const Child& child : nodes_[object].all) {
    if (child.name == name) return child.node;
  }
  return nothing;
}

inline PointerTree::Node PointerTree::element(Node array, std::size_t index) const {
  for (const Child& child : nodes_[array].all) {
    if (child.index == static_cast<std::int64_t>(index)) return child.node;
  }
  return nothing;
}

}  // namespace baskwell::decoders
