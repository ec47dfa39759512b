#include "core/check.h"

#include <cstdio>
#include <cstdlib>

namespace baskwell {
void check_failed(const char* file, int line, const char* condition) {
  // The one place in core that writes anywhere: the process is about to end and must say why.
  std::fprintf(stderr, "%s:%d: broken invariant: %s\n", file, line, condition);
  std::abort();
}
}  // namespace baskwell
