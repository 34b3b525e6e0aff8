#include "frame/pixel_memory.hpp"

#if defined(__linux__)
#include <sys/mman.h>
#endif

namespace polewright {

void reserve_samples(std::vector<std::uint16_t>& samples, std::size_t count) {
  samples.reserve(count);
#if defined(__linux__) && defined(MADV_HUGEPAGE)
  constexpr std::uintptr_t kPage = 4096;
  const auto begin = (reinterpret_cast<std::uintptr_t>(samples.data()) + kPage - 1) / kPage * kPage;
  const auto end = reinterpret_cast<std::uintptr_t>(samples.data() + count) / kPage * kPage;
  // A hint: failure costs nothing but the gain.
  if (end > begin) (void)::madvise(reinterpret_cast<void*>(begin), end - begin, MADV_HUGEPAGE);
#endif
}

}  // namespace polewright
