#include "app/status_text.h"

#include <boost/json.hpp>
#include <cstdint>

namespace baskwell {
namespace {

namespace json = boost::json;

std::string word(const json::object& object, const char* key) {
  return std::string(object.at(key).as_string());
}

std::uint64_t number(const json::object& object, const char* key) {
  return object.at(key).to_number<std::uint64_t>();
}

// "1 reading", "12 readings"
std::string counted(std::uint64_t count, const std::string& one) {
  return std::to_string(count) + " " + one + (count == 1 ? "" : "s");
}

std::string store_lines(const json::object& store) {
  std::string text = store.at("working").as_bool() ? "works" : "CANNOT BE WRITTEN: " + word(store, "trouble");
  text += "\n             " + counted(number(store, "readings_stored"), "reading") + " in " +
          counted(number(store, "transactions"), "commit") + " since the start";
  if (const std::uint64_t dropped = number(store, "readings_dropped"); dropped > 0)
    text += ", " + std::to_string(dropped) + " DROPPED";
  return text + "\n             " + word(store, "path") + "\n";
}

std::string delivery_line(const json::object& delivery) {
  std::string text = std::to_string(number(delivery, "delivered")) + " delivered, " +
                     std::to_string(number(delivery, "waiting")) + " waiting; " +
                     counted(number(delivery, "attempts"), "attempt") + ", " +
                     std::to_string(number(delivery, "failed")) + " failed";
  if (const std::uint64_t dropped = number(delivery, "dropped"); dropped > 0)
    text += ", " + std::to_string(dropped) + " DROPPED";
  return text + "\n";
}

}  // namespace

std::string status_text(const json::object& status) {
  return "Baskwell " + word(status, "version") + "\n" + "  watching   " +
         counted(number(status, "enclosures"), "enclosure") + " with " +
         counted(number(status, "channels"), "channel") + ", settings version " +
         std::to_string(number(status, "settings_version")) + "\n" + "  store      " +
         store_lines(status.at("store").as_object()) + "  messages   " +
         delivery_line(status.at("delivery").as_object()) + "  clock      " +
         (status.at("clock_sure").as_bool() ? "kept by a time service\n"
                                            : "NOT SURE: see `baskwell alarms`, clock-unsure\n");
}

}  // namespace baskwell
