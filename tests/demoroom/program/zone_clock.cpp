#include "demoroom/program/zone_clock.h"

#include <date/tz.h>

#include <chrono>
#include <cstdlib>
#include <exception>

namespace baskwell::demoroom {
namespace {

const date::time_zone* find_zone(const std::string& name) {
  try {
    return date::locate_zone(name);
  } catch (const std::exception&) {  // unknown, or no tzdata: the caller says which it asked for
    return nullptr;
  }
}

std::string environment_zone() {
  const char* text = std::getenv("TZ");  // NOLINT(concurrency-mt-unsafe): read once, before any thread starts
  if (text == nullptr) return {};
  const std::string name = *text == ':' ? text + 1 : text;
  return find_zone(name) != nullptr ? name : std::string();
}

}  // namespace

Result<LocalOffset> local_offset(const std::string& zone, std::optional<int> offset_minutes) {
  if (offset_minutes) {
    const std::int64_t offset_s = std::int64_t{60} * *offset_minutes;
    return LocalOffset([offset_s](std::int64_t) { return offset_s; });
  }
  std::string name = zone.empty() ? environment_zone() : zone;
  if (name.empty()) name = "Europe/London";
  const date::time_zone* found = find_zone(name);
  if (found == nullptr) return Error{"no time zone '" + name + "' in the system's tzdata"};
  return LocalOffset([found](std::int64_t utc_ms) {
    const std::chrono::sys_time<std::chrono::milliseconds> when{std::chrono::milliseconds(utc_ms)};
    const std::chrono::seconds offset =
        found->get_info(std::chrono::floor<std::chrono::seconds>(when)).offset;
    return static_cast<std::int64_t>(offset.count());
  });
}

}  // namespace baskwell::demoroom
