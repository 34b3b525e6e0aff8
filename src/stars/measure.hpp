// First measurement of a candidate: Gaussian-windowed centroid, moments and flux, and the numbers flags rest on.
#pragma once

#include "polewright/stars.hpp"
#include "stars/background.hpp"
#include "stars/detect.hpp"

namespace polewright {

/// Windowed measurement. Sky is the map corrected by the median of a ring around the star.
struct Measurement {
  double x = 0.0, y = 0.0;    ///< px
  Covariance2 moments;        ///< of the image with the window's own width taken out, px²
  double flux = 0.0;          ///< sample units
  double peak = 0.0;          ///< sample units above sky
  double sky = 0.0;           ///< sample units
  double noise = 1.0;         ///< per pixel at the star, from the map
  double ring_level = 0.0;    ///< of the ring around the star above the map, sample units
  double ring_noise = 1.0;    ///< scatter of the ring around the star; larger than noise on edges and in glow
  double significance = 0.0;  ///< of the windowed sum over the ring's level, against the ring's scatter
  int saturated_pixels = 0;
  bool at_edge = false;
  bool converged = false;
};

/// `sigma_px` is the width of the window: that of the frame's stars for best weight.
Measurement measure(const Frame& frame, const BackgroundMap& background, PixelPoint start, double sigma_px);

}  // namespace polewright
