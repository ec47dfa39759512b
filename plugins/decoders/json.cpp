// The `json` decoder: many quantities, and the payload's own time, found in one JSON text (RFC 8259) by RFC
// 6901 pointers. One pass without building a tree and without allocating: the number's own text gives the
// exact decimal. A wanted value may be a number, a string that holds one ("23.5", "74.3 F"), or null, "NaN"
// and the like, which is "not a number". What small instruments print for it bare (nan, -inf, NaN) is no JSON
// but taken as null. Limits: 65,536 bytes, 32 levels. Errors: one line with the pointer or the byte.

#include <algorithm>
#include <array>
#include <boost/json/basic_parser_impl.hpp>
#include <boost/json/src.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "baskwell/plugin.hpp"
#include "pointer_tree.h"
#include "value_text.h"

namespace {

using baskwell::decoders::PointerTree;
using baskwell::plugin::BadSetting;
using baskwell::plugin::Line;
using baskwell::plugin::Sink;
using Node = PointerTree::Node;
namespace json = boost::json;

constexpr std::size_t payload_bytes_max = 65'536;
constexpr std::size_t depth_max = 32;
constexpr std::size_t text_bytes_max = 64;  // of a string that is to hold a number or a time
constexpr std::size_t wanted_max = 256;

// What a wanted pointer leads to in the payload at hand.
enum class Found : std::uint8_t { absent, reading, unusable };

// What is wanted, fixed at open().
struct Wanted {
  std::vector<std::string> pointers;  // by wanted index
  std::vector<std::uint32_t> units;   // by wanted index
  PointerTree tree;
  std::vector<std::vector<std::uint32_t>> at_node;  // node -> wanted indices
  Node time_node = PointerTree::nothing;
  std::string time_pointer;

  explicit Wanted(const bw_decoder_settings& settings) {
    if (settings.wanted_count == 0 || settings.wanted_count > wanted_max) {
      throw BadSetting("json: between 1 and 256 quantities can be wanted of one payload");
    }
    std::vector<Node> nodes;
    for (const bw_wanted& wanted : std::span(settings.wanted, settings.wanted_count)) {
      pointers.emplace_back(wanted.pointer);
      units.push_back(wanted.unit);
      nodes.push_back(tree.add(wanted.pointer));
    }
    if (settings.time_pointer != nullptr) {
      time_pointer = settings.time_pointer;
      time_node = tree.add(time_pointer);
    }
    at_node.resize(tree.size());
    for (std::uint32_t i = 0; i < nodes.size(); ++i) at_node[nodes[i]].push_back(i);
    if (time_node != PointerTree::nothing && !at_node[time_node].empty()) {
      throw BadSetting("json: '" + time_pointer + "' cannot be both the time and a quantity");
    }
  }
  [[nodiscard]] bool is_wanted(Node node) const {
    return node != PointerTree::nothing && (node == time_node || !at_node[node].empty());
  }
};

// Takes the parser's events; knows at every value which node of the tree it is.
class Walker {
 public:
  static constexpr std::size_t max_array_size = payload_bytes_max;
  static constexpr std::size_t max_object_size = payload_bytes_max;
  static constexpr std::size_t max_string_size = payload_bytes_max;
  static constexpr std::size_t max_key_size = payload_bytes_max;

  explicit Walker(const Wanted& wanted)
      : wanted_(&wanted),
        found_(wanted.units.size()),
        readings_(wanted.units.size()),
        seen_in_(wanted.tree.size()) {
    key_.reserve(payload_bytes_max / 64);
    text_.reserve(text_bytes_max + 1);
  }

  void begin(Line& error) {
    error_ = &error;
    error.clear();
    refused_ = false;
    depth_ = 0;
    std::fill(found_.begin(), found_.end(), Found::absent);
    has_time_ = false;
    key_.clear();
    text_.clear();
  }

  bool on_document_begin(json::error_code&) { return true; }
  bool on_document_end(json::error_code&) { return true; }
  bool on_object_begin(json::error_code&) { return open(false); }
  bool on_array_begin(json::error_code&) { return open(true); }
  bool on_object_end(std::size_t, json::error_code&) { return close(); }
  bool on_array_end(std::size_t, json::error_code&) { return close(); }

  bool on_key_part(json::string_view part, std::size_t, json::error_code&) {
    if (top().node != PointerTree::nothing) key_.append(part.data(), part.size());
    return true;
  }
  bool on_key(json::string_view last, std::size_t, json::error_code& failed) {
    Frame& frame = top();
    if (frame.node == PointerTree::nothing) return true;
    if (key_.empty()) {
      frame.next = wanted_->tree.member(frame.node, std::string_view(last.data(), last.size()));
    } else {
      key_.append(last.data(), last.size());
      frame.next = wanted_->tree.member(frame.node, key_);
      key_.clear();
    }
    if (frame.next == PointerTree::nothing) return true;
    if (seen_in_[frame.next] == frame.serial) {
      // RFC 6901 section 4: "the member that is referenced is undefined, and evaluation fails".
      error_->set("a member named in the settings occurs twice in the same object: ")
          .add_quoted(name_of(frame.next));
      refused_ = true;
      failed = json::error::syntax;
      return false;
    }
    seen_in_[frame.next] = frame.serial;
    return true;
  }

  bool on_string_part(json::string_view part, std::size_t, json::error_code&) {
    append_text(part);
    return true;
  }
  bool on_string(json::string_view last, std::size_t, json::error_code&) {
    const Node node = enter();
    if (wanted_->is_wanted(node)) {
      if (text_.empty()) {
        take_text(node, std::string_view(last.data(), std::min(last.size(), text_bytes_max + 1)));
      } else {
        append_text(last);
        take_text(node, text_);
      }
    }
    text_.clear();
    return true;
  }

  bool on_number_part(json::string_view, json::error_code&) { return true; }
  bool on_int64(std::int64_t, json::string_view text, json::error_code&) { return number(text); }
  bool on_uint64(std::uint64_t, json::string_view text, json::error_code&) { return number(text); }
  bool on_double(double, json::string_view text, json::error_code&) { return number(text); }
  bool on_bool(bool, json::error_code&) {
    unusable(enter(), "is true or false, not a number");
    return true;
  }
  bool on_null(json::error_code&) {
    const Node node = enter();
    if (!wanted_->is_wanted(node) || node == wanted_->time_node) return true;  // a null time is no time
    for (const std::uint32_t index : wanted_->at_node[node]) {
      readings_[index] = bw_reading{index, wanted_->units[index], {0, 0}, 1, 0, 0};
      found_[index] = Found::reading;
    }
    return true;
  }
  bool on_comment_part(json::string_view, json::error_code&) { return true; }
  bool on_comment(json::string_view, json::error_code&) { return true; }

  // The walker itself ended the parse, and has said why.
  [[nodiscard]] bool refused() const { return refused_; }

  // Hands over what was found; how the payload as a whole is to be called.
  bw_decoding deliver(Sink sink) {
    std::size_t delivered = 0;
    bool any_unusable = !error_->empty();
    for (std::size_t i = 0; i < found_.size(); ++i) {
      if (found_[i] == Found::unusable) any_unusable = true;
      if (found_[i] != Found::reading) continue;
      readings_[i].has_time = has_time_ ? 1 : 0;
      readings_[i].measured_utc_ms = has_time_ ? time_utc_ms_ : 0;
      sink(readings_[i]);
      ++delivered;
    }
    if (delivered == 0) {
      if (!any_unusable)
        error_->set("nothing that is wanted is in it; no ").add_quoted(wanted_->pointers.front());
      return BW_UNREADABLE;
    }
    return any_unusable ? BW_DECODED_IN_PART : BW_DECODED;
  }

 private:
  struct Frame {
    Node node = PointerTree::nothing;
    Node next = PointerTree::nothing;  // in an object: the node of the member whose key came last
    std::uint64_t serial = 0;
    std::uint32_t elements = 0;
    bool is_array = false;
  };

  Frame& top() { return frames_[depth_ - 1]; }

  // The node of the value that begins here.
  Node enter() {
    if (depth_ == 0) return PointerTree::root;
    Frame& frame = top();
    if (frame.node == PointerTree::nothing) return PointerTree::nothing;
    return frame.is_array ? wanted_->tree.element(frame.node, frame.elements++) : frame.next;
  }

  bool open(bool is_array) {
    const Node node = enter();
    unusable(node, is_array ? "is an array, not a number" : "is an object, not a number");
    // The parser refuses to go deeper than depth_max, so there is always a frame.
    frames_[depth_++] = Frame{node, PointerTree::nothing, ++serial_, 0, is_array};
    return true;
  }
  bool close() {
    --depth_;
    return true;
  }

  bool number(json::string_view raw) {
    const Node node = enter();
    if (!wanted_->is_wanted(node)) return true;
    const std::string_view text(raw.data(), raw.size());
    const baskwell::decoders::DecimalText decimal = baskwell::decoders::read_decimal(text);
    if (node == wanted_->time_node) {
      const auto time =
          decimal.problem == nullptr ? baskwell::decoders::unix_time_ms(decimal.value) : std::nullopt;
      set_time(time, text);
      return true;
    }
    if (decimal.problem != nullptr) {
      unusable(node, decimal.problem);
      return true;
    }
    for (const std::uint32_t index : wanted_->at_node[node]) {
      readings_[index] = bw_reading{index, wanted_->units[index], decimal.value, 0, 0, 0};
      found_[index] = Found::reading;
    }
    return true;
  }

  void append_text(json::string_view part) {
    // One byte beyond the limit is kept, so that a longer text is known as such.
    const std::size_t room = text_bytes_max + 1 - std::min(text_.size(), text_bytes_max + 1);
    text_.append(part.data(), std::min(part.size(), room));
  }

  void take_text(Node node, std::string_view text) {
    if (node == wanted_->time_node) {
      set_time(text.size() <= text_bytes_max ? baskwell::decoders::read_time_ms(text) : std::nullopt, text);
      return;
    }
    if (text.size() > text_bytes_max) {
      unusable(node, "is a string too long to hold a number");
      return;
    }
    for (const std::uint32_t index : wanted_->at_node[node]) {
      char why[160];
      Line problem(why, sizeof why);
      readings_[index].wanted_index = index;
      if (baskwell::decoders::read_value(text, wanted_->units[index], readings_[index], problem)) {
        found_[index] = Found::reading;
        continue;
      }
      found_[index] = Found::unusable;
      if (error_->empty()) error_->add_quoted(wanted_->pointers[index]).add(": ").add(why);
    }
  }

  void set_time(std::optional<std::int64_t> utc_ms, std::string_view text) {
    has_time_ = utc_ms.has_value();
    time_utc_ms_ = utc_ms.value_or(0);
    if (has_time_ || !error_->empty()) return;
    error_->set("the time at ").add_quoted(wanted_->time_pointer).add(" is neither RFC 3339 nor Unix time: ");
    error_->add_quoted(text);
  }

  void unusable(Node node, const char* why) {
    if (!wanted_->is_wanted(node)) return;
    for (const std::uint32_t index : wanted_->at_node[node]) found_[index] = Found::unusable;
    if (error_->empty()) error_->add_quoted(name_of(node)).add(" ").add(why);
  }

  [[nodiscard]] std::string_view name_of(Node node) const {
    if (node == wanted_->time_node) return wanted_->time_pointer;
    if (!wanted_->at_node[node].empty()) return wanted_->pointers[wanted_->at_node[node].front()];
    for (std::size_t i = node; i < wanted_->at_node.size();
         ++i) {  // a step on the way: the first pointer beyond it
      if (!wanted_->at_node[i].empty()) return wanted_->pointers[wanted_->at_node[i].front()];
    }
    return wanted_->time_pointer;
  }

  const Wanted* wanted_;
  Line* error_ = nullptr;
  bool refused_ = false;
  std::array<Frame, depth_max + 1> frames_{};
  std::size_t depth_ = 0;
  std::uint64_t serial_ = 0;
  std::vector<Found> found_;
  std::vector<bw_reading> readings_;
  std::vector<std::uint64_t> seen_in_;  // node -> serial of the object in which its name came last
  bool has_time_ = false;
  std::int64_t time_utc_ms_ = 0;
  std::string key_;   // a key that comes in parts (with escapes)
  std::string text_;  // a string value that comes in parts
};

constexpr bool is_blank(char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '\0';
}

// Copies `payload` with every bare nan, inf and the like replaced by null. False: there is none.
bool with_nulls(std::string_view payload, std::string& copy) {
  constexpr std::array<std::string_view, 8> words = {"NaN",  "Infinity", "-Infinity", "nan",
                                                     "-nan", "inf",      "-inf",      "-NaN"};
  copy.clear();
  bool in_string = false;
  bool replaced = false;
  for (std::size_t i = 0; i < payload.size();) {
    const char c = payload[i];
    if (in_string && c == '\\' && i + 1 < payload.size()) {
      copy.append(payload.substr(i, 2));
      i += 2;
      continue;
    }
    if (c == '"') in_string = !in_string;
    if (!in_string && (c == 'N' || c == 'I' || c == 'n' || c == 'i' || c == '-')) {
      const std::size_t length = std::min(payload.find_first_of(",]} \t\r\n", i), payload.size()) - i;
      if (std::find(words.begin(), words.end(), payload.substr(i, length)) != words.end()) {
        copy.append("null");
        i += length;
        replaced = true;
        continue;
      }
    }
    copy.push_back(c);
    ++i;
  }
  return replaced;
}

class Json {
 public:
  explicit Json(const bw_decoder_settings& settings) : wanted_(settings), parser_(options(), wanted_) {}
  Json(const Json&) = delete;  // the walker points into it
  Json& operator=(const Json&) = delete;

  bw_decoding decode(std::string_view payload, Sink sink, Line& error) {
    if (payload.size() > payload_bytes_max) {
      error.set("the payload is longer than ").add_number(payload_bytes_max).add(" bytes");
      return BW_UNREADABLE;
    }
    if (payload.starts_with("\xEF\xBB\xBF")) payload.remove_prefix(3);  // a byte order mark
    while (!payload.empty() && is_blank(payload.back())) payload.remove_suffix(1);
    Failure failure = parse(payload, error);
    if (failure.happened && !parser_.handler().refused() && with_nulls(payload, copy_)) {
      failure.happened =
          parse(copy_, error).happened;  // if this fails too, the byte in the payload itself is told
    }
    if (parser_.handler().refused()) return BW_UNREADABLE;
    if (!failure.happened) return parser_.handler().deliver(sink);
    error.set("not JSON: ");
    error.add(failure.code ? failure.code.message() : "more text behind the value").add(" at byte ");
    error.add_number(failure.byte);
    return BW_UNREADABLE;
  }

 private:
  struct Failure {
    bool happened;
    json::error_code code;  // none: the value ended before the text did
    std::size_t byte;
  };

  static json::parse_options options() {
    json::parse_options chosen;
    chosen.max_depth = depth_max;
    return chosen;
  }

  Failure parse(std::string_view text, Line& error) {
    parser_.reset();
    parser_.handler().begin(error);
    json::error_code code;
    const std::size_t used = parser_.write_some(false, text.data(), text.size(), code);
    return {code || used < text.size(), code, used};
  }

  Wanted wanted_;
  json::basic_parser<Walker> parser_;
  std::string copy_;
};

constexpr const char* keys[] = {nullptr};
constexpr bw_plugin description = {
    BASKWELL_PLUGIN_INTERFACE, "json", "1.0", keys, &baskwell::plugin::decoder_functions<Json>, nullptr};

}  // namespace

extern "C" const bw_plugin* baskwell_plugin(uint32_t host_interface) {
  return baskwell::plugin::answer(description, host_interface);
}
