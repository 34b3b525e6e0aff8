// The image of a star: a Gaussian, with optional wings, swept along a segment and integrated over square pixels,
// with its derivatives.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "polewright/geometry.hpp"

namespace polewright {

/// Trail t as the plane vector from end to end, and its square as complex numbers, q = t² = (tx² − ty², 2·tx·ty):
/// q has no sign to guess and stays regular at zero length, where the image depends on t through q alone.
struct TrailSquare {
  double q1 = 0.0, q2 = 0.0;  ///< px²
};
TrailSquare square_of(double trail_x_px, double trail_y_px);
/// The root with x ≥ 0.
void root_of(const TrailSquare& q, double& trail_x_px, double& trail_y_px);

/// Which two numbers describe the trail. Compact: (q1, q2) to first order, for trails shorter than about the width,
/// where `sigma` is the mean width √(σ² + L²/24). Swept: (tx, ty) exactly, where `sigma` is the width across.
enum class TrailForm { compact, swept };
constexpr double kLongestCompact = 1.2;  ///< trail length per width up to which the first order holds to 0.4 %

struct StarShape {
  double x = 0.0, y = 0.0;  ///< middle, px
  double sigma = 1.0;       ///< px
  double trail_a = 0.0, trail_b = 0.0;
};

/// Wings shared by all stars of a frame: a second Gaussian kWingWidth times as wide holding this share of the light.
/// Two Gaussians follow a Moffat profile within 1 % of its peak out to 4σ, and keep the pixel integral exact.
struct Wings {
  double share = 0.0;
};
constexpr double kWingWidth = 2.3;

/// Pixels of a fit, row by row; each row is one contiguous span.
struct PixelSpans {
  struct Row {
    int x0 = 0, x1 = 0;  ///< [x0, x1)
    int offset = 0;      ///< of x0 in the planes
  };
  int y0 = 0;
  std::vector<Row> rows;
  int pixels = 0;
};
/// Pixels within `reach` of the segment, clipped to the frame.
PixelSpans spans_around(PixelPoint middle, double trail_x_px, double trail_y_px, double reach, int width, int height);

/// Columns: image of a unit star, and its derivatives by x, y, sigma, trail_a, trail_b. Without `derivatives` only the
/// first is meant to be read.
using ProfilePlanes = Eigen::Matrix<float, Eigen::Dynamic, 6>;
void evaluate_profile(const StarShape& shape, TrailForm form, const Wings& wings, const PixelSpans& spans,
                      ProfilePlanes& planes, bool derivatives = true);

}  // namespace polewright
