#include "frame/quantise.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

namespace polewright {
namespace {

constexpr double kFullRange = 65535.0;
constexpr double kCoarsestStepInNoise = 0.34;
/// Values further below the median than this many noise widths are defects; they need no room in the range.
constexpr double kDeepestInNoise = 1000.0;

struct Extent {
  double low = std::numeric_limits<double>::infinity();
  double high = -std::numeric_limits<double>::infinity();
  bool whole = true;
};

template <class T>
Extent extent_of(std::span<const T> values) {
  Extent e;
  for (const T v : values) {
    if (!std::isfinite(v)) continue;
    e.low = std::min<double>(e.low, v);
    e.high = std::max<double>(e.high, v);
    e.whole = e.whole && v == std::nearbyint(v);
  }
  return e;
}

template <class T>
double median_of_sample(std::span<const T> values) {
  std::vector<double> some;
  const std::size_t step = std::max<std::size_t>(1, values.size() / 100'000);
  for (std::size_t i = 0; i < values.size(); i += step)
    if (std::isfinite(values[i])) some.push_back(values[i]);
  if (some.empty()) return 0.0;
  std::nth_element(some.begin(), some.begin() + static_cast<std::ptrdiff_t>(some.size() / 2), some.end());
  return some[some.size() / 2];
}

}  // namespace

template <class T>
double pixel_noise(std::span<const T> values, int width) {
  std::vector<double> difference;
  const std::size_t w = static_cast<std::size_t>(width);
  // An odd stride visits all columns.
  const std::size_t step = values.size() / 100'000 * 2 + 1;
  for (std::size_t i = 0; i + 2 < values.size(); i += step)
    if (i % w + 2 < w && std::isfinite(values[i]) && std::isfinite(values[i + 2]))
      difference.push_back(std::abs(static_cast<double>(values[i]) - static_cast<double>(values[i + 2])));
  if (difference.empty()) return 0.0;
  const auto middle = difference.begin() + static_cast<std::ptrdiff_t>(difference.size() / 2);
  std::nth_element(difference.begin(), middle, difference.end());
  return 1.4826 * *middle / std::sqrt(2.0);
}

template <class T>
Quantised quantise(std::span<const T> values, int width) {
  assert(width > 0);
  Quantised q;
  q.samples.reserve(values.size());
  const Extent extent = extent_of(values);
  double low = extent.low;
  if (!(extent.high > extent.low)) {
    q.zero = std::isfinite(low) ? low : 0.0;  // constant, or nothing finite at all
  } else if (extent.whole && extent.high - extent.low <= kFullRange) {
    q.zero = low >= 0.0 && extent.high <= kFullRange ? 0.0 : low;
  } else {
    const double noise = pixel_noise(values, width);
    if (noise > 0.0) low = std::max(low, median_of_sample(values) - kDeepestInNoise * noise);
    q.zero = low;
    q.scale = (extent.high - low) / (kFullRange - 1.0);  // the top sample is kept for what is clipped
    if (noise > 0.0) q.scale = std::min(q.scale, kCoarsestStepInNoise * noise);
  }
  const double zero = q.zero, per_step = 1.0 / q.scale;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double v = values[i];
    if (!std::isfinite(v)) {
      q.blank.push_back(static_cast<std::uint32_t>(i));
      q.samples.push_back(0);
      continue;
    }
    const double sample = (v - zero) * per_step + 0.5;
    q.clipped += sample >= kFullRange + 1.0 ? 1 : 0;
    q.samples.push_back(static_cast<std::uint16_t>(std::clamp(sample, 0.0, kFullRange)));
  }
  return q;
}

template Quantised quantise<float>(std::span<const float>, int);
template Quantised quantise<double>(std::span<const double>, int);
template double pixel_noise<float>(std::span<const float>, int);
template double pixel_noise<double>(std::span<const double>, int);

}  // namespace polewright
