#pragma once
// CHECK(condition): a broken invariant is a crash, never silence. Not for bad input; that is a Result.
// Prints file, line and the condition to standard error and aborts. Callable from any thread.

namespace baskwell {
[[noreturn]] void check_failed(const char* file, int line, const char* condition);
}

#define CHECK(condition)                                        \
  do {                                                          \
    if (!(condition)) [[unlikely]]                              \
      ::baskwell::check_failed(__FILE__, __LINE__, #condition); \
  } while (false)
