// LensModel: from a direction in front of the camera to a place on the frame and back.
#pragma once

#include <optional>

#include "polewright/geometry.hpp"

namespace polewright {

/// Radial mapping of an ideal lens, r as a function of the angle θ from the optical axis, in units of focal length:
/// rectilinear tan θ, equidistant θ, equisolid 2 sin(θ/2), stereographic 2 tan(θ/2).
enum class Projection { rectilinear, equidistant, equisolid, stereographic };

/// Ideal projection times a radial polynomial (Brown–Conrady): r_d = r·(1 + k1 r² + k2 r⁴), r in focal lengths.
/// The picture's handedness is part of the lens: `mirrored` turns x about before the pixel grid.
struct LensModel {
  Projection projection = Projection::rectilinear;
  double focal_px = 0.0;
  PixelPoint principal_point;  ///< where the optical axis meets the frame
  double k1 = 0.0, k2 = 0.0;
  bool mirrored = false;

  /// Pixel of a camera direction; nothing when it is outside the projection's domain (behind a rectilinear lens, or
  /// beyond the radius where the distortion polynomial turns back).
  [[nodiscard]] std::optional<PixelPoint> project(Vec<Camera> direction) const;
  /// Unit direction of a pixel; nothing beyond the lens's image circle. Inverse of project() to 1e-9 px.
  [[nodiscard]] std::optional<Vec<Camera>> unproject(PixelPoint pixel) const;
  /// Scale on the optical axis.
  [[nodiscard]] Angle scale_per_px() const;
};

/// An undistorted lens centred on a frame of the given size.
[[nodiscard]] LensModel centred_lens(Projection projection, double focal_px, int width_px, int height_px);

}  // namespace polewright
