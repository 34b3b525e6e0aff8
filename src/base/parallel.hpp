// Parallel loop and thread limit, so that no other stage needs to know the thread library.
#pragma once

#include <cstddef>
#include <functional>

namespace polewright {

/// Calls body(i) for i in [0, n) on up to `threads` threads (0: all the machine has). Returns when all are done.
/// Exceptions leave as from a plain loop.
void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& body);

/// Threads a request means: the request itself, or all the machine has for 0.
int thread_count(int requested);

}  // namespace polewright
