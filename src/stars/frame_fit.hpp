// Profile fits for the stars of a frame: what they share (width, noise, wings) is measured first, then each is fitted
// with its neighbours taken out.
#pragma once

#include <vector>

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/star_fit.hpp"

namespace polewright {

/// What the stars of one frame share.
struct FrameProfile {
  double sigma_px = 1.0;  ///< width without the pixel's own; the compact form's mean width for untrailed frames
  Wings wings;
  NoiseModel noise;
};

/// Improves the stars in place (position, flux, width, trail and their errors); stars past options.max_fitted and those
/// that do not converge keep their windowed values and fit_failed. `window_px` is the width used by measure().
FrameProfile fit_stars(const Frame& frame, const BackgroundMap& background, double window_px,
                       const StarOptions& options, std::vector<Star>& stars);

}  // namespace polewright
