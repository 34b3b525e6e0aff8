// Size and elongation of a frame's own star images.
#pragma once

#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"
#include "stars/detect.hpp"

namespace polewright {

constexpr double kFirstLook_px = 1.3;  ///< loses under 10 % of significance for stars of σ 0.8–2.1 px

/// A lone bright pixel: the four beside the brightest one at (x, y) together hold less than half its light. The
/// sharpest star a pixel grid records (σ 0.45 px) has 0.7 there. Hot pixels may outnumber the stars, so what is
/// measured for the whole frame must not rest on them.
[[nodiscard]] bool stands_alone(const Frame& frame, const BackgroundMap& background, int x, int y);
/// The same beyond doubt: noise cannot have made it of a star, and neither can a mosaic of a star of one colour.
[[nodiscard]] bool clearly_stands_alone(const Frame& frame, const BackgroundMap& background, int x, int y);

/// Medians over the brightest unsaturated candidates; the pixel's own blur is in all of them.
struct StarSize {
  double sigma_px = kFirstLook_px;         ///< root of the mean moment
  double sigma_across_px = kFirstLook_px;  ///< root of the smaller moment
  double q1 = 0.0, q2 = 0.0;               ///< common trail squared, px²
  double elongation = 1.0;                 ///< larger over smaller moment, each star's own direction
  int stars = 0;                           ///< that these figures rest on
};
StarSize measure_star_size(const Frame& frame, const BackgroundMap& background,
                           const std::vector<Candidate>& candidates);

}  // namespace polewright
