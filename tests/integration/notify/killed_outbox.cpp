// A daemon in small, made to be killed: store, outbox and two channels that write one line for each message
// they were given. Arguments: store file, file of the lines, number of messages. Prints "ready" when it has
// started, a line for each message told, and "empty" once the outbox is.

#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <thread>

#include "real_outbox.h"

namespace {

using namespace baskwell;

void say(const std::string& line) {
  std::printf("%s\n", line.c_str());
  std::fflush(stdout);
}

// The person: whatever is appended here was heard, kill or no kill.
notify::ChannelCall teller(const std::string& path, bool fails_at_first) {
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
  if (file < 0) std::abort();
  const auto calls = std::make_shared<std::atomic<unsigned>>(0);
  return [file, calls, fails_at_first](const notify::Letter& letter, std::uint32_t) -> notify::ChannelAnswer {
    if (fails_at_first && ++*calls % 3 != 0) return {notify::Answer::try_again, "busy"};
    const std::string line = letter.id + "\n";
    if (::write(file, line.data(), line.size()) != static_cast<ssize_t>(line.size())) std::abort();
    say("told " + letter.id);
    return {notify::Answer::delivered, "taken"};
  };
}

int run(const std::string& store_file, const std::string& lines_file, int messages) {
  const auto clock = notify::real_clock(600);
  store::StoreOptions options;
  options.now = clock().utc;
  options.boot_id = "boot";
  auto opened = store::Store::open(store_file, std::move(options));
  if (!opened) {
    say("cannot open the store: " + opened.error().text);
    return 1;
  }
  store::Store& store = *opened.value();

  notify::DeliverySettings settings;
  Person person;
  person.id = person.name = "anna";
  person.channels = {{"first", ""}, {"second", ""}};
  settings.people = {person};
  settings.channels = {{"first", teller(lines_file, true)}, {"second", teller(lines_file, true)}};
  settings.clock = clock;
  settings.pace = 600;
  notify::Delivery delivery(std::move(settings), notify::writing_to(store));

  auto pending = store.pending_messages();
  if (!pending) {
    say("cannot read the outbox: " + pending.error().text);
    return 1;
  }
  notify::Resume resume;
  for (auto& message : pending.value().waiting) resume.waiting.push_back(std::move(message.draft));
  for (auto& message : pending.value().unknown_outcome) resume.unsure.push_back(std::move(message.draft));
  for (const auto& message : resume.unsure) say("unsure " + message.id);
  delivery.start(std::move(resume));
  say("ready");

  store::Batch batch;
  batch.urgent = true;
  batch.at = clock().utc;
  for (int i = 0; i < messages; ++i)
    batch.messages.push_back(notify::high_message(std::to_string(i), "anna", clock()));
  auto drafts = std::make_shared<std::vector<MessageDraft>>(batch.messages);
  batch.on_committed = [&delivery, drafts](bool, const std::string&) { delivery.tell(*drafts, {}); };
  if (messages > 0) store.submit(std::move(batch));
  store.flush();
  while (delivery.counts().waiting > 0) std::this_thread::sleep_for(std::chrono::milliseconds(2));
  delivery.stop(5000);
  store.flush();
  say("empty");
  return 0;
}

}  // namespace

int main(int count, char** words) {
  if (count != 4) return 2;
  return run(words[1], words[2], static_cast<int>(std::strtol(words[3], nullptr, 10)));
}
