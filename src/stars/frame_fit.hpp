// Profile fits for the stars of a frame: what they share (width, wings, noise, motion) is measured first, then each is
// fitted with its neighbours taken out.
#pragma once

#include <optional>
#include <vector>

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/motion_field.hpp"
#include "stars/star_fit.hpp"

namespace polewright {

/// What the stars of one frame share.
struct FrameProfile {
  double sigma_px = 1.0;  ///< width across the trail, without the pixel's own
  Wings wings;
  NoiseModel noise;
  /// Motion during the exposure when stars are trails; improved by the fits.
  std::optional<MotionField> motion;
};

/// Improves the stars in place (position, flux, width, trail and their errors); stars past options.max_fitted and those
/// that do not converge keep their values and fit_failed. `profile` brings first guesses; each star's trail is its own.
void fit_stars(const Frame& frame, const BackgroundMap& background, const StarOptions& options, FrameProfile& profile,
               std::vector<Star>& stars);

}  // namespace polewright
