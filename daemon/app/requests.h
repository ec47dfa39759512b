#pragma once
// What the command line may ask of the running daemon, and the answers. One JSON object a line:
//   {"do":"room"} {"do":"alarms"} {"do":"payloads"} {"do":"status"}
//   {"do":"acknowledge","target":"A12","who":"...","why":"..."} and shelve (with "for_ms"), unshelve,
//   out-of-service, return-to-service
//   {"do":"note","subject":"...","text":"...","type":"...","who":"..."}
//   {"do":"notes","subject":"...","last":N}
//   {"do":"heat","enclosure":"..."}, with "from_ms" and "to_ms" for a picture (heat_answer.h)
// Answers: {"ok":true,"text":"...","data":{...}} or {"ok":false,"error":"..."}. Pure but for what it is
// handed.

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

#include "core/effects.h"
#include "core/engine.h"
#include "core/event.h"
#include "core/note.h"
#include "core/result.h"
#include "intake/decoding.h"

namespace baskwell {

struct RequestContext {
  const Engine& engine;
  Stamp now;
  std::function<std::string(const RequestEvent&)> change;  // steps it; "" or why not
  std::function<intake::PayloadReport()> payloads;
  std::function<std::string()> status;                       // a JSON object
  std::function<Result<NoteRecord>(const NoteEvent&)> note;  // steps it
  // The newest `most`, oldest first; subject empty: all.
  std::function<Result<std::vector<NoteRecord>>(const std::string& subject, std::size_t most)> notes;
};

[[nodiscard]] std::string refused_request(const std::string& why);
[[nodiscard]] std::string answer_request(const std::string& request, const std::string& peer,
                                         const RequestContext& context);

}  // namespace baskwell
