// Matched filtering and local maxima, tile by tile: the only pass over all pixels.
#pragma once

#include <vector>

#include "polewright/frame.hpp"
#include "stars/background.hpp"

namespace polewright {

/// A local maximum of the matched-filter significance.
struct Candidate {
  int x = 0, y = 0;
  float significance = 0.0F;
};

/// Filters with a Gaussian of the given width (the star image including the pixel) after dividing by the local noise,
/// so that the result has unit variance on empty sky whatever the colour or the gradient. `row_step` > 1 looks only
/// at every row_step-th band of tiles, for a first look. Sorted by falling significance.
std::vector<Candidate> detect(const Frame& frame, const BackgroundMap& background, double sigma_px, double threshold,
                              int row_step, int threads);

}  // namespace polewright
