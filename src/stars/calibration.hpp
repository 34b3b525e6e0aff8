// The noise of a frame's star light, measured from how the brighter stars scatter about their fits.
#pragma once

#include <array>
#include <vector>

#include "stars/star_fit.hpp"

namespace polewright {

/// Excess of squared residuals over sky noise per unit of light, of one star.
struct LightNoise {
  std::array<double, 4> excess_per_light{};  ///< per class of the pattern; 0 where the star says nothing
  double typical_light = 0.0;                ///< light of the pixels that the figures rest on, sample units
};
LightNoise light_noise(const BackgroundMap& background, const FitPixels& pixels, const StarFit& fit,
                       const Wings& wings);

/// Photon noise grows with light, misfit with its square: the trend over stars of different brightness tells them
/// apart. Values of `start` stay where the stars say nothing.
NoiseModel noise_from(const std::vector<LightNoise>& stars, const NoiseModel& start);

/// Median, reordering a copy; `otherwise` when there are no values.
double median_or(std::vector<double> values, double otherwise);

}  // namespace polewright
