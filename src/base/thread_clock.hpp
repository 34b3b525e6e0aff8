// Processor time of the calling thread: a limit on work that other programs on the machine do not move.
#pragma once

#include <ctime>

namespace polewright {

inline double thread_seconds() {
  std::timespec t{};
  ::clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

}  // namespace polewright
