#include "notify/letter.h"

namespace baskwell::notify {

std::string_view name_of(Answer answer) {
  switch (answer) {
    case Answer::delivered:
      return "delivered";
    case Answer::try_again:
      return "try-again";
    case Answer::refused:
      return "refused";
    case Answer::acknowledged:
      return "acknowledged";
  }
  return "?";
}

std::string_view name_of(Ending ending) {
  switch (ending) {
    case Ending::delivered:
      return "delivered";
    case Ending::acknowledged:
      return "acknowledged";
    case Ending::withdrawn:
      return "withdrawn";
    case Ending::replaced:
      return "replaced";
    case Ending::gave_up:
      return "gave-up";
    case Ending::refused:
      return "refused";
    case Ending::not_needed:
      return "not-needed";
    case Ending::unsure:
      return "unsure";
    case Ending::dropped:
      return "dropped";
    case Ending::no_channel:
      return "no-channel";
  }
  return "?";
}

}  // namespace baskwell::notify
