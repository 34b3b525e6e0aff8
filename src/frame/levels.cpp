#include "frame/levels.hpp"

#include <algorithm>
#include <vector>

namespace polewright {
namespace {

/// A fixed block lets the compiler use vector instructions.
constexpr std::size_t kBlock = 1024;

std::uint16_t highest(const std::uint16_t* block) {
  std::uint16_t high = 0;
  for (std::size_t i = 0; i < kBlock; ++i) high = std::max(high, block[i]);
  return high;
}

std::uint16_t median_of_some(std::span<const std::uint16_t> samples) {
  std::vector<std::uint16_t> some;
  const std::size_t step = samples.size() / 10'000 * 2 + 1;  // odd: meets every colour of a filter pattern
  for (std::size_t i = 0; i < samples.size(); i += step) some.push_back(samples[i]);
  const auto middle = some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2);
  std::nth_element(some.begin(), middle, some.end());
  return *middle;
}

}  // namespace

std::optional<std::uint16_t> clipping_level(std::span<const std::uint16_t> samples) {
  if (samples.empty()) return {};
  const std::size_t blocks = samples.size() / kBlock;
  const auto rest = samples.subspan(blocks * kBlock);
  std::vector<std::uint16_t> high(blocks);
  for (std::size_t b = 0; b < blocks; ++b) high[b] = highest(samples.data() + b * kBlock);
  std::uint16_t top = rest.empty() ? std::uint16_t{0} : *std::max_element(rest.begin(), rest.end());
  for (const std::uint16_t h : high) top = std::max(top, h);

  const std::uint16_t median = median_of_some(samples);
  if (top - median < 100) return {};
  const auto near = static_cast<std::uint16_t>(top - (top - median) / 20);
  std::size_t at_top = 0, below = 0;
  const auto count = [&](std::span<const std::uint16_t> part) {
    for (const std::uint16_t v : part) {
      at_top += v == top ? 1 : 0;
      below += v >= near && v < top ? 1 : 0;
    }
  };
  for (std::size_t b = 0; b < blocks; ++b)
    if (high[b] >= near) count(samples.subspan(b * kBlock, kBlock));
  count(rest);
  return at_top >= 8 && at_top > 2 * below ? std::optional(top) : std::nullopt;
}

}  // namespace polewright
