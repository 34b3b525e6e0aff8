// First measurement of a candidate: Gaussian-windowed centroid, moments and flux, and the numbers flags rest on.
#pragma once

#include "polewright/stars.hpp"
#include "stars/background.hpp"

namespace polewright {

struct Measurement {
  double x = 0.0, y = 0.0;  ///< px
  Covariance2 moments;      ///< of the image with the window's own width taken out, px²
  double flux = 0.0;        ///< sample units
  double peak = 0.0;        ///< sample units above sky
  double sky = 0.0;         ///< sample units
  int saturated_pixels = 0;
  bool at_edge = false;
  bool converged = false;
};

/// The sky is the map's plus `sky_above_map`. `sigma_px` is the width of the window: that of the frame's stars for best
/// weight.
Measurement measure(const Frame& frame, const BackgroundMap& background, int x, int y, double sky_above_map,
                    double sigma_px);

}  // namespace polewright
