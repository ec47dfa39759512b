#include "app/lost_state.h"

#include <fcntl.h>
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <system_error>
#include <utility>

#include "core/moment.h"
#include "store/reader.h"

namespace baskwell {
namespace {

Outcome write_whole(const std::string& path, const std::string& text) {
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
  if (file < 0) return Error{path + ": " + std::generic_category().message(errno)};
  const ssize_t written = ::write(file, text.data(), text.size());
  const int error = errno;
  ::close(file);
  if (written == static_cast<ssize_t>(text.size())) return Done{};
  return Error{path + ": " + (written < 0 ? std::generic_category().message(error) : "written in part")};
}

// Beside the store, under a name with the moment: "room.baskwell-unreadable-state-20261125T021000Z".
Outcome set_aside(const std::string& store_path, const std::string& what, const std::string& text, UtcMs now,
                  std::string& name) {
  std::string moment = rfc3339(now);
  std::erase_if(moment, [](char c) { return c == ':' || c == '-'; });
  name = store_path + "-unreadable-" + what + "-" + moment;
  return write_whole(name, text);
}

}  // namespace

Result<std::string> begin_anew(const store::Store& store, const store::Snapshot& damaged,
                               const std::string& why, UtcMs now, Engine& fresh, Effects& effects) {
  auto reader = store::StoreReader::open(store.path());
  if (!reader) return reader.error();
  auto ends = reader.value().record_ends();
  if (!ends) return ends.error();
  fresh.count_on_from(ends.value().last_occurrence, ends.value().last_message, ends.value().last_outage);
  for (TransitionRecord& record : ends.value().open) {
    record.from = record.to;
    record.to = AlarmState::normal;
    record.input = AlarmInput::returns;
    record.at = now;
    record.who = "baskwell";
    record.why = "the state was lost: alarms begin anew";
    effects.transitions.push_back(std::move(record));
  }
  // The text of an alarm is short: the cause stands in the log.
  std::string told = "alarms begin anew, their last state could not be read";
  std::string name;
  if (Outcome kept = set_aside(store.path(), "state", damaged.text, now, name); kept) {
    told += "; kept as " + std::filesystem::path(name).filename().string();
    spdlog::critical("{}: {}; kept as {}", told, why, name);
  } else {
    spdlog::critical("{}: {}; and cannot be kept: {}", told, why, kept.error().text);
  }
  return told;
}

void keep_unreadable_learned(const store::Store& store, const store::Learned& damaged, const std::string& why,
                             UtcMs now) {
  std::string name;
  const Outcome kept = set_aside(store.path(), "learned", damaged.text, now, name);
  spdlog::error("the heating is learned anew: {}; {}", why,
                kept ? "kept as " + name : "and cannot be kept: " + kept.error().text);
}

}  // namespace baskwell
