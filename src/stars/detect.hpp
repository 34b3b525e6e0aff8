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

/// What is filtered: pixels, or sums of 2×2 of them. Sums cost a third; faint stars sharper than two pixels drown in
/// them, and pairs closer than four make one maximum.
enum class Grain { pixel, quad };

/// Filters with a Gaussian of the given width (the star image including the pixel) after dividing by the local noise,
/// so that the result has unit variance on empty sky whatever the colour or the gradient. Sorted by falling
/// significance.
std::vector<Candidate> detect(const Frame& frame, const BackgroundMap& background, double sigma_px, double threshold,
                              Grain grain, int threads);

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
