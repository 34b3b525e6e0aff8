// A star's image at rest as a sum of round Gaussians: every flaw becomes a few displaced or widened copies, and each
// copy is integrated over pixels exactly.
#pragma once

#include <span>
#include <vector>

#include "polewright/geometry.hpp"
#include "simulate/detector.hpp"
#include "simulate/scene.hpp"

namespace polewright::simulate {

struct Blob {
  double dx = 0.0, dy = 0.0, share = 1.0, sigma_px = 1.0;
};

class PointSpreadField {
 public:
  PointSpreadField(const PointSpread& psf, const Lens& lens);
  /// Image of unit flux at a place of the frame; its centroid is at zero.
  [[nodiscard]] std::vector<Blob> at(PixelPoint place) const;

 private:
  PointSpread psf_;
  PixelPoint centre_;
  double half_diagonal_px_, half_width_px_;
  std::vector<Blob> core_;
};

/// Light of each colour that passes the sensor's filter: factor for stored pixels at [2·(y mod 2) + (x mod 2)].
using ColourShares = std::array<float, 4>;

/// Picture under construction, in electrons.
struct Canvas {
  int width = 0, height = 0;
  std::vector<float> electrons;
  std::vector<float> across;  ///< stamp()'s workspace: one image's profile along x
};
/// Adds `flux` electrons of a round Gaussian centred on `at`, integrated over each pixel.
void stamp(Canvas& canvas, PixelPoint at, double sigma_px, double flux, const ColourShares& shares);

}  // namespace polewright::simulate
