#include "base/parallel.hpp"

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>

namespace polewright {

int thread_count(int requested) {
  return requested > 0 ? requested : std::max(1, tbb::this_task_arena::max_concurrency());
}

void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& body) {
  if (thread_count(threads) == 1 || n < 2) {
    for (std::size_t i = 0; i < n; ++i) body(i);
    return;
  }
  const auto loop = [&] {
    tbb::parallel_for(tbb::blocked_range<std::size_t>(0, n, 1), [&](const tbb::blocked_range<std::size_t>& r) {
      for (std::size_t i = r.begin(); i != r.end(); ++i) body(i);
    });
  };
  if (threads > 0) {
    tbb::task_arena(threads).execute(loop);
  } else {
    loop();
  }
}

}  // namespace polewright
