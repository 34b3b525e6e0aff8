// From mean electrons to stored samples.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "simulate/detector.hpp"
#include "simulate/point_spread.hpp"

namespace polewright::simulate {

/// What each filter of the 2×2 pattern lets through of a light of the given warmth (−1 blue … 1 red); all 1 without
/// filters.
[[nodiscard]] ColourShares filter_shares(const Mosaic& mosaic, double warmth);

struct SensorExposure {
  double exposure_s = 0.0;
  double cosmic_rays_per_megapixel_s = 0.0;
  std::uint64_t seed = 1;
  int threads = 1;
};

/// Samples of canvas plus sky. `sky` fills a row with mean electrons before filters. The canvas gets the hot pixels and
/// particle hits too.
[[nodiscard]] std::vector<std::uint16_t> expose_sensor(Canvas& canvas, const Detector& detector,
                                                       const SensorExposure& exposure,
                                                       const std::function<void(int, std::span<float>)>& sky);

}  // namespace polewright::simulate
