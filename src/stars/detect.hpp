// Matched filtering and local maxima, tile by tile: the only pass over all pixels.
#pragma once

#include <cstdint>
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

/// The whole frame's significance, kept for images that are not points: sixteenths of σ, clipped at ±2047 σ.
struct SignificanceMap {
  static constexpr float kStep = 1.0F / 16.0F;
  int width = 0, height = 0;
  std::vector<std::int16_t> steps;

  [[nodiscard]] const std::int16_t* row(int y) const {
    return &steps[static_cast<std::size_t>(y) * static_cast<std::size_t>(width)];
  }
  [[nodiscard]] bool contains(int x, int y) const { return x >= 0 && y >= 0 && x < width && y < height; }
};
SignificanceMap significance_map(const Frame& frame, const BackgroundMap& background, double sigma_px, int threads);

}  // namespace polewright
