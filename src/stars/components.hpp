// Connected groups of significant pixels and their moments.
#pragma once

#include <vector>

#include "polewright/geometry.hpp"
#include "stars/detect.hpp"

namespace polewright {

/// One connected group (eight neighbours), weighted by significance.
struct Component {
  PixelPoint centre;
  Covariance2 moments;  ///< px²
  int pixels = 0;
  int x0 = 0, y0 = 0, x1 = 0, y1 = 0;  ///< inclusive bounds
  double peak = 0.0;                   ///< σ
};

/// Groups of at least `least_pixels` pixels above `level` σ, in reading order of their first pixel.
std::vector<Component> components_above(const SignificanceMap& map, double level, int least_pixels);

}  // namespace polewright
